"""Sums over terms of gradients and a plate's values by cell: what a check on any thing of a plate would tell of costs.

One pass forward and backward serves all things of a plate, and all plates that are alike. What is summed is linear in
the gradient, so where many rows have one option, unit gradients stand for them. May import: numpy, `blocks`,
`cells`, `densities`, `leaves`, `local_cells`, `model`, `spreads`, `terms`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.blocks import Block, plate_block, stacked
from diag.inference.cells import as_seen, axis_of
from diag.inference.densities import option_key
from diag.inference.leaves import FEW
from diag.inference.local_cells import Held, Option, Wanted, local_cells, worth_holding
from diag.inference.model import Array, Evidence, Model
from diag.inference.spreads import summed_by
from diag.inference.terms import Terms, signed_terms

__all__ = ["AskedSums", "cell_sums"]

Thing = int | tuple[int]
PADDED = 8  # rows of plates of one shape are made up to a multiple of this, so that they can be done together
ALIKE = 13  # digits, of the largest gradient, to which gradients are one


class AskedSums(Struct, frozen=True, eq=False):
    """A plate, an option for each row (component indices to factors `[configuration or 1, state]`), what is to be
    summed over terms with it, `gradient[row, term]`, and the things to split the sums by: components, or single
    axes."""

    plate: int
    options: Sequence[Option]
    gradient: Array
    things: Sequence[Thing]


def cell_sums(model: Model, evidence: Evidence, asked: Sequence[AskedSums]) -> list[list[Array]]:
    """For each that is asked, and each of its things, `[row, cell]`: the sum over terms of the gradient and the plate's
    `cell_values` with the row's option. Raises TooLarge as `cell_values` does."""
    chosen = signed_terms(model, evidence)
    heard = frozenset(chosen.axes)
    found: dict[int, list[Array]] = {}
    wanted: dict[int, Wanted] = {}
    for number, each in enumerate(asked):
        if not each.things:
            found[number] = []
            continue
        part = plate_block(model, evidence, each.plate, heard)
        if worth_holding(part, each.options, len(model.configurations)):
            axes = dict.fromkeys((axis_of(model.plates[each.plate], thing),) for thing in each.things)
            wanted[number] = Wanted(each.plate, part, each.options, list(axes))
    listed = local_cells(model, evidence, heard, list(wanted.values()))
    tables: dict[object, Array] = {}  # by what a plate says: most say alike
    for (number, one), held in zip(wanted.items(), listed, strict=True):
        if held is not None:
            if one.part.voice not in tables:
                tables[one.part.voice] = one.part.table(chosen)
            found[number] = _from_held(model, asked[number], one, held, tables[one.part.voice])
    for number, each in enumerate(asked):
        if number not in found and max((len(f) for option in each.options for f in option.values()), default=1) > FEW:
            found[number] = _spread(model, evidence, each, chosen)
    others = [number for number in range(len(asked)) if number not in found]
    found |= dict(zip(others, _passed(model, evidence, [asked[n] for n in others], chosen), strict=True))
    return [found[number] for number in range(len(asked))]


def _from_held(model: Model, asked: AskedSums, wanted: Wanted, held: Held, table: Array) -> list[Array]:
    """For each thing `[row, cell]` from densities by cell."""
    plate = model.plates[asked.plate]
    keys = wanted.keys
    cells = [len(held[axes][keys[0]]) for axes in wanted.axes]
    sums = np.zeros((len(keys), sum(cells)))
    towards: dict[int, Array] = {}
    for key in dict.fromkeys(keys):
        each = [held[axes][key] for axes in wanted.axes]
        classes = max(one.shape[1] for one in each)  # configurations may differ in one of the things alone
        wide = [
            np.broadcast_to(one, (len(one), classes, one.shape[2])) if one.shape[1] < classes else one for one in each
        ]
        density = np.concatenate(wide)
        rows = [row for row, mine in enumerate(keys) if mine == key]
        if classes not in towards:
            every = classes > 1 and classes == len(model.configurations)
            told = tuple(range(classes)) if every else wanted.part.classes[0] if classes > 1 else ()
            by_class = _by_class(asked.gradient, len(model.configurations), told) @ table.T
            towards[classes] = by_class.reshape(len(keys), -1)
        sums[rows] = towards[classes][rows] @ density.reshape(len(density), -1).T
    split = dict(zip(wanted.axes, np.split(sums, np.cumsum(cells)[:-1], axis=1), strict=True))
    return [as_seen(plate, thing, split[axis_of(plate, thing),]) for thing in asked.things]


