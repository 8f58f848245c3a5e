"""The density of a plate's kept levels jointly with one of its things, option by option, held by what it is made of.

It depends on the plate and on what was told of it alone, not on other plates, terms or gradients: so plates that are
alike share it, and a case that goes on finds it again for every plate of which nothing new was told. Only where it is
small; else it is quicker to work out what is asked. May import: numpy, `blocks`, `densities`, `leaves`, `model`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from msgspec import Struct, field

from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.densities import is_wide, option_key
from diag.inference.leaves import DENSE, FEW
from diag.inference.model import Array, Evidence, Model, SharedAxis

__all__ = ["Axes", "Held", "Option", "Wanted", "local_cells", "worth_holding"]

Option = Mapping[int, Array]
Axes = tuple[int, ...]
MOST_NUMBERS = 1 << 17  # of an option, over all things of a plate, up to which its densities are made and held
MOST_HELD = 1 << 27  # bytes over all plates


Held = Mapping[Axes, Mapping[object, Array]]  # `[axes][option]`: `[cell of the axes, class or 1, kept local cell]`


class Wanted(Struct, frozen=True, eq=False, dict=True):
    """A plate and its block, and the options and sets of axes of which densities are wanted."""

    plate: int
    part: Block
    options: Sequence[Option]
    axes: Sequence[Axes]

    @cached_property
    def keys(self) -> list[object]:
        """Each option's key."""
        known: dict[int, object] = {}  # by identity: many rows name one option
        for option in self.options:
            if id(option) not in known:
                known[id(option)] = option_key(option)
        return [known[id(option)] for option in self.options]


_HELD: OrderedDict[object, dict[object, Array]] = OrderedDict()
_BYTES = [0]


def worth_holding(part: Block, options: Sequence[Option], configurations: int) -> bool:
    """Whether densities jointly with each thing of a plate are small enough."""
    layout = part.first.layout
    wide = any(map(is_wide, options))
    classes = configurations if wide else max(part.classes[0], default=0) + 1
    few = configurations <= FEW and all(each is None for each in part.spreads)
    return few and part.first.dense and sum(layout.sizes) * layout.size(part.kept) * classes <= MOST_NUMBERS


def local_cells(
    model: Model, evidence: Evidence, heard: frozenset[SharedAxis], wanted: Sequence[Wanted]
) -> list[Held | None]:
    """For each that is wanted its densities; none where its levels cannot be kept apart."""
    found: list[Held | None] = []
    missing: dict[tuple[object, object, Axes, Axes, bool], dict[int, _Missing]] = {}
    for each in wanted:
        parts = {axes: _with_axes(model, evidence, heard, each, axes) for axes in each.axes}
        found.append(None)
        if not all(_apart(part, each.part.kept, axes) for axes, part in parts.items()):
            continue
        options, held = dict(zip(each.keys, each.options, strict=True)), {}
        for axes, part in parts.items():
            known = held[axes] = _held(part, axes, each.part.kept)
            new = {key: option for key, option in options.items() if key not in known}
            for wide in (False, True) if new else ():
                some = {key: option for key, option in new.items() if is_wide(option) is wide}
                if some:
                    group = missing.setdefault((part.first.shape_key, part.voice, each.part.kept, axes, wide), {})
                    group.setdefault(id(known), _Missing(known, part)).options.update(some)
        found[-1] = held
    blocks: dict[object, tuple[Sequence[Block], Block]] = {}
    for (_, _, kept, axes, _), group in missing.items():
        _make(axes, kept, list(group.values()), blocks)
    _let_go()
    return found


def _with_axes(model: Model, evidence: Evidence, heard: frozenset[SharedAxis], wanted: Wanted, axes: Axes) -> Block:
    """The plate with the leaves that these axes need; states need no further ones. Two plates that are alike in what is
    heard may differ in what reaches a level that is not."""
    layout = wanted.part.first.layout
    if all(axis >= layout.levels or axis in layout.kept for axis in axes):
        return wanted.part
    return plate_block(model, evidence, wanted.plate, heard, frozenset(axes))


def _apart(part: Block, kept: Axes, axes: Axes) -> bool:
    return part.first.dense and part.first.layout.size({*kept, *axes}) <= DENSE


class _Missing(Struct, eq=False):
    known: dict[object, Array]
    part: Block
    options: dict[object, Option] = field(default_factory=dict)


def _held(part: Block, axes: Axes, kept: Axes) -> dict[object, Array]:
    """What is held of plates alike, option by option."""
    key = (part if part.content is None else part.content, axes, kept)
    known = _HELD.setdefault(key, {})
    _HELD.move_to_end(key)
    return known


def _let_go() -> None:
    """What was not asked for longest, where too much is held."""
    while _BYTES[0] > MOST_HELD and len(_HELD) > 1:
        _BYTES[0] -= sum(array.nbytes for array in _HELD.popitem(last=False)[1].values())


def _make(
    axes: Axes, kept: Axes, some: Sequence[_Missing], blocks: dict[object, tuple[Sequence[Block], Block]]
) -> None:
    """Make and hold what is missing, for plates of one shape together; `blocks` are those made for other axes from the
    same parts."""
    count = max(len(each.options) for each in some)
    options = [_made_up(list(each.options.values()), count) for each in some]
    alike = (*(id(each.part) for each in some), *(id(option) for each in options for option in each))
    if alike not in blocks:
        made = stacked([each.part.first for each in some]).with_options_each(options)
        blocks[alike] = [each.part for each in some], made
    values = _by_cell(blocks[alike][1], axes, kept)
    for each, mine in zip(some, values, strict=True):
        for place, key in enumerate(each.options):
            array = each.known[key] = np.ascontiguousarray(mine[place if len(mine) > 1 else 0])
            _BYTES[0] += array.nbytes


def _made_up(options: Sequence[Option], count: int) -> list[Option]:
    return [*options, *(options[-1] for _ in range(count - len(options)))]


def _by_cell(block: Block, axes: Axes, heard: Axes) -> Array:
    """`[plate, option or 1, cell of the axes, class or 1, local cell that is heard]`; those of the axes that are heard
    stay among these, with nothing in other cells than their own."""
    kept, density = block.keeping(axes)
    sizes = dict(zip(kept, density.shape[3:], strict=True))
    front = [kept.index(axis) for axis in axes]
    rest = [place for place in range(len(kept)) if place not in front]
    turned = np.transpose(density, (0, 1, *(3 + place for place in front), 2, *(3 + place for place in rest)))
    cells = int(np.prod([sizes[axis] for axis in axes], dtype=np.int64))
    flat = turned.reshape(*density.shape[:2], cells, density.shape[2], *(sizes[kept[place]] for place in rest))
    if not set(axes) & set(heard):
        return flat.reshape(*flat.shape[:4], -1)
    result = np.zeros((*flat.shape[:4], *(sizes[axis] for axis in heard)))
    for cell, levels in enumerate(np.ndindex(*(sizes[axis] for axis in axes))):
        at = dict(zip(axes, levels, strict=True))
        place = tuple(at.get(axis, slice(None)) for axis in heard)
        result[(slice(None), slice(None), cell, slice(None), *place)] = flat[:, :, cell]
    return result.reshape(*flat.shape[:4], -1)
