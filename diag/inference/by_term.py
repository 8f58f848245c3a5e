"""Plates that are not dense, met term by term within their factor graph.

What was renewed twice over in a plate has so many joint levels before and after that their density would be far larger
than what comes of it. So every emission is a likelihood that depends on the term; terms stand beside the classes of
configurations, `[class and term]`, and every factor keeps but the rows that differ (see `spreads`): most of the graph
is joined for a few of them, and only what is left at its end for all.
May import: numpy, `diag.basics`, and within the room `leaves`, `local`, `model`, `planning`, `spreads`, `terms`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.basics import TooLarge
from diag.inference import local
from diag.inference.leaves import MANY_CASES, with_spreads
from diag.inference.local import Tape, backward, forward, keeping
from diag.inference.model import Array, Emission
from diag.inference.planning import Layout, work_of
from diag.inference.spreads import Spread, distinct, seen_in_order
from diag.inference.terms import Terms, emission_factors

__all__ = ["ByTerm"]

ROWS_AT_ONCE = 1 << 14  # classes, terms and cases of one pass: each takes a few thousand numbers
FEWER = 4  # by so much there are fewer at once where they do not fit into the memory
ORDERS, MORE_ORDERS = 4, 48  # of joining the factors, of which the best is taken
MUCH = 1 << 24  # products of a pass, from which it pays to try more of them
MOST_NUMBERS = 1 << 28  # of all factors of a pass: two GiB, and as much again on the way back
Rows = list[Spread | None]


class ByTerm(Struct, frozen=True, eq=False):
    """Plates of one shape, stacked, as in a `Block`: `[plate, case or 1, class or 1, 1, axis...]`, with the spreads of
    leaves and likelihoods where these have rows of their own, and the number of classes."""

    layout: Layout
    leaves: tuple[Array, ...]
    likelihoods: tuple[Array, ...]
    spreads: tuple[Spread | None, ...]
    classes: int
    emissions: tuple[Emission, ...]

    def sums(self, chosen: Terms, cases: int = 1) -> Array:
        """`[plate, case or 1, class, term]`: the mass that stays within each term."""
        return np.concatenate([self._split(tape.result, terms) for terms, tape in self._tapes(chosen, cases)], axis=3)

    def collected(self, gradient: Array, chosen: Terms) -> tuple[dict[int, Array], Array]:
        """Marginals `[plate, case, level or state]` of all axes, from the gradient `[plate, case, class or 1, term]`
        towards the sums, and `[plate, case]` what it makes of the whole."""
        marginals: dict[int, Array] = {}
        whole = np.zeros(1)
        for terms, tape in self._tapes(chosen, gradient.shape[1]):
            mine = gradient[..., terms]
            wide = np.broadcast_to(mine, (*mine.shape[:2], self.classes, mine.shape[3]))
            towards = wide.reshape(*mine.shape[:2], -1, 1)
            for axis, marginal in backward(tape, towards).items():
                marginals[axis] = marginals[axis] + marginal if axis in marginals else marginal
            whole = whole + (tape.result * towards).sum(axis=(2, 3))
        return marginals, whole

    def apart(self, chosen: Terms, axes: tuple[int, ...], cases: int = 1) -> Array:
        """`[plate, case or 1, joint cell of the axes, class, term]`: the sums by what these axes are at, which must be
        carried."""
        order, sizes = sorted(axes), self.layout.sizes
        found = []
        for terms, tape in self._tapes(chosen, cases):
            split = self._split(keeping(tape, axes)[1], terms)
            split = split.reshape(*split.shape[:4], *(sizes[axis] for axis in order))
            turned = np.transpose(split, (0, 1, *(4 + order.index(axis) for axis in axes), 2, 3))
            found.append(turned.reshape(*turned.shape[:2], -1, *turned.shape[-2:]))
        return np.concatenate(found, axis=4)

    def _split(self, result: Array, terms: slice) -> Array:
        """`[plate, case, class, term, ...]` from `[plate, case, class and term, 1, ...]`."""
        count = terms.stop - terms.start
        wide = np.broadcast_to(result[:, :, :, 0], (*result.shape[:2], self.classes * count, *result.shape[4:]))
        return wide.reshape(*result.shape[:2], self.classes, count, *result.shape[4:])

    def _tapes(self, chosen: Terms, cases: int) -> Iterator[tuple[slice, Tape]]:
        """The forward passes, window by window of the terms; `cases` there will be in the backward pass."""
        factors = emission_factors(self.emissions, chosen)
        tables = [np.moveaxis(table, -1, 0) for table in factors.values()]
        columns = [distinct(table) for table in tables]
        rows = [table[None, None, first, None] for table, (_, first) in zip(tables, columns, strict=True)]
        every = [column for column, _ in columns]
        layout, count = self._layout(tuple(factors), every, len(chosen.levels)), len(chosen.levels)
        widest = max(len(each) for each in self.leaves) * max(cases, *(each.shape[1] for each in self._told))
        step = max(1, ROWS_AT_ONCE // (widest * self.classes))
        start, most = 0, MOST_NUMBERS
        while start < count:
            terms = slice(start, min(start + step, count))
            seen = [seen_in_order(column[terms]) for column in every]
            spreads = self._beside([number for number, _ in seen], terms.stop - start)
            some = [table[:, :, column[terms][at]] for table, column, (_, at) in zip(rows, every, seen, strict=True)]
            try:
                tape = forward(layout, self.leaves, [*self.likelihoods, *some], cases, spreads, most)
            except TooLarge:
                if step == 1 and most == local.MOST_NUMBERS:
                    raise
                step, most = (max(1, step // FEWER), most) if step > 1 else (step, local.MOST_NUMBERS)
                continue
            yield terms, tape
            start = terms.stop

    @property
    def _told(self) -> tuple[Array, ...]:
        return (*self.leaves, *self.likelihoods)

    def _layout(self, axes: tuple[tuple[int, ...], ...], columns: Sequence[Spread], terms: int) -> Layout:
        """How factors are joined: planned for all terms, so that it serves every window."""
        wide = (MANY_CASES if each.shape[1] > 1 else 1 for each in self._told)
        layout = replace(
            self.layout,
            likelihoods=(*self.layout.likelihoods, *axes),
            widths=(*wide, *(1 for _ in axes)),
            tries=ORDERS,
        )
        layout = with_spreads(layout, self._beside(columns, terms), self.classes * terms)
        return layout if work_of(layout) < MUCH else replace(layout, tries=MORE_ORDERS)

    def _beside(self, columns: Sequence[Spread], terms: int) -> Rows:
        """The spreads of all factors over `[class and term]`: of leaves and likelihoods, and of emissions by term."""
        known = self.spreads or [np.arange(self.classes) if each.shape[2] > 1 else None for each in self._told]
        by_class = [None if each is None else np.repeat(each, terms) for each in known]
        return [*by_class, *(np.tile(column, self.classes) if column.any() else None for column in columns)]