def _spread(model: Model, evidence: Evidence, asked: AskedSums, chosen: Terms) -> list[Array]:
    """The same for one plate whose options tell many configurations apart, which stand by what differs in them."""
    plate = model.plates[asked.plate]
    also = frozenset(thing[0] for thing in asked.things if not isinstance(thing, int))
    part = plate_block(model, evidence, asked.plate, frozenset(chosen.axes), also=also)
    block = part.with_options_each([asked.options])
    gradient = _by_class(asked.gradient, len(model.configurations), block.classes[0])[None]
    marginals, sums = block.collected(block.towards(gradient, chosen), chosen)
    whole = sums[..., None]  # for components of one state, without an axis
    return [as_seen(plate, thing, marginals.get(axis_of(plate, thing), whole)[0]) for thing in asked.things]


def _passed(model: Model, evidence: Evidence, asked: Sequence[AskedSums], chosen: Terms) -> list[list[Array]]:
    """The same by one pass forward and backward for all things of a plate, and all plates that are alike."""
    kinds: dict[object, _Kind] = {}
    mine = []
    for each in asked:
        also = frozenset(thing[0] for thing in each.things if not isinstance(thing, int))
        part = plate_block(model, evidence, each.plate, frozenset(chosen.axes), also=also)
        kind = kinds.setdefault(part if part.content is None else part.content, _Kind(part, len(model.configurations)))
        mine.append((kind, kind.add(each)))
    together: dict[object, list[_Rows]] = {}
    for kind in kinds.values():
        for rows in kind.rows(chosen):
            key = (kind.part.first.shape_key, kind.part.voice, rows.wide, not rows.options[0], rows.count)
            together.setdefault(key, []).append(rows)
    for some in together.values():
        _pass_over(some, chosen)
    return [
        [as_seen(model.plates[each.plate], thing, kind.told(model, each, thing)[rows]) for thing in each.things]
        for each, (kind, rows) in zip(asked, mine, strict=True)
    ]


