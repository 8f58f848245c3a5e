"""A plate's values in a mixture, split by the cells of one thing of it: what hearing about that thing would change.

Plates of one shape that are asked alike are done together, and their options stand where a batch has its cases, so
that what no option touches is computed once. May import: numpy, `diag.basics`, `blocks`, `leaves`, `model`,
`spreads`, `terms`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.basics import TooLarge
from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.contracting import term_sums
from diag.inference.leaves import FEW
from diag.inference.model import Array, Evidence, Model, Plate
from diag.inference.spreads import summed_by
from diag.inference.terms import Terms, evidence_groups, terms

__all__ = ["Asked", "AskedSums", "cell_sums", "cell_values"]


@dataclass(frozen=True, eq=False)
class Asked:
    """A plate, options for it (component indices to factors `[configuration or 1, state]`), and a thing to split by:
    the index of a component (its cells are its states), or axes (their joint levels, the last one fastest)."""

    plate: int
    options: Sequence[Mapping[int, Array]]
    thing: int | tuple[int, ...]


@dataclass(frozen=True, eq=False)
class AskedSums:
    """A plate, an option for each row, what is to be summed over terms with it, `gradient[row, term]`, and the things
    to split the sums by: components, or single axes."""

    plate: int
    options: Sequence[Mapping[int, Array]]
    gradient: Array
    things: Sequence[int | tuple[int]]


def cell_sums(model: Model, evidence: Evidence, asked: Sequence[AskedSums]) -> list[list[Array]]:
    """For each that is asked, and each of its things, `[row, cell]`: the sum over terms of the gradient and the plate's
    `cell_values` with the row's option.

    One pass forward and backward serves all things of a plate. Raises TooLarge as `cell_values` does.
    """
    chosen = terms(evidence_groups(model, evidence))
    first: dict[object, int] = {}
    same: list[int] = []
    parts: list[Block] = []
    for number, each in enumerate(asked):
        also = frozenset(thing[0] for thing in each.things if not isinstance(thing, int))
        parts.append(_dense(plate_block(model, evidence, each.plate, frozenset(chosen.axes), also=also)))
        scale = float(np.abs(each.gradient).max()) or 1.0
        rounded = (np.round(each.gradient / scale, 13) + 0.0).tobytes()
        alike = (_fingerprint(parts[number], each.options), rounded, tuple(each.things))
        same.append(first.setdefault(alike, number))
    together: dict[object, list[tuple[int, list[int]]]] = {}
    for number in sorted(set(same)):
        options = asked[number].options
        for empty in (True, False):  # rows without an option share one forward pass
            rows = [row for row, option in enumerate(options) if (not option) is empty]
            touched = _touched([options[row] for row in rows])
            key = (parts[number].first.shape_key, parts[number].voice, len(rows), touched, _by_itself(number, options))
            if rows:
                together.setdefault(key, []).append((number, rows))
    found = {number: [_nothing(model, asked[number], thing) for thing in asked[number].things] for number in set(same)}
    for some in together.values():
        _add_sums(model, chosen, [(parts[number], asked[number], rows, found[number]) for number, rows in some])
    return [found[number] for number in same]


def _fingerprint(part: Block, options: Sequence[Mapping[int, Array]]) -> object:
    """Equal for plates that are alike in all that matters here: they are done once."""
    told = tuple(tuple((index, factor.tobytes()) for index, factor in option.items()) for option in options)
    leaves = tuple(array.tobytes() for array in (*part.leaves, *part.likelihoods))
    return part.first.shape_key, part.voice, part.classes, leaves, told


def _nothing(model: Model, asked: AskedSums, thing: int | tuple[int]) -> Array:
    plate = model.plates[asked.plate]
    cells = plate.axes[thing[0]].levels if not isinstance(thing, int) else plate.components[thing].prior.shape[1]
    return np.zeros((len(asked.options), cells))


def _add_sums(model: Model, chosen: Terms, some: Sequence[tuple[Block, AskedSums, list[int], list[Array]]]) -> None:
    """Some rows of plates of one shape, put into their places."""
    block = stacked([part.first for part, _, _, _ in some])
    block = block.with_options_each([[asked.options[row] for row in rows] for _, asked, rows, _ in some])
    towards = [
        _by_class(asked.gradient[rows], len(model.configurations), block, place)
        for place, (_, asked, rows, _) in enumerate(some)
    ]
    gradient = np.stack(towards) @ block.table(chosen).T
    marginals = block.collect(gradient, chosen)
    whole = (block.density * gradient).sum(axis=(2, 3))[..., None]  # for components of one state, without an axis
    for place, (_, asked, rows, results) in enumerate(some):
        plate = model.plates[asked.plate]
        for thing, result in zip(asked.things, results, strict=True):
            result[rows] = _as_seen(plate, thing, marginals.get(_axis_of(plate, thing), whole)[place])


def _by_class(gradient: Array, configurations: int, block: Block, place: int) -> Array:
    """`[row, class or 1, term]` from `[row, configuration and term]`."""
    by_configuration = gradient.reshape(len(gradient), configurations, -1)
    classes = block.classes[place]
    if not classes:
        return np.asarray(by_configuration.sum(axis=1, keepdims=True))
    return summed_by(by_configuration, classes, 1, max(classes) + 1)


def cell_values(model: Model, evidence: Evidence, asked: Sequence[Asked]) -> list[Array]:
    """For each that is asked `[option, cell, term]`: the plate's values jointly with each cell of the thing.

    The sum over cells is the plate's `values` in the `mixture` of the same evidence, which holds one case. Raises
    TooLarge where so much was renewed on one cylinder that its levels cannot be kept apart.
    """
    chosen = terms(evidence_groups(model, evidence))
    together: dict[object, list[int]] = {}
    blocks: list[Block] = []
    first: dict[object, int] = {}
    same: list[int] = []
    for number, each in enumerate(asked):
        apart = _apart(model, each)
        part = _dense(plate_block(model, evidence, each.plate, frozenset(chosen.axes), frozenset(apart)))
        blocks.append(part)
        same.append(first.setdefault((_fingerprint(part, each.options), each.thing), number))
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
        alike = (*map(id, parts), *(id(option) for each in some for option in each.options))
        if alike not in shared:  # things that the plate keeps apart anyway are read from one density
            shared[alike] = stacked([part.first for part in parts]).with_options_each([each.options for each in some])
        block = shared[alike]
        values = _by_cell(model, block, chosen, _apart(model, some[0]))
        for number, mine in zip(numbers, values, strict=True):
            wide = np.broadcast_to(mine, (len(asked[number].options), *mine.shape[1:]))
            plate = model.plates[asked[number].plate]
            found[number] = np.swapaxes(_as_seen(plate, asked[number].thing, np.swapaxes(wide, 1, 2)), 1, 2)
    return [found[number] for number in same]


def _dense(part: Block) -> Block:
    if not part.first.dense:
        raise TooLarge("so much was renewed on one cylinder that what a check tells of it cannot be split by level")
    return part


def _apart(model: Model, asked: Asked) -> tuple[int, ...]:
    """The axes to keep apart."""
    if isinstance(asked.thing, int):
        return (_axis_of(model.plates[asked.plate], asked.thing),)
    return asked.thing


def _axis_of(plate: Plate, thing: int | tuple[int]) -> int:
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


def _as_seen(plate: Plate, thing: int | tuple[int, ...], values: Array) -> Array:
    """`[..., cell]`: states of a base told alike by the view that was asked for."""
    if not isinstance(thing, int) or plate.components[thing].base is None:
        return values
    return plate.components[thing].narrowed(values)


def _by_cell(model: Model, part: Block, chosen: Terms, axes: tuple[int, ...]) -> Array:
    """`[plate, option, joint cell of the axes, term]`, terms by configuration."""
    kept, configurations, density = part.kept, len(model.configurations), part.density
    front = [kept.index(axis) for axis in axes]
    rest = [place for place in range(len(kept)) if place not in front]
    cells = int(np.prod([part.sizes[place] for place in front], dtype=np.int64))
    apart = density.reshape(*density.shape[:3], *part.sizes)
    apart = np.transpose(apart, (0, 1, *(3 + place for place in front), 2, *(3 + place for place in rest)))
    apart = apart.reshape(*density.shape[:2], cells, density.shape[2], *(part.sizes[place] for place in rest))
    sums = _summed(part, chosen, axes, rest, apart)  # plate, option, cell, class, term
    wide = np.empty((*sums.shape[:3], configurations, sums.shape[4]))
    for place, classes in enumerate(part.classes):
        mine = sums[place]
        wide[place] = np.take(mine, classes, axis=2) if mine.shape[2] > 1 else mine
    return wide.reshape(*wide.shape[:3], -1)


def _summed(part: Block, chosen: Terms, axes: tuple[int, ...], rest: Sequence[int], apart: Array) -> Array:
    """`[plate, option, cell, class, term]`: all axes but those apart summed out for each term."""
    made = term_sums(part.first.plate.emissions, part.kept, part.sizes, chosen, apart=axes)
    if made is not None:
        sums, own = made
        return sums.of(apart, 4) * own[:, None]
    table = part.table(chosen).reshape(*part.sizes, -1)
    table = np.transpose(table, (*(part.kept.index(axis) for axis in axes), *rest, len(part.kept)))
    flat = apart.reshape(*apart.shape[:4], -1)
    return np.asarray(flat @ table.reshape(apart.shape[2], flat.shape[4], -1))
