"""A plate's values in a mixture, split by the cells of one thing of it: what hearing about that thing would change.

Plates of one shape that are asked alike are done together, and their options stand where a batch has its cases, so
that what no option touches is computed once. May import: numpy, `diag.basics`, `blocks`, `mixture`, `model`, `terms`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.basics import TooLarge
from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.model import Array, Evidence, Model
from diag.inference.terms import Terms, evidence_groups, terms

__all__ = ["Asked", "cell_values"]


@dataclass(frozen=True, eq=False)
class Asked:
    """A plate, options for it (component indices to factors `[configuration or 1, state]`), and a thing to split by:
    the index of a component (its cells are its states), or axes (their joint levels, the last one fastest)."""

    plate: int
    options: Sequence[Mapping[int, Array]]
    thing: int | tuple[int, ...]


def cell_values(model: Model, evidence: Evidence, asked: Sequence[Asked]) -> list[Array]:
    """For each that is asked `[option, cell, term]`: the plate's values jointly with each cell of the thing.

    The sum over cells is the plate's `values` in the `mixture` of the same evidence, which holds one case. Raises
    TooLarge where so much was renewed on one cylinder that its levels cannot be kept apart.
    """
    chosen = terms(evidence_groups(model, evidence))
    together: dict[object, list[int]] = {}
    blocks: list[Block] = []
    for number, each in enumerate(asked):
        apart = _apart(model, each)
        part = plate_block(model, evidence, each.plate, frozenset(chosen.axes), frozenset(apart))
        if not part.first.dense:
            raise TooLarge("so much was renewed on one cylinder that what a check tells of it cannot be split by level")
        blocks.append(part)
        key = (part.first.shape_key, part.voice, apart, len(each.options), _touched(each))
        together.setdefault(key, []).append(number)
    found: list[Array | None] = [None] * len(asked)
    shared: dict[object, Block] = {}
    for numbers in together.values():
        some = [asked[number] for number in numbers]
        parts = [blocks[number] for number in numbers]
        alike = (*map(id, parts), *(id(option) for each in some for option in each.options))
        if alike not in shared:  # things that the plate keeps apart anyway are read from one density
            shared[alike] = stacked([part.first for part in parts]).with_options_each([each.options for each in some])
        block = shared[alike]
        values = _by_cell(model, block, chosen, _apart(model, some[0]))
        for number, mine in zip(numbers, values, strict=True):
            wide = np.broadcast_to(mine, (len(asked[number].options), *mine.shape[1:]))
            found[number] = _as_seen(model, asked[number], wide)
    return [values for values in found if values is not None]


def _apart(model: Model, asked: Asked) -> tuple[int, ...]:
    """The axes to keep apart; those of a component are its states, of a view those of its base."""
    if not isinstance(asked.thing, int):
        return asked.thing
    plate = model.plates[asked.plate]
    known = plate.components[asked.thing]
    return (len(plate.axes) + (asked.thing if known.base is None else known.base),)


def _touched(asked: Asked) -> tuple[int, ...]:
    return tuple(sorted({component for option in asked.options for component in option}))


def _as_seen(model: Model, asked: Asked, values: Array) -> Array:
    """States of a base told alike by the view that was asked for."""
    if not isinstance(asked.thing, int):
        return values
    known = model.plates[asked.plate].components[asked.thing]
    return values if known.base is None else np.swapaxes(known.narrowed(np.swapaxes(values, 1, 2)), 1, 2)


def _by_cell(model: Model, part: Block, chosen: Terms, axes: tuple[int, ...]) -> Array:
    """`[plate, option, joint cell of the axes, term]`, terms by configuration."""
    kept, configurations, density = part.kept, len(model.configurations), part.density
    front = [kept.index(axis) for axis in axes]
    rest = [place for place in range(len(kept)) if place not in front]
    cells = int(np.prod([part.sizes[place] for place in front], dtype=np.int64))
    apart = density.reshape(*density.shape[:3], *part.sizes)
    apart = np.transpose(apart, (*(3 + place for place in front), 0, 1, 2, *(3 + place for place in rest)))
    apart = apart.reshape(cells, int(np.prod(density.shape[:3])), -1)
    table = part.table(chosen).reshape(*part.sizes, -1)
    table = np.transpose(table, (*front, *rest, len(kept))).reshape(cells, apart.shape[2], -1)
    sums = np.matmul(apart, table).reshape(cells, *density.shape[:3], -1)
    wide = np.empty((*density.shape[:2], cells, configurations, sums.shape[4]))
    for place, classes in enumerate(part.classes):
        mine = np.moveaxis(sums[:, place], 0, 1)  # option, cell, class, term
        wide[place] = np.take(mine, classes, axis=2) if mine.shape[2] > 1 else mine
    return wide.reshape(*wide.shape[:3], -1)