class _Rows(Struct, eq=False):
    """Rows of one kind of plate that are done in one pass: each with its option and a gradient `[class or 1, term]`.
    `marginals[axis]` and `whole` are what comes of the pass, `[row, cell]`."""

    kind: _Kind
    options: list[Option]
    gradient: Array
    wide: bool
    marginals: dict[int, Array]
    whole: Array

    @property
    def count(self) -> int:
        """How many rows, made up to a few more."""
        return -(-len(self.options) // PADDED) * PADDED


class _Kind:
    """Plates that are alike, and all that is asked of them, option by option."""

    def __init__(self, part: Block, configurations: int) -> None:
        self.part, self.configurations = part, configurations
        self.options: dict[object, Option] = {}
        self.gradients: dict[object, list[Array]] = {}
        self.passed: list[tuple[_Rows, list[tuple[object, slice, Array]]]] = []
        self.known: dict[int | None, Array] = {}
        self.count = 0
        self.places: dict[object, list[int]] = {}

    def add(self, asked: AskedSums) -> NDArray[np.intp]:
        """Take note of what is asked; where its rows will stand."""
        for option, gradient in zip(asked.options, asked.gradient, strict=True):
            key = option_key(option)
            self.options.setdefault(key, option)
            self.gradients.setdefault(key, []).append(gradient)
            self.places.setdefault(key, []).append(self.count)
            self.count += 1
        return np.arange(self.count - len(asked.options), self.count)

    def rows(self, chosen: Terms) -> list[_Rows]:
        """The rows to pass over: those without an option, which share one forward pass, and the others."""
        wide = any(len(factor) > 1 for option in self.options.values() for factor in option.values())
        made = []
        for empty in (True, False):
            keys = [key for key, option in self.options.items() if (not option) is empty]
            if keys:
                made.append(self._rows(keys, chosen, wide and not empty))
        return made

    def _rows(self, keys: Sequence[object], chosen: Terms, wide: bool) -> _Rows:
        classes = tuple(range(self.configurations)) if wide else self.part.classes[0]
        options, bases, held, start = list[Option](), list[Array](), list[tuple[object, slice, Array]](), 0
        for key in keys:
            gradient = _by_class(np.stack(self.gradients[key]), self.configurations, classes)
            basis, coefficient = _basis(gradient.reshape(len(gradient), -1))
            options += [self.options[key]] * len(basis)
            bases.append(basis.reshape(len(basis), *gradient.shape[1:]))
            held.append((key, slice(start, start + len(basis)), coefficient))
            start += len(basis)
        rows = _Rows(self, options, np.concatenate(bases), wide, {}, np.empty(0))
        self.passed.append((rows, held))
        return rows

    def told(self, model: Model, asked: AskedSums, thing: Thing) -> Array:
        """`[row, cell]` of all rows that were asked of the kind; of a thing without an axis the sum alone."""
        axis: int | None = axis_of(model.plates[asked.plate], thing)
        axis = axis if any(axis in rows.marginals for rows, _ in self.passed) else None
        if axis not in self.known:
            self.known[axis] = self._told(axis)
        return self.known[axis]

    def _told(self, axis: int | None) -> Array:
        result: Array | None = None
        for rows, held in self.passed:
            values = rows.whole if axis is None else rows.marginals[axis]
            result = np.zeros((self.count, values.shape[1])) if result is None else result
            for key, here, coefficient in held:
                result[self.places[key]] = coefficient @ values[here]
        assert result is not None, "something was asked"
        return result


def _basis(gradient: Array) -> tuple[Array, Array]:
    """Few gradients of which all are made, `[basis, place]`, and how, `[row, basis]`: each once, or unit gradients
    where these are fewer."""
    scale = float(np.abs(gradient).max()) or 1.0
    first: dict[bytes, int] = {}
    which = [
        first.setdefault(row.tobytes(), number) for number, row in enumerate(np.round(gradient / scale, ALIKE) + 0.0)
    ]
    if len(first) > gradient.shape[1]:
        return np.eye(gradient.shape[1]), gradient
    distinct = list(first.values())
    place = {number: at for at, number in enumerate(distinct)}
    return gradient[distinct], np.eye(len(distinct))[[place[number] for number in which]]


def _by_class(gradient: Array, configurations: int, classes: tuple[int, ...]) -> Array:
    """`[row, class or 1, term]` from `[row, configuration and term]`."""
    by_configuration = gradient.reshape(len(gradient), configurations, -1)
    if not classes:
        return np.asarray(by_configuration.sum(axis=1, keepdims=True))
    return summed_by(by_configuration, classes, 1, max(classes) + 1)


def _pass_over(some: Sequence[_Rows], chosen: Terms) -> None:
    """One pass over rows of plates of one shape."""
    count = some[0].count
    block = stacked([rows.kind.part.first for rows in some])
    block = block.with_options_each([_made_up(rows.options, count) for rows in some])
    towards = np.zeros((len(some), count, *some[0].gradient.shape[1:]))
    for place, rows in enumerate(some):
        towards[place, : len(rows.gradient)] = rows.gradient
    marginals, sums = block.collected(block.towards(towards, chosen), chosen)
    for place, rows in enumerate(some):
        rows.marginals = {axis: marginal[place] for axis, marginal in marginals.items()}
        rows.whole = sums[place, :, None]  # for components of one state, without an axis


def _made_up(options: Sequence[Option], count: int) -> list[Option]:
    return [*options, *(options[-1] for _ in range(count - len(options)))]
