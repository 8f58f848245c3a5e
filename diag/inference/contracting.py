"""A density over a plate's local cells met with every term, by way of the few factors that terms are made of.

The table of `terms.plate_terms` is a product of tables over one local axis each (or a few that speak together), and
most terms have the same column in most of these. So some axes are summed out for their distinct columns alone, and
only the others for every term: with several shared severities a few times less work than one product of matrices.
May import: numpy, `blocks`, `model`, `remembered`, `terms`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.blocks import Block
from diag.inference.model import Array, Emission
from diag.inference.remembered import Remembered
from diag.inference.terms import Number, Terms, emission_factors

__all__ = ["TermSums", "term_sums", "term_sums_of"]

WINDOW = 1 << 17  # numbers held at once: as many as stay near the processor
FEW_CELLS, FEW_NUMBERS = 32, 1 << 13  # cells, and numbers in the table, so few that one product is quicker
Factors = Mapping[tuple[int, ...], Array]


class TermSums(Struct, frozen=True):
    """How to sum out local axes for each term. `summed` are the axes of a density, in its order; those of `first` are
    summed for the distinct columns of `first_table[cell, column]`, those of `second` for every term with
    `second_table[cell, term]`; `column[term]` is the column of each. Axes in neither are summed as they are."""

    summed: tuple[int, ...]
    first: tuple[int, ...]
    second: tuple[int, ...]
    first_table: Array
    second_table: Array
    column: NDArray[np.intp]

    def of(self, density: Array, rows: int) -> Array:
        """`[row..., term]` from a density `[row..., axis...]` with so many row dimensions."""
        silent = tuple(rows + at for at, axis in enumerate(self.summed) if axis not in (*self.first, *self.second))
        heard = density.sum(axis=silent) if silent else density
        left = [axis for axis in self.summed if axis in self.first or axis in self.second]
        before = [rows + left.index(axis) for axis in self.first]
        after = [rows + left.index(axis) for axis in self.second]
        turned = np.transpose(heard, (*before, *range(rows), *after))
        if not before:
            flat = turned.reshape(-1, len(self.second_table)) @ self.second_table
            return np.asarray(flat.reshape(*density.shape[:rows], -1))
        columns = self.first_table.T @ turned.reshape(len(self.first_table), -1)  # [column, row and second cell]
        columns = columns.reshape(self.first_table.shape[1], -1, len(self.second_table))
        places = [np.flatnonzero(self.column == number) for number in range(len(columns))]
        tables = [np.ascontiguousarray(self.second_table[:, here].T) for here in places]
        result = np.empty((columns.shape[1], len(self.column)), dtype=columns.dtype)
        window = max(1, WINDOW // len(self.column))
        for start in range(0, len(result), window):  # term by term where it is still near, then turned
            some = columns[:, start : start + window]
            held = np.empty((len(self.column), some.shape[1]), dtype=columns.dtype)
            for mine, here, table in zip(some, places, tables, strict=True):
                held[here] = table @ mine.T
            result[start : start + window] = held.T
        return result.reshape(*density.shape[:rows], -1)


def term_sums_of(
    part: Block, chosen: Terms, number: Number = np.float64, apart: Sequence[int] = ()
) -> tuple[TermSums, Array] | None:
    """`term_sums` of a block's kept axes, remembered by its voice; not to be changed."""
    key = (part.voice, part.sizes, chosen.axes, chosen.levels.tobytes(), number, tuple(apart))
    known = _MADE.get(key)
    if known is None:
        made = term_sums(part.first.plate.emissions, part.kept, part.sizes, chosen, number, apart)
        known = _MADE.put(key, (made,))
    return known[0]


def _bytes_of(made: tuple[tuple[TermSums, Array] | None]) -> int:
    if made[0] is None:
        return 0
    sums, own = made[0]
    return sums.first_table.nbytes + sums.second_table.nbytes + sums.column.nbytes + own.nbytes


_MADE: Remembered[tuple[tuple[TermSums, Array] | None]] = Remembered(128, _bytes_of)


