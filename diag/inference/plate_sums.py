"""What each plate of a block contributes to the terms, remembered by what the plate holds and was told.

While a case goes on, and between parts of what was told of one, most plates are told nothing new; and of the cases of a
batch many tell a plate the same. May import: numpy, and within the room `blocks`, `leaves`, `model`, `remembered`,
`spreads`, `terms`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference.blocks import Block, stacked
from diag.inference.leaves import PlateLeaves
from diag.inference.model import Array
from diag.inference.remembered import LARGEST_HELD, Hashed, Remembered
from diag.inference.spreads import Spread, distinct, in_order, paired
from diag.inference.terms import Terms

__all__ = ["sums_by_plate"]

SMALL = 1 << 15  # bytes up to which many sums are held, else few
FEW_CASES, ALIKE = 16, 0.5  # different cases, and the share of them, up to which it pays to know them again

Missing = list[tuple[int, list[int]]]  # a plate, and which of its different cases
Cases = tuple[Spread, NDArray[np.intp]]  # which of the different ones each case is, and the first of each of these


def sums_by_plate(part: Block, chosen: Terms, table: Array, once: bool) -> list[Array]:
    """By plate of a dense block, `[case or 1, class or 1, term, level, ...]`. `once`: nothing but these is asked of the
    block, so that what its cases have in common need not be worked out for each."""
    size = 8 * (max(part.classes[0], default=0) + 1) * len(chosen.levels)
    if part.rows > 1 or table.ndim > 2 or size > LARGEST_HELD or (_cases(part.first) > 1 and not once):
        return list(part.sums(chosen, table))
    different = [_different(member) for member in part.members]
    if sum(len(first) for _, first in different) > max(FEW_CASES, ALIKE * _cases(part.first)) * len(different):
        return list(part.sums(chosen, table))
    store, told = _FEW if size > SMALL else _MANY, Hashed(part.voice, chosen.axes, chosen.levels.tobytes())
    keys = [
        [(content, told) for content in _contents(member, first)]
        for member, (_, first) in zip(part.members, different, strict=True)
    ]
    found = [[store.get(key) for key in mine] for mine in keys]
    missing: Missing = [
        (place, [at for at, each in enumerate(mine) if each is None]) for place, mine in enumerate(found)
    ]
    for places, cases, block in _to_be_made(part, different, [each for each in missing if each[1]]):
        for place, by_case in zip(places, block.sums(chosen, table), strict=True):
            for number, at in enumerate(cases):
                found[place][at] = store.put(keys[place][at], by_case[[number]])
    return [
        _spread_out([each for each in mine if each is not None], spread)
        for mine, (spread, _) in zip(found, different, strict=True)
    ]


def _cases(member: PlateLeaves) -> int:
    return max(len(array) for array in (*member.leaves, *member.likelihoods))


def _different(member: PlateLeaves) -> Cases:
    """Which cases tell a plate the same."""
    spread = np.zeros(1, dtype=np.intp)
    for array in (*member.leaves, *member.likelihoods):
        if len(array) > 1:
            mine = distinct(array)[0]
            spread = mine if len(spread) == 1 else paired(spread, mine).spread
    return in_order(spread)


def _contents(member: PlateLeaves, cases: NDArray[np.intp]) -> list[Hashed]:
    """Equal for plates, told the same, whose densities are made of the same: one for each of these cases."""
    if _cases(member) == 1:
        return [member.content]
    arrays = (*member.leaves, *member.likelihoods)
    common = Hashed(
        member.layout,
        member.weights,
        member.classes,
        *(each.tobytes() for each in member.spreads if each is not None),
        *(array.tobytes() if len(array) == 1 else b"" for array in arrays),
    )
    return [Hashed(common, *(array[case].tobytes() for array in arrays if len(array) > 1)) for case in cases]


def _to_be_made(part: Block, different: Sequence[Cases], missing: Missing) -> list[tuple[list[int], list[int], Block]]:
    """Blocks of what is missing: the plates of a single case together, else plate by plate with their cases."""
    if not missing:
        return []
    if _cases(part.first) == 1:
        places = [place for place, _ in missing]
        whole = len(places) == len(part.members)
        return [(places, [0], part if whole else stacked([part.members[place] for place in places]))]
    return [
        ([place], some, stacked([_only(part.members[place], different[place][1][some])])) for place, some in missing
    ]


def _only(member: PlateLeaves, cases: NDArray[np.intp]) -> PlateLeaves:
    """A plate in some of its cases."""
    leaves, likelihoods = (
        tuple(array if len(array) == 1 else array[cases] for array in arrays)
        for arrays in (member.leaves, member.likelihoods)
    )
    return replace(member, leaves=leaves, likelihoods=likelihoods)


def _spread_out(sums: Sequence[Array], spread: Spread) -> Array:
    """By case, from the sums of the different ones."""
    return sums[0] if len(sums) == 1 else np.concatenate(sums)[spread]


def _bytes_of(sums: Array) -> int:
    return sums.nbytes


_FEW: Remembered[Array] = Remembered(64, _bytes_of)
_MANY: Remembered[Array] = Remembered(1024, _bytes_of)
