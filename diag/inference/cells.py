"""A plate's values in a mixture, split by the cells of one thing of it: what hearing about that thing would change.

Plates of one shape that are asked alike are done together, and their options stand where a batch has its cases, so
that what no option touches is computed once. May import: numpy, `blocks`, `contracting`, `densities`,
`leaves`, `local_cells`, `model`, `terms`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.contracting import term_sums_of
from diag.inference.densities import option_key
from diag.inference.leaves import FEW
from diag.inference.local_cells import Held, Wanted, local_cells, worth_holding
from diag.inference.model import Array, Evidence, Model, Plate
from diag.inference.terms import Terms, signed_terms

__all__ = ["Asked", "as_seen", "axis_of", "cell_values"]


class Asked(Struct, frozen=True, eq=False):
    """A plate, options for it (component indices to factors `[configuration or 1, state]`), and a thing to split by:
    the index of a component (its cells are its states), or axes (their joint levels, the last one fastest)."""

    plate: int
    options: Sequence[Mapping[int, Array]]
    thing: int | tuple[int, ...]


def cell_values(model: Model, evidence: Evidence, asked: Sequence[Asked]) -> list[Array]:
    """For each that is asked `[option, cell, term]`: the plate's values jointly with each cell of the thing.

    The sum over cells is the plate's `values` in the `mixture` of the same evidence, which holds one case. Raises
    TooLarge where what happened on one cylinder does not fit into the memory.
    """
    chosen = signed_terms(model, evidence)
    found: dict[int, Array] = {}
    wanted: dict[int, Wanted] = {}
    heard, configurations = frozenset(chosen.axes), len(model.configurations)
    for number, each in enumerate(asked):
        part = plate_block(model, evidence, each.plate, heard)
        if worth_holding(part, each.options, configurations):
            wanted[number] = Wanted(each.plate, part, each.options, [_apart(model, each)])
    listed = local_cells(model, evidence, heard, list(wanted.values()))
    tables: dict[object, Array] = {}  # by what a plate says: most say alike
    for (number, one), held in zip(wanted.items(), listed, strict=True):
        if held is None:
            continue
        if one.part.voice not in tables:
            tables[one.part.voice] = one.part.table(chosen)
        found[number] = _from_held(model, asked[number], one, held, tables[one.part.voice])
    others = [number for number in range(len(asked)) if number not in found]
    found |= dict(zip(others, _one_by_one(model, evidence, [asked[n] for n in others], chosen), strict=True))
    return [found[number] for number in range(len(asked))]


def _from_held(model: Model, asked: Asked, wanted: Wanted, held: Held, table: Array) -> Array:
    """`[option, cell, term]` from densities by cell."""
    configurations = len(model.configurations)
    classes, (axes,) = wanted.part.classes[0], wanted.axes
    some = [held[axes][key] for key in wanted.keys]
    result = np.empty((len(some), len(some[0]), configurations, table.shape[1]))
    for classes_of in {each.shape[1] for each in some}:
        places = [place for place, each in enumerate(some) if each.shape[1] == classes_of]
        values = np.stack([some[place] for place in places]) @ table
        spread = classes if 1 < classes_of < configurations else ()
        result[places] = np.take(values, spread, axis=2) if spread else values
    plain = result.reshape(*result.shape[:2], -1)
    plate = model.plates[asked.plate]
    return np.swapaxes(as_seen(plate, asked.thing, np.swapaxes(plain, 1, 2)), 1, 2)


def _one_by_one(model: Model, evidence: Evidence, asked: Sequence[Asked], chosen: Terms) -> list[Array]:
    """The same, each density worked out for what is asked."""
    together: dict[object, list[int]] = {}
    blocks: list[Block] = []
    first: dict[object, int] = {}
    same: list[int] = []
    for number, each in enumerate(asked):
        apart = _apart(model, each)
        part = plate_block(model, evidence, each.plate, frozenset(chosen.axes), frozenset(apart))
        blocks.append(part)
        alike = (part if part.content is None else part.content, *map(option_key, each.options), each.thing)
        same.append(first.setdefault(alike, number))
        if same[number] < number:
            continue
        alone = _by_itself(number, each.options)
        key = (part.first.shape_key, part.voice, apart, len(each.options), _touched(each.options), alone)
        together.setdefault(key, []).append(number)
    found: dict[int, Array] = {}
    shared: dict[object, Block] = {}
    for numbers in together.values():
        some = [asked[number] for number in numbers]
        parts = [blocks[number] for number in numbers]
        these = (*map(id, parts), *(id(option) for each in some for option in each.options))
        if these not in shared:  # things that the plate keeps apart anyway are read from one density
            shared[these] = stacked([part.first for part in parts]).with_options_each([each.options for each in some])
        block = shared[these]
        values = _by_cell(model, block, chosen, _apart(model, some[0]))
        for number, mine in zip(numbers, values, strict=True):
            wide = np.broadcast_to(mine, (len(asked[number].options), *mine.shape[1:]))
            plate = model.plates[asked[number].plate]
            found[number] = np.swapaxes(as_seen(plate, asked[number].thing, np.swapaxes(wide, 1, 2)), 1, 2)
    return [found[number] for number in same]


def _apart(model: Model, asked: Asked) -> tuple[int, ...]:
    """The axes to keep apart."""
    if isinstance(asked.thing, int):
        return (axis_of(model.plates[asked.plate], asked.thing),)
    return asked.thing


def axis_of(plate: Plate, thing: int | tuple[int]) -> int:
    """The axis of a thing; of a component that of its states, of a view that of its base."""
    if not isinstance(thing, int):
        return thing[0]
    known = plate.components[thing]
    return len(plate.axes) + (thing if known.base is None else known.base)


def _by_itself(number: int, options: Sequence[Mapping[int, Array]]) -> int | None:
    """The number of what is asked where its factors tell many configurations apart: then it stands in no stack."""
    wide = max((len(factor) for option in options for factor in option.values()), default=1)
    return number if wide > FEW else None


def _touched(options: Sequence[Mapping[int, Array]]) -> tuple[int, ...]:
    return tuple(sorted({component for option in options for component in option}))


def as_seen(plate: Plate, thing: int | tuple[int, ...], values: Array) -> Array:
    """`[..., cell]`: states of a base told alike by the view that was asked for."""
    if not isinstance(thing, int) or plate.components[thing].base is None:
        return values
    return plate.components[thing].narrowed(values)


def _by_cell(model: Model, part: Block, chosen: Terms, axes: tuple[int, ...]) -> Array:
    """`[plate, option, joint cell of the axes, term]`, terms by configuration."""
    configurations = len(model.configurations)
    sums = _density_by_cell(part, chosen, axes) if part.first.dense else part.by_term.apart(chosen, axes, part.rows)
    wide = np.empty((*sums.shape[:3], configurations, sums.shape[4]))
    for place, classes in enumerate(part.classes):
        mine = sums[place]
        wide[place] = np.take(mine, classes, axis=2) if mine.shape[2] > 1 else mine
    return wide.reshape(*wide.shape[:3], -1)


def _density_by_cell(part: Block, chosen: Terms, axes: tuple[int, ...]) -> Array:
    """`[plate, option, joint cell of the axes, class or 1, term]` of a dense block."""
    kept, density = part.kept, part.density
    front = [kept.index(axis) for axis in axes]
    rest = [place for place in range(len(kept)) if place not in front]
    cells = int(np.prod([part.sizes[place] for place in front], dtype=np.int64))
    apart = density.reshape(*density.shape[:3], *part.sizes)
    apart = np.transpose(apart, (0, 1, *(3 + place for place in front), 2, *(3 + place for place in rest)))
    apart = apart.reshape(*density.shape[:2], cells, density.shape[2], *(part.sizes[place] for place in rest))
    return _summed(part, chosen, axes, rest, apart)


def _summed(part: Block, chosen: Terms, axes: tuple[int, ...], rest: Sequence[int], apart: Array) -> Array:
    """`[plate, option, cell, class, term]`: all axes but those apart summed out for each term."""
    made = term_sums_of(part, chosen, apart=axes)
    if made is not None:
        sums, own = made
        return sums.of(apart, 4) * own[:, None]
    table = part.table(chosen).reshape(*part.sizes, -1)
    table = np.transpose(table, (*(part.kept.index(axis) for axis in axes), *rest, len(part.kept)))
    flat = apart.reshape(*apart.shape[:4], -1)
    return np.asarray(flat @ table.reshape(apart.shape[2], flat.shape[4], -1))
