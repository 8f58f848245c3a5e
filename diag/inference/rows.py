"""Plates of many cases as rows: a plate with its local evidence; rows that are equal, of whatever case, are one.

May import: numpy, `leaves`, `local`, `model`, `terms`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference.engine import LARGEST_DENSE
from diag.inference.leaves import PlateLeaves, plate_key, plate_leaves
from diag.inference.local import Tape, forward
from diag.inference.model import Array, Evidence, Model, SharedAxis

__all__ = ["Kind", "Labels", "kinds_of", "pieces", "spelt_out"]

ROWS_AT_ONCE = 16  # few, so that what is worked on stays in the processor
ORDERS = 24  # orders of joining that are compared: each serves thousands of rows
MOST_HELD = 1 << 24  # numbers in forward passes of one kind of plate: 128 megabytes
Labels = Mapping[int, NDArray[np.int64]]


def pieces(rows: int, at_once: int = ROWS_AT_ONCE) -> list[slice]:
    """So many rows, a few at a time."""
    return [slice(first, min(first + at_once, rows)) for first in range(0, rows, at_once)]


class Kind(Struct, eq=False):
    """Plates of one kind: leaves and likelihoods `[1, row or 1, class or 1, 1, axis...]`, `rows[plate][case]`, and of
    each row a plate and a case as an example; once known `density[row, class or 1, cell]`, `sums[row, ..., term]`."""

    members: list[PlateLeaves]
    leaves: list[Array]
    likelihoods: list[Array]
    examples: list[tuple[int, int]]
    rows: dict[int, NDArray[np.intp]]
    density: Array = field(default_factory=lambda: np.empty(0))
    sums: Array = field(default_factory=lambda: np.empty(0))
    held: dict[tuple[int, int], Tape] = field(default_factory=dict)

    @property
    def first(self) -> PlateLeaves:
        """The plate whose shape all share."""
        return self.members[0]

    @property
    def sizes(self) -> tuple[int, ...]:
        """Levels of the kept axes."""
        return tuple(self.first.layout.sizes[axis] for axis in self.first.layout.kept)

    def tape(self, rows: slice) -> Tape:
        """The forward pass of some rows; held for the way back as long as there is room."""
        known = self.held.get((rows.start, rows.stop))
        if known is not None:
            return known

        def cut(array: Array) -> Array:
            return array[:, rows] if array.shape[1] > 1 else array

        leaves, likelihoods = [*map(cut, self.leaves)], [*map(cut, self.likelihoods)]
        made = forward(self.first.layout, leaves, likelihoods, rows.stop - rows.start)
        if sum(tensor.size for tape in self.held.values() for tensor in tape.tensors) < MOST_HELD:
            self.held[rows.start, rows.stop] = made
        return made


def kinds_of(model: Model, evidence: Evidence, heard: frozenset[SharedAxis], labels: Labels) -> list[Kind]:
    """Plates that speak and are built alike, with their rows."""
    alike: dict[object, list[int]] = {}
    for number, plate in enumerate(model.plates):
        alike.setdefault(plate_key(plate), []).append(number)
    made: dict[object, list[PlateLeaves]] = {}
    for key, numbers in alike.items():
        sets = {tuple(sorted(axes)) for where, axes, _ in (*evidence.axes, *evidence.configured) if where in numbers}
        for number in numbers:
            one = plate_leaves(
                model, evidence, number, heard, like=tuple(sorted(sets)), dense=LARGEST_DENSE, spelt_out=True
            )
            one = replace(one, layout=replace(one.layout, tries=ORDERS))
            shapes = tuple(array.shape[1:] for array in (*one.leaves, *one.likelihoods))
            made.setdefault((key, replace(one.layout, widths=()), shapes), []).append(one)
    return [_kind(members, evidence.cases, labels) for members in made.values()]


def _kind(members: list[PlateLeaves], cases: int, labels: Labels) -> Kind:
    arrays = [[*member.leaves, *member.likelihoods] for member in members]
    varying = [
        number
        for number, same in enumerate(zip(*arrays, strict=True))
        if any(len(array) > 1 or not np.array_equal(array, same[0]) for array in same)
    ]
    none = np.zeros(cases, np.int64)
    columns = [
        np.hstack(
            [
                labels.get(member.number, none).reshape(cases, 1),
                *(np.broadcast_to(mine[n], (cases, *mine[n].shape[1:])).reshape(cases, -1) for n in varying),
            ]
        )
        for member, mine in zip(members, arrays, strict=True)
    ]
    known: dict[bytes, int] = {}
    examples: list[tuple[int, int]] = []
    rows: dict[int, NDArray[np.intp]] = {}
    for place, member in enumerate(members):
        mine = np.empty(cases, np.intp)
        for case, row in enumerate(np.ascontiguousarray(columns[place])):
            name = row.tobytes()
            if name not in known:
                known[name] = len(examples)
                examples.append((place, case))
            mine[case] = known[name]
        rows[member.number] = mine
    taken = []
    for number, first in enumerate(arrays[0]):
        if number in varying:
            held = [arrays[place][number] for place, _ in examples]
            picked = [array[case if len(array) > 1 else 0] for array, (_, case) in zip(held, examples, strict=True)]
            taken.append(np.stack(picked)[None, :, :, None])
        else:
            taken.append(first[None, :, :, None])
    count = len(members[0].leaves)
    named = [(members[place].number, case) for place, case in examples]
    return Kind(members, taken[:count], taken[count:], named, rows)


def spelt_out(kind: Kind, rows: NDArray[np.intp]) -> Kind:
    """The same with a row for each case."""

    def cut(array: Array) -> Array:
        return array[:, rows] if array.shape[1] > 1 else array

    examples = [kind.examples[row] for row in rows]
    leaves, likelihoods = [*map(cut, kind.leaves)], [*map(cut, kind.likelihoods)]
    return Kind(kind.members, leaves, likelihoods, examples, {}, kind.density[rows], kind.sums)
