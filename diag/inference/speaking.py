"""What plates of one build put into each term, for several models at once, by way of distinct columns.

The table of a plate's cells by terms is a product of factors over single axes (see `contracting`), and models of one
build have the same factors with other numbers. Which terms have the same column is told by the levels of the severities
that are heard, so it is worked out once for all models. Axes of few columns are summed out first, for each column; the
others then for every term within it; what no axis of the plate hears repeats the result. May import: numpy, `model`,
`terms`.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, reduce
from math import prod

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.model import Array, Emission
from diag.inference.terms import Terms

__all__ = ["Speech", "Voice", "speech", "voice"]

Index = NDArray[np.intp]
SLOWER = 8.0  # times that a product within a column takes as long as one in a large product of matrices


class Speech(Struct, frozen=True, dict=True):
    """How a plate speaks, whatever its numbers. `sizes` are the levels of its axes that are heard, `first` and `second`
    their places that are summed out first and then. `first_terms[column]` and `second_terms[column, slot]` name a term
    that has this column, `place[term]` = column x slots + slot where each term is found."""

    sizes: tuple[int, ...]
    first: tuple[int, ...]
    second: tuple[int, ...]
    first_terms: Index
    second_terms: Index
    place: Index

    @cached_property
    def order(self) -> Index:
        """The terms in the order in which they are found."""
        return np.argsort(self.place, kind="stable")

    @cached_property
    def repeats(self) -> int:
        """How often each place is found, one after the other; 0 where it is not so simple."""
        places = self.second_terms.size
        each = len(self.place) // places
        return each if np.array_equal(self.place, np.repeat(np.arange(places), each)) else 0

    def spread(self, found: Array) -> Array:
        """`[..., term]` from `[..., place]`."""
        if self.repeats == 1:
            return found
        return np.repeat(found, self.repeats, axis=-1) if self.repeats else np.take(found, self.place, axis=-1)

    def spread_to(self, result: Array, found: Array) -> None:
        """The same put into `result`, which may have more rows."""
        if self.repeats:
            result.reshape(*result.shape[:-1], -1, self.repeats)[...] = found[..., None]
        else:
            result[...] = np.take(found, self.place, axis=-1)

    def gathered(self, by_term: Array) -> Array:
        """`[..., place]`: sums of `[..., term]`."""
        if self.repeats:
            return np.asarray(by_term.reshape(*by_term.shape[:-1], -1, self.repeats).sum(axis=-1))
        here, starts = np.unique(self.place[self.order], return_index=True)
        result = np.zeros((*by_term.shape[:-1], self.second_terms.size))
        result[..., here] = np.add.reduceat(np.take(by_term, self.order, axis=-1), starts, axis=-1)
        return result


class Voice(Struct, frozen=True):
    """A speech with the numbers of each model: `first[model, column, first cell]`, and `second[model, column, second
    cell, slot]`: the chance that what is emitted from these cells stays within the term."""

    speech: Speech
    first: Array
    second: Array

    def of(self, models: Sequence[int]) -> Voice:
        """The voice of some of the models, each as often as it is named."""
        return Voice(self.speech, self.first[list(models)], self.second[list(models)])

    def sums(self, density: Array) -> Array:
        """`[model, row, place]`: the mass that stays within each term, from a density `[model or 1, row, cell]`. The
        speech lays it out by term (`spread`)."""
        models, rows, _ = density.shape
        said, known = self.speech, len(self.second)
        cells = density.reshape(models, rows, *said.sizes)
        turned = np.transpose(cells, (0, *(2 + axis for axis in said.first), 1, *(2 + axis for axis in said.second)))
        by_column = self.first @ turned.reshape(models, self.first.shape[2], -1)  # [model, column, row and second cell]
        inner = by_column.reshape(known, self.first.shape[1], rows, -1) @ self.second
        return np.asarray(np.swapaxes(inner, 1, 2).reshape(known, rows, -1))

    def cells(self, towards: Array) -> Array:
        """`[model, row, cell]`: the gradient towards a density, from one towards its sums `[model, row, term]`."""
        said = self.speech
        models, rows, _ = towards.shape
        columns, slots = said.second_terms.shape
        by_place = np.swapaxes(said.gathered(towards).reshape(models, rows, columns, slots), 1, 2)
        inner = (by_place @ np.swapaxes(self.second, 2, 3)).reshape(models, columns, -1)
        cells = np.swapaxes(self.first, 1, 2) @ inner  # [model, first cell, row and second cell]
        sizes = [said.sizes[axis] for axis in said.first]
        shaped = cells.reshape(models, *sizes, rows, *(said.sizes[axis] for axis in said.second))
        held = (*said.first, *said.second)
        places = [1 + held.index(axis) + (held.index(axis) >= len(said.first)) for axis in range(len(held))]
        return np.transpose(shaped, (0, 1 + len(said.first), *places)).reshape(models, rows, -1)


class _Group(Struct, frozen=True):
    """Axes that speak together: their places among those that are heard, the number of their joint levels, and for each
    term which of its distinct columns it has."""

    axes: tuple[int, ...]
    cells: int
    column: Index


def speech(emissions: Sequence[Emission], kept: Sequence[int], sizes: Sequence[int], chosen: Terms) -> Speech:
    """How emissions from the axes `kept`, of so many levels, speak in the chosen terms."""
    groups = sorted(_groups(emissions, kept, sizes, chosen), key=lambda group: int(group.column.max(initial=0)))
    count = len(chosen.levels)
    heard = _code([group.column for group in groups], count)
    distinct = int(heard.max()) + 1
    best, least = 0, np.inf
    for number in range(len(groups) + 1):
        columns = int(_code([group.column for group in groups[:number]], count).max()) + 1
        inner = prod(group.cells for group in groups[number:])
        work = prod(group.cells for group in groups) * columns + SLOWER * inner * distinct if number else np.inf
        work = float(prod(group.cells for group in groups) * distinct) if number == 0 else work
        if work < least:
            best, least = number, work
    column = _code([group.column for group in groups[:best]], count)
    first = np.unique(column, return_index=True)[1]
    pairs, example, found = np.unique(column * distinct + heard, return_index=True, return_inverse=True)
    of_column = pairs // distinct
    slot = np.arange(len(pairs)) - np.searchsorted(of_column, of_column)
    slots = int(slot.max()) + 1
    second = np.repeat(first[:, None], slots, axis=1)  # what a column has fewer of is padded with a term of its own
    second[of_column, slot] = example
    first_axes = tuple(axis for group in groups[:best] for axis in group.axes)
    second_axes = tuple(axis for group in groups[best:] for axis in group.axes)
    place = (of_column * slots + slot)[found.reshape(-1)]
    return Speech(tuple(sizes), first_axes, second_axes, first, second, place)


def voice(emissions: Sequence[Sequence[Emission]], kept: Sequence[int], chosen: Terms, said: Speech) -> Voice:
    """A speech in the numbers of each model; `emissions[model]`."""
    axes = [tuple(kept[place] for place in some) for some in (said.first, said.second)]
    models = len(emissions)
    first = _table(emissions, axes[0], [said.sizes[place] for place in said.first], chosen, said.first_terms)
    flat = said.second_terms.reshape(-1)
    second = _table(emissions, axes[1], [said.sizes[place] for place in said.second], chosen, flat)
    columns, slots = said.second_terms.shape
    by_column = np.swapaxes(second.reshape(models, -1, columns, slots), 1, 2)
    return Voice(said, np.ascontiguousarray(np.swapaxes(first, 1, 2)), np.ascontiguousarray(by_column))


def _heard(emission: Emission, chosen: Terms) -> list[tuple[int, int]]:
    """(place among the chosen axes, version) of what is heard of an emission."""
    return [(place, version) for place, (shared, version) in enumerate(chosen.axes) if shared == emission.shared]


def _groups(emissions: Sequence[Emission], kept: Sequence[int], sizes: Sequence[int], chosen: Terms) -> list[_Group]:
    """The axes that are kept, those together from which one emission speaks."""
    found: list[tuple[set[int], set[int]]] = []  # axes, and the places of the chosen axes that hear them
    silent = set(range(len(kept)))
    for emission in emissions:
        heard = _heard(emission, chosen)
        mine = {kept.index(emission.axes[version]) for _, version in heard}
        if mine:
            touching = [each for each in found if each[0] & mine]
            found = [each for each in found if not each[0] & mine]
            ears = {place for place, _ in heard}.union(*(each[1] for each in touching))
            found.append((mine.union(*(each[0] for each in touching)), ears))
            silent -= mine
    found += [({axis}, set()) for axis in sorted(silent)]
    groups = []
    for axes, ears in found:
        order = tuple(sorted(axes))
        column = _code([chosen.levels[:, place] for place in sorted(ears)], len(chosen.levels))
        groups.append(_Group(order, prod(sizes[axis] for axis in order), column))
    return groups


def _code(columns: Sequence[Index], count: int) -> Index:
    """Equal numbers, from 0 on, for terms that are equal in all of these."""
    code = np.zeros(count, dtype=np.intp)
    for column in columns:
        code = code * (int(column.max()) + 1) + column
    return np.unique(code, return_inverse=True)[1].reshape(-1)


def _table(
    emissions: Sequence[Sequence[Emission]],
    kept: Sequence[int],
    sizes: Sequence[int],
    chosen: Terms,
    some: Index,
) -> Array:
    """`[model, cell of these axes, term]` for some of the terms: the chance that what they emit stays within each."""
    models, levels = len(emissions), chosen.levels[some]
    factors: dict[tuple[int, ...], Array] = {}
    for number, emission in enumerate(emissions[0]):
        heard = _heard(emission, chosen)
        used = tuple(sorted({emission.axes[version] for _, version in heard}))
        if not used or not set(used) <= set(kept):
            continue
        cumulative = np.cumsum(np.array([each[number].table for each in emissions]), axis=2)
        cumulative[:, :, -1] = 1.0
        parts = []
        for place, version in heard:
            shape = [cumulative.shape[1] if axis == emission.axes[version] else 1 for axis in used]
            parts.append(cumulative[:, :, levels[:, place]].reshape(models, *shape, len(some)))
        table = reduce(np.minimum, parts)
        factors[used] = factors[used] * table if used in factors else table
    result: Array = np.ones((models, *(1 for _ in kept), len(some)))
    for used in sorted(factors, key=len):
        order = sorted(range(len(used)), key=lambda place: kept.index(used[place]))
        turned = np.transpose(factors[used], (0, *(1 + place for place in order), 1 + len(used)))
        at = dict(zip((used[place] for place in order), turned.shape[1:-1], strict=True))
        result = result * turned.reshape(models, *(at.get(axis, 1) for axis in kept), len(some))
    return np.broadcast_to(result, (models, *sizes, len(some))).reshape(models, -1, len(some))
