"""The exact pass over all plates, forward and backward.

Of the shared axes with evidence some are taken as signed terms, given which plates simply multiply, and some are
carried: the levels reached so far go from plate to plate, every number positive and none subtracted. All terms is the
classical inclusion-exclusion, all carried has no signs, and a mixture has the precision of the one at nearly the cost
of the other. May import: numpy, `diag.basics`, `blocks`, `maximum`, `model`, `plate_sums`, `spreads`, `terms`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.basics import TooLarge
from diag.inference.blocks import Block
from diag.inference.maximum import LevelGrid, level_grid
from diag.inference.model import Array, Model
from diag.inference.plate_sums import sums_by_plate
from diag.inference.spreads import summed_by
from diag.inference.terms import (
    MOST_CELLS,
    TOO_MANY_LEVELS,
    Grid,
    Terms,
    background_cells,
    background_terms,
    distinct_terms,
    plate_cells,
)

__all__ = ["Pass", "exact_pass", "with_gradients"]

CHUNK = 1 << 21  # numbers held at once in one array, roughly
LEADING = 3  # case, configuration, term


class Pass(Struct, frozen=True):
    """`probability[case]` of the evidence, the sum of the terms' sizes `magnitude[case]`, the unnormalised posterior
    `configurations[case, configuration]`, what each term holds before its sign `by_term[case, term]`, and for each
    block the gradient of the probability: `[plate, case, class or 1, local cell]` towards the density of a dense
    block, `[plate, case, class or 1, term]` towards the sums of another. `forward`: a pass without gradients, held so
    that these can follow (see `with_gradients`), where it was done in one window."""

    probability: Array
    magnitude: Array
    configurations: Array
    by_term: Array
    gradients: tuple[Array, ...]
    forward: _Chain | None = field(default=None)


def exact_pass(
    model: Model,
    parts: Sequence[Block],
    signed: Terms,
    carried: Grid,
    cases: int,
    gradient: bool = True,
    soon: bool = False,
) -> Pass:
    """Run all plates, in windows of terms and configurations that fit into memory. `soon`: gradients will most likely
    be asked for, so they come at once where one window does not hold the pass."""
    configurations = len(model.configurations)
    posterior, magnitude = np.zeros((cases, configurations)), np.zeros(cases)
    by_term = np.zeros((cases, len(signed.levels)))
    cells = [_cells(part, carried) for part in parts]
    backgrounds = background_cells(model.shared, carried)
    windows = _windows(signed, carried, cases, configurations, max(map(len, cells), default=1))
    gradient = gradient or (soon and len(windows) > 1)
    gradients = [_empty_gradient(part, cases, len(signed.levels)) for part in parts] if gradient else []
    chain: _Chain | None = None
    for window, chosen in windows:
        some = signed.part(chosen.start, chosen.stop)
        chain = _Chain(model, parts, cells, backgrounds, carried, window, some, once=not gradient and not soon)
        posterior[:, window] += chain.by_configuration(chain.coefficient)
        magnitude += chain.by_configuration(np.abs(chain.coefficient)).sum(axis=1)
        by_term[:, chosen] += chain.by_term()
        if gradient:
            chain.add_gradients(gradients, chosen)
    held_back = chain if not gradient and len(windows) == 1 else None
    return Pass(posterior.sum(axis=1), magnitude, posterior, by_term, tuple(gradients), held_back)


def with_gradients(
    answer: Pass, model: Model, parts: Sequence[Block], signed: Terms, carried: Grid, cases: int
) -> Pass:
    """A pass that was done without gradients, with them: from what it holds, or else done again."""
    if answer.gradients:
        return answer
    if answer.forward is None:
        return exact_pass(model, parts, signed, carried, cases)
    gradients = tuple(_empty_gradient(part, cases, len(signed.levels)) for part in parts)
    answer.forward.add_gradients(gradients, slice(0, len(signed.levels)))
    return replace(answer, gradients=gradients, forward=None)


def _windows(signed: Terms, carried: Grid, cases: int, configurations: int, cells: int) -> list[tuple[slice, slice]]:
    """Windows of configurations and terms."""
    widened = int(np.prod([2 * levels - 1 for levels in carried.shape], dtype=np.int64))
    terms_at_once = max(1, CHUNK // (max(cells, cases) * widened))
    configurations_at_once = max(1, CHUNK // (cases * widened * max(1, min(terms_at_once, len(signed.levels)))))
    return [
        (
            slice(c, min(c + configurations_at_once, configurations)),
            slice(t, min(t + terms_at_once, len(signed.levels))),
        )
        for c in range(0, configurations, configurations_at_once)
        for t in range(0, len(signed.levels), terms_at_once)
    ]


def _empty_gradient(part: Block, cases: int, term_count: int) -> Array:
    classes = max(part.classes[0], default=0) + 1
    return np.zeros((len(part.members), cases, classes, int(np.prod(part.sizes)) if part.first.dense else term_count))


def _cells(part: Block, carried: Grid) -> Array:
    """`[local cell, level, ...]` of a dense block. Other blocks cannot carry levels."""
    if part.first.dense:
        if math.prod((*part.sizes, *carried.shape)) > MOST_CELLS:
            raise TooLarge(TOO_MANY_LEVELS)
        return plate_cells(part.first.plate.emissions, part.kept, part.sizes, carried)
    if carried.axes:
        raise TooLarge(
            "so much was renewed on one cylinder that its levels before and after cannot be carried jointly; "
            "leave out findings of earlier visits that no longer matter"
        )
    return np.ones((1,))


class _Said(Struct, frozen=True, eq=False):
    """What a block contributes to each term: `table[local cell, term, level, ...]` for the distinct terms of what it
    speaks of, and `which[term]` of them each one is; none where no two are one."""

    terms: Terms
    table: Array
    which: NDArray[np.intp] | None

    def sums(self, part: Block, once: bool) -> list[Array]:
        """By plate, `[case or 1, class or 1, term, level, ...]`."""
        if not part.first.dense:
            return list(part.sums(self.terms))
        held = sums_by_plate(part, self.terms, self.table, once)
        return held if self.which is None else [np.take(each, self.which, axis=LEADING - 1) for each in held]

    def towards_cells(self, towards: Array) -> Array:
        """From the gradient towards the sums of each term to `[plate, case, class, local cell]`."""
        if self.which is not None:
            towards = summed_by(towards, self.which, LEADING, self.table.shape[1])
        table = self.table.reshape(len(self.table), -1)
        return (towards.reshape(-1, table.shape[1]) @ table.T).reshape(*towards.shape[:LEADING], -1)


def _tables(parts: Sequence[Block], cells: Sequence[Array], signed: Terms, told_apart: Terms) -> list[_Said]:
    """What each block contributes to each term and carried cell: of those that `told_apart` names, where configurations
    have an influence on it. Blocks that speak alike share one table."""
    made: dict[object, _Said] = {}
    keys = [(part.voice, _bound(part)) for part in parts]
    for part, cell, key in zip(parts, cells, keys, strict=True):
        if key not in made:
            all_of_it = told_apart if _bound(part) else signed
            dense = part.first.dense
            chosen, which = distinct_terms(part.first.plate.emissions, all_of_it) if dense else (all_of_it, None)
            table = part.table(chosen) if dense else np.ones((1, 1))
            if cell.ndim > 1:  # else nothing is carried, and every cell counts once
                table = table.reshape(*table.shape, *(1 for _ in cell.shape[1:])) * cell[:, None]
            made[key] = _Said(chosen, table, which)
    return [made[key] for key in keys]


def _bound(part: Block) -> bool:
    """Whether configurations have an influence on a block."""
    return any(part.classes)


def _background(model: Model, signed: Terms, cells: Array, window: slice) -> Array:
    """`[1, configuration or 1, term, level, ...]`."""
    table = background_terms(model.shared, signed)
    table = table[window] if len(table) > 1 else table
    cells = cells[window] if len(cells) > 1 else cells
    return np.asarray((table.reshape(*table.shape, *(1 for _ in cells.shape[1:])) * cells[:, None])[None])


class _Row:
    """Operands in a row, and their maximum; all alike in the configurations or classes of these that they know."""

    def __init__(self, operands: Sequence[Array], levels: LevelGrid) -> None:
        self.operands, self.levels = operands, levels
        self.reached = [operands[0]]
        for operand in operands[1:]:
            self.reached.append(levels.maximum(self.reached[-1], operand))

    @property
    def whole(self) -> Array:
        """The maximum of all operands."""
        return self.reached[-1]

    def gradients(self, towards: Array) -> list[Array]:
        """Gradients towards all operands, from that towards the maximum of the whole row."""
        result: list[Array] = []
        for number in range(len(self.operands) - 1, 0, -1):
            towards, mine = self.levels.adjoints(towards, self.reached[number - 1], self.operands[number])
            result.append(mine)
        return [towards, *reversed(result)]


class _Chain:
    """All plates, row by row, and the background, for one window of configurations and terms.

    Plates to which the same configurations look alike form a row by class of configurations. What no configuration
    influences is a row of its own, over all terms. The others tell only some terms apart, and for these alone the
    configurations are gone through one by one: the terms that look alike to them are summed before, with their signs.
    """

    def __init__(
        self,
        model: Model,
        parts: Sequence[Block],
        cells: Sequence[Array],
        backgrounds: Array,
        carried: Grid,
        window: slice,
        signed: Terms,
        once: bool,
    ) -> None:
        self.parts, self.window, self.coefficient = parts, window, signed.coefficient
        self.prior = model.configurations[window]
        self.levels, self.likelihood = level_grid(carried.shape), carried.likelihood[:, None, None]
        background = _background(model, signed, backgrounds, window)
        emissions = [emission for part in parts if _bound(part) for emission in part.first.plate.emissions]
        self.by_background = background.shape[1] > 1
        told_apart, self.which = (signed, None) if self.by_background else distinct_terms(emissions, signed)
        self.tables = _tables(parts, cells, signed, told_apart)
        self.members: dict[tuple[int, ...], list[tuple[int, int]]] = {(): []}
        for block, part in enumerate(parts):
            for plate, classes in enumerate(part.classes):
                self.members.setdefault(classes, []).append((block, plate))
        sums = [said.sums(part, once) for part, said in zip(parts, self.tables, strict=True)]
        operands = {key: [sums[block][plate] for block, plate in places] for key, places in self.members.items()}
        nothing = np.zeros((1, 1, len(told_apart.levels), *carried.shape))
        nothing.reshape(1, 1, len(told_apart.levels), -1)[..., 0] = 1.0  # the lowest level of everything, for certain
        free = operands.pop(())
        self.free = _Row([nothing if self.by_background else background, *free], self.levels)
        self.rows = {classes: _Row(several, self.levels) for classes, several in operands.items()}
        by_row = [self._by_configuration(row.whole, classes) for classes, row in self.rows.items()]
        first = [background] if self.by_background else [] if by_row else [nothing]
        self.outer = _Row([*first, *by_row], self.levels)
        self.after = self.levels.adjoint(self.likelihood, self.free.whole)

    def _by_configuration(self, by_class: Array, classes: tuple[int, ...]) -> Array:
        return np.take(by_class, classes[self.window], axis=1) if by_class.shape[1] > 1 else by_class

    def _by_class(self, towards: Array, classes: tuple[int, ...]) -> Array:
        """Sum over the configurations of each class."""
        return summed_by(towards, classes[self.window], 1, max(classes) + 1)

    def _shaped(self, by_term: Array) -> Array:
        """`[case or 1, term]` as `[case or 1, 1, term, level, ...]`."""
        return by_term.reshape(len(by_term), 1, -1, *(1 for _ in self.levels.shape))

    def _weights(self, coefficient: Array) -> Array:
        """`[case or 1, 1, term told apart, level, ...]`: what each counts for where it is reached, all else summed."""
        weights = self._shaped(coefficient) * self.after
        return weights if self.which is None else summed_by(weights, self.which, 2)

    def by_configuration(self, coefficient: Array) -> Array:
        """`[case or 1, configuration]`: the sum of all terms, each with its coefficient."""
        reached, weights = self.outer.whole, self._weights(coefficient)
        reached, weights = (each.reshape(*each.shape[:2], -1) for each in (reached, weights))
        if len(reached) == 1:
            return np.asarray(self.prior * (weights[:, 0] @ reached[0].T))
        return np.asarray(self.prior * (reached @ np.swapaxes(weights, 1, 2))[..., 0])

    def _reached(self) -> Array:
        """`[case or 1, 1, term, level, ...]`: what all that configurations influence reaches, on average over these."""
        whole = self.outer.whole
        weights = self.prior if whole.shape[1] > 1 else self.prior.sum(keepdims=True)
        mean = (weights @ whole.reshape(*whole.shape[:2], -1)).reshape(len(whole), 1, *whole.shape[2:])
        return mean if self.which is None else np.take(mean, self.which, axis=2)

    def by_term(self) -> Array:
        """`[case or 1, term]`: the mass that each term holds, before its sign."""
        product = self.after * self._reached()
        return np.asarray(product.reshape(len(product), product.shape[2], -1).sum(axis=2))

    def add_gradients(self, gradients: Sequence[Array], chosen: slice) -> None:
        """Walk back over all plates and add each one's gradient; `chosen` are the terms of this window."""
        prior = self.prior.reshape(-1, 1, *(1 for _ in self.levels.shape))
        by_row = self.outer.gradients(prior * self._weights(self.coefficient))
        around = self._shaped(self.coefficient) * self.levels.adjoint(self.likelihood, self._reached())
        collected: list[dict[int, Array]] = [{} for _ in self.parts]
        _, *found = self.free.gradients(around)
        for (block, plate), mine in zip(self.members[()], found, strict=True):
            collected[block][plate] = mine
        for (classes, row), towards in zip(self.rows.items(), by_row[-len(self.rows) :], strict=False):
            found = row.gradients(self._by_class(towards, classes))
            for (block, plate), mine in zip(self.members[classes], found, strict=True):
                collected[block][plate] = mine
        for block, by_plate in enumerate(collected):
            stack = np.stack([by_plate[plate] for plate in range(len(by_plate))])
            if self.parts[block].first.dense:
                gradients[block][...] += self.tables[block].towards_cells(stack)
            elif self.which is None or not _bound(self.parts[block]):
                gradients[block][..., chosen] += stack
            else:  # terms that look alike share one gradient, so the first of them may stand for all
                gradients[block][..., chosen.start + np.unique(self.which, return_index=True)[1]] += stack