def term_sums(
    emissions: Iterable[Emission],
    kept: Sequence[int],
    sizes: Sequence[int],
    chosen: Terms,
    number: Number = np.float64,
    apart: Sequence[int] = (),
) -> tuple[TermSums, Array] | None:
    """How to sum out the kept axes but those `apart`, and `[cell apart, term]`: what these put into each term. None
    where axes that are to be summed out speak together with such as are not."""
    factors = emission_factors(emissions, chosen, number)
    mine = {axes: table for axes, table in factors.items() if not set(axes) & set(apart)}
    others = {axes: table for axes, table in factors.items() if set(axes) & set(apart)}
    if any(not set(axes) <= set(apart) for axes in others):
        return None
    levels, count = dict(zip(kept, sizes, strict=True)), len(chosen.levels)
    own = _over(others, apart, levels, count)
    summed = tuple(axis for axis in kept if axis not in apart)
    heard = tuple(axis for axis in summed if any(axis in axes for axes in mine))
    cells = int(np.prod([levels[axis] for axis in heard], dtype=np.int64))
    if cells <= FEW_CELLS or cells * count <= FEW_NUMBERS:
        whole = _over(mine, heard, levels, count)
        return TermSums(summed, (), heard, np.ones((1, 1)), whole, np.zeros(count, dtype=np.intp)), own
    groups = sorted((_columns(table) for table in _joined(mine, levels)), key=_distinct)
    first, second = _split(groups, count)
    table, column = _product(first, count, distinct=True)
    every = _product(second, count, distinct=False)[0]
    return TermSums(summed, _axes(first), _axes(second), table, every, column), own


class _Group(Struct, frozen=True):
    """Axes that speak together: `table[cell, column]` of distinct columns, and `column[term]`."""

    axes: tuple[int, ...]
    table: Array
    column: NDArray[np.intp]


def _joined(factors: Factors, levels: Mapping[int, int]) -> list[tuple[tuple[int, ...], Array]]:
    """Factors that share axes as one, `[cell, term]`."""
    found: list[tuple[set[int], list[tuple[int, ...]]]] = []
    for axes in factors:
        touching = [each for each in found if each[0] & set(axes)]
        found = [each for each in found if each not in touching]
        united = set(axes).union(*(each[0] for each in touching))
        found.append((united, [axes, *(one for each in touching for one in each[1])]))
    joined = []
    for united, members in found:
        order = tuple(sorted(united))
        some = {axes: factors[axes] for axes in members}
        joined.append((order, _over(some, order, levels, next(iter(some.values())).shape[-1])))
    return joined


def _over(factors: Factors, axes: Sequence[int], levels: Mapping[int, int], count: int) -> Array:
    """`[cell of the axes, term]`: the product of factors over some of them."""
    result = np.ones((*(levels[axis] for axis in axes), count))
    for used, table in factors.items():
        order = sorted(range(len(used)), key=lambda place: axes.index(used[place]))
        turned = np.transpose(table, (*order, len(used)))
        result = result * turned.reshape(*(levels[axis] if axis in used else 1 for axis in axes), count)
    return result.reshape(-1, count)


def _columns(joined: tuple[tuple[int, ...], Array]) -> _Group:
    axes, table = joined
    first: dict[bytes, int] = {}
    where: list[int] = []
    column = np.empty(table.shape[1], dtype=np.intp)
    high = table.astype(np.float64)
    low = (table - high).astype(np.float64)  # the long numbers' own bytes hold some that mean nothing
    for term, values in enumerate(np.ascontiguousarray(np.concatenate([high, low]).T)):
        key = values.tobytes()
        if key not in first:
            first[key] = len(where)
            where.append(term)
        column[term] = first[key]
    return _Group(axes, table[:, where], column)


def _distinct(group: _Group) -> int:
    return int(group.table.shape[1])


def _axes(groups: Sequence[_Group]) -> tuple[int, ...]:
    return tuple(axis for group in groups for axis in group.axes)


def _split(groups: Sequence[_Group], count: int) -> tuple[Sequence[_Group], Sequence[_Group]]:
    """The groups of fewest columns first, as many as make the work least."""
    cells = [len(group.table) for group in groups]
    every = float(np.prod(cells))
    best, least = 0, every * count / 2
    codes = np.zeros(count, dtype=np.intp)
    for number, group in enumerate(groups):
        codes = codes * _distinct(group) + group.column
        work = every * _count(codes) + float(np.prod(cells[number + 1 :])) * count
        if work < least:
            best, least = number + 1, work
    return groups[:best], groups[best:]


def _count(codes: NDArray[np.intp]) -> int:
    """How many different ones there are."""
    ordered = np.sort(codes)
    return 1 + int(np.count_nonzero(ordered[1:] != ordered[:-1]))


def _product(groups: Sequence[_Group], count: int, distinct: bool) -> tuple[Array, NDArray[np.intp]]:
    """`[cell, term]` of all the groups, or `[cell, column]` of the distinct columns, and the column of each term."""
    codes = np.zeros(count, dtype=np.intp)
    for group in groups:
        codes = codes * _distinct(group) + group.column
    _, where, column = np.unique(codes, return_index=True, return_inverse=True)
    chosen = where if distinct else np.arange(count)
    number = groups[0].table.dtype if groups else np.float64
    result = np.ones((1, len(chosen)), dtype=number)
    for group in groups:
        mine = group.table[:, group.column[chosen]]
        result = (result[:, None] * mine[None]).reshape(-1, len(chosen))
    return result, column.reshape(-1)
