"""Evidence on shared severities, as a signed sum (terms) or as a grid of levels (cells).

The cumulative distribution of a noisy maximum is a product over plates. So the likelihood of shared evidence is

    sum over levels of likelihood[levels] * P(maxima = levels) = sum over terms of coefficient[term] * P(maxima <= term)

with coefficients from differencing the likelihood: inclusion-exclusion (Heckerman, UAI 1989, for levels of 0 and 1).
A hard 'absent' leaves one term, a hard 'present' two, a full likelihood over L levels L. The grid form keeps the
distribution over levels itself and has no signs. Some groups of axes may be taken the one way, some the other.
May import: numpy, `diag.basics`, `maximum`, `model`, `remembered`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import reduce

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import TooLarge
from diag.inference.maximum import maximum
from diag.inference.model import Array, Emission, Evidence, Model, SharedAxis, SharedSeverity
from diag.inference.remembered import Remembered

__all__ = [
    "MOST_CELLS",
    "TOO_MANY_LEVELS",
    "Grid",
    "Group",
    "Number",
    "Terms",
    "background_cells",
    "background_terms",
    "distinct_terms",
    "emission_factors",
    "evidence_groups",
    "grid",
    "plate_cells",
    "plate_terms",
    "signed_terms",
    "terms",
]

Group = tuple[tuple[SharedAxis, ...], Array]
Number = type[np.float64] | type[np.longdouble]
TERM_LIMIT = 1 << 18
MOST_CELLS = 1 << 27  # joint levels of one plate with those that are carried: a gigabyte
TOO_MANY_LEVELS = (
    f"so many symptoms of the vehicle meet here that their joint levels would be more than {MOST_CELLS:,}; "
    "mark doubtful findings as 'not sure'"
)


class Terms(Struct, frozen=True):
    """`levels[term, axis]` for the shared `axes`, and `coefficient[case or 1, term]`."""

    axes: tuple[SharedAxis, ...]
    levels: NDArray[np.intp]
    coefficient: Array

    @property
    def nbytes(self) -> int:
        """Bytes of its numbers."""
        return self.levels.nbytes + self.coefficient.nbytes

    def part(self, first: int, last: int) -> Terms:
        """The terms from `first` up to, not including, `last`; all of them are these themselves."""
        if first == 0 and last >= len(self.levels):
            return self
        return Terms(self.axes, self.levels[first:last], self.coefficient[:, first:last])


Distinct = tuple[Terms, NDArray[np.intp] | None]


class Grid(Struct, frozen=True):
    """Levels 0 up to the highest possible one of each shared axis, and `likelihood[case or 1, level, ...]`."""

    axes: tuple[SharedAxis, ...]
    likelihood: Array

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of levels kept on each axis."""
        return self.likelihood.shape[1:]


def evidence_groups(model: Model, evidence: Evidence) -> tuple[Group, ...]:
    """Evidence on shared severities as likelihoods over disjoint sets of axes, `[case or 1, level, ...]`.

    Axes which one likelihood names are together, and so are the versions of one severity.
    """
    groups: list[Group] = []
    for axes, likelihood in evidence.shared:
        severities = {severity for severity, _ in axes}
        touching = [group for group in groups if severities & {severity for severity, _ in group[0]}]
        groups = [group for group in groups if not any(group is other for other in touching)]
        union = tuple(sorted({*axes, *(axis for group in touching for axis in group[0])}))
        factors = [_over(likelihood, axes, union), *(_over(table, named, union) for named, table in touching)]
        product = reduce(np.multiply, factors)
        full = tuple(model.shared[severity].levels for severity, _ in union)
        groups.append((union, np.broadcast_to(product, (product.shape[0], *full))))
    return tuple(groups)


def _over(likelihood: Array, axes: Sequence[SharedAxis], union: Sequence[SharedAxis]) -> Array:
    """Transpose and widen `[case, level, ...]` from `axes` to `union`."""
    order = sorted(range(len(axes)), key=lambda place: axes[place])
    turned = np.transpose(likelihood, (0, *(1 + place for place in order)))
    sizes = {axes[place]: likelihood.shape[1 + place] for place in range(len(axes))}
    return turned.reshape(likelihood.shape[0], *(sizes.get(axis, 1) for axis in union))


def signed_terms(model: Model, evidence: Evidence) -> Terms:
    """All terms of the evidence with a coefficient other than zero; not to be changed. Raises TooLarge as `terms`.
    Remembered: everything that is worked out about one case asks for the same."""
    if sum(likelihood.nbytes for _, likelihood in evidence.shared) > LARGEST_TOLD:
        return terms(evidence_groups(model, evidence))
    told = tuple((axes, likelihood.shape, likelihood.tobytes()) for axes, likelihood in evidence.shared)
    levels = tuple(model.shared[severity].levels for axes, _ in evidence.shared for severity, _ in axes)
    known = _TERMS.get((told, levels))
    return _TERMS.put((told, levels), terms(evidence_groups(model, evidence))) if known is None else known


def _bytes_of(chosen: Terms) -> int:
    return chosen.nbytes


def _bytes_of_distinct(found: Distinct) -> int:
    return found[0].nbytes + (0 if found[1] is None else found[1].nbytes)


LARGEST_TOLD = 1 << 14  # bytes of evidence that is known again by its numbers
_TERMS: Remembered[Terms] = Remembered(64, _bytes_of)
_DISTINCT: Remembered[Distinct] = Remembered(256, _bytes_of_distinct)


def terms(groups: Sequence[Group]) -> Terms:
    """All terms with a coefficient other than zero. Raises TooLarge beyond 262,144 of them."""
    axes: list[SharedAxis] = []
    levels = np.zeros((1, 0), dtype=np.intp)
    coefficient = np.ones((1, 1))
    for group_axes, likelihood in groups:
        cells = differenced(likelihood)
        used = np.argwhere(np.any(cells != 0.0, axis=0))
        if len(used) * len(levels) > TERM_LIMIT:
            raise TooLarge(f"the evidence on shared severities needs more than {TERM_LIMIT:,} terms")
        new = cells[(slice(None), *used.T)]
        axes.extend(group_axes)
        levels = np.hstack((np.repeat(levels, len(used), axis=0), np.tile(used, (len(levels), 1))))
        coefficient = (coefficient[:, :, None] * new[:, None, :]).reshape(max(len(coefficient), len(new)), -1)
    return Terms(tuple(axes), levels, coefficient)


def differenced(likelihood: Array) -> Array:
    """`[case, level, ...]`: of a likelihood over shared maxima, the coefficients of 'no more than these levels'. Each
    cell that is not 0 is a term."""
    cells = likelihood
    for dimension in range(1, likelihood.ndim):
        following = np.roll(cells, -1, axis=dimension)
        following[(slice(None),) * dimension + (-1,)] = 0.0
        cells = cells - following
    return cells


def grid(groups: Sequence[Group]) -> Grid:
    """The grid of levels up to the highest one that the evidence allows on each axis. Raises TooLarge before it is
    made where it alone has more joint levels than a plate may have with its own."""
    axes: list[SharedAxis] = []
    tables = []
    for _, table in groups:
        kept = table
        for dimension in range(1, table.ndim):
            others = tuple(d for d in range(table.ndim) if d != dimension)
            possible = np.flatnonzero(np.any(table != 0.0, axis=others))
            top = int(possible[-1]) if len(possible) else 0
            kept = np.take(kept, range(top + 1), axis=dimension)
        tables.append(kept)
    if math.prod(levels for kept in tables for levels in kept.shape[1:]) > MOST_CELLS:
        raise TooLarge(TOO_MANY_LEVELS)
    likelihood = np.ones((1,))
    for (group_axes, _), kept in zip(groups, tables, strict=True):
        axes.extend(group_axes)
        before = likelihood.reshape(*likelihood.shape, *(1 for _ in group_axes))
        after = kept.reshape(kept.shape[0], *(1 for _ in likelihood.shape[1:]), *kept.shape[1:])
        likelihood = before * after
    return Grid(tuple(axes), likelihood)


def _heard(axes: Sequence[SharedAxis], severity: int) -> list[tuple[int, int]]:
    """(place among the axes, version) of each shared axis of one severity."""
    return [(place, version) for place, (number, version) in enumerate(axes) if number == severity]


def distinct_terms(emissions: Iterable[Emission], chosen: Terms) -> Distinct:
    """The terms without the axes that none of the emissions speaks of, each once (their coefficients are ones), and
    which of them each term is; none where no two become one. Remembered, as the terms are."""
    spoken = frozenset(emission.shared for emission in emissions)
    known = _DISTINCT.get((chosen, spoken))
    return _DISTINCT.put((chosen, spoken), _distinct_terms(spoken, chosen)) if known is None else known


def _distinct_terms(spoken: frozenset[int], chosen: Terms) -> Distinct:
    places = [place for place, (severity, _) in enumerate(chosen.axes) if severity in spoken]
    if len(places) == len(chosen.axes):
        return chosen, None
    levels = chosen.levels[:, places]
    codes = np.zeros(len(levels), dtype=np.intp)
    for column in levels.T:
        codes = codes * (int(column.max()) + 1) + column
    _, first, which = np.unique(codes, return_index=True, return_inverse=True)
    axes = tuple(chosen.axes[place] for place in places)
    return Terms(axes, np.ascontiguousarray(levels[first]), np.ones((1, len(first)))), which.reshape(-1)


def plate_terms(
    emissions: Iterable[Emission], kept: Sequence[int], sizes: Sequence[int], chosen: Terms, number: Number = np.float64
) -> Array:
    """`[local cell, term]`: the chance that a plate in this cell of its kept axes stays within each term's levels."""
    return _outer(emission_factors(emissions, chosen, number), kept, sizes, (len(chosen.levels),))


def emission_factors(
    emissions: Iterable[Emission], chosen: Terms, number: Number = np.float64
) -> dict[tuple[int, ...], Array]:
    """By set of local axes `[level, ..., term]`: the chance that what is emitted from there stays within each term."""
    factors: dict[tuple[int, ...], Array] = {}
    for emission in emissions:
        heard = _heard(chosen.axes, emission.shared)
        if not heard:
            continue
        cumulative: Array = np.cumsum(emission.table, axis=1, dtype=number)
        cumulative[:, -1] = 1.0
        used = tuple(sorted({emission.axes[version] for _, version in heard}))
        table: Array | None = None
        for place, version in heard:
            here = cumulative[:, chosen.levels[:, place]]
            shape = [len(here) if axis == emission.axes[version] else 1 for axis in used]
            here = here.reshape(*shape, len(chosen.levels))
            table = here if table is None else np.minimum(table, here)
        assert table is not None
        factors[used] = factors[used] * table if used in factors else table
    return factors


def plate_cells(emissions: Iterable[Emission], kept: Sequence[int], sizes: Sequence[int], chosen: Grid) -> Array:
    """`[local cell, level, ...]`: the density of a plate's contributions over the grid, for each local cell."""
    result = np.ones((1,) * (len(kept) + len(chosen.axes)))
    by_severity: dict[int, list[Emission]] = {}
    for emission in emissions:
        by_severity.setdefault(emission.shared, []).append(emission)
    spoken: set[int] = set()
    for severity, speakers in by_severity.items():
        heard = _heard(chosen.axes, severity)
        if heard:
            spoken.update(place for place, _ in heard)
            dimensions = [len(kept) + place for place, _ in heard]
            densities = [_emission_cells(speaker, kept, chosen, heard) for speaker in speakers]
            result = result * reduce(lambda one, two: maximum(one, two, dimensions), densities)
    for place, levels in enumerate(chosen.shape):
        if place not in spoken:  # this plate contributes nothing to that axis: level 0 for certain
            result = result * _at_zero(result.ndim, len(kept) + place, levels)
    return np.broadcast_to(result, (*sizes, *chosen.shape)).reshape(-1, *chosen.shape)


def _at_zero(dimensions: int, place: int, levels: int) -> Array:
    density = np.zeros(levels)
    density[0] = 1.0
    return density.reshape([levels if dimension == place else 1 for dimension in range(dimensions)])


def _emission_cells(emission: Emission, kept: Sequence[int], chosen: Grid, heard: Sequence[tuple[int, int]]) -> Array:
    """Density of one emission's contributions to the versions of one severity: the overlap of their intervals of u.
    One version alone has its table as it stands: a chance of 1e-13 would lose its digits in a difference."""
    if len(heard) == 1:
        ((place, version),) = heard
        shape = [1] * (len(kept) + len(chosen.axes))
        shape[kept.index(emission.axes[version])] = len(emission.table)
        shape[len(kept) + place] = chosen.shape[place]
        return np.asarray(emission.table[:, : chosen.shape[place]].reshape(shape))
    upper_bound: Array | None = None
    lower_bound: Array | None = None
    cumulative = np.cumsum(emission.table, axis=1)
    cumulative[:, -1] = 1.0
    below = np.hstack((np.zeros((len(cumulative), 1)), cumulative[:, :-1]))
    for place, version in heard:
        shape = [1] * (len(kept) + len(chosen.axes))
        shape[kept.index(emission.axes[version])] = len(cumulative)
        shape[len(kept) + place] = chosen.shape[place]
        upper = cumulative[:, : chosen.shape[place]].reshape(shape)
        lower = below[:, : chosen.shape[place]].reshape(shape)
        upper_bound = upper if upper_bound is None else np.minimum(upper_bound, upper)
        lower_bound = lower if lower_bound is None else np.maximum(lower_bound, lower)
    assert upper_bound is not None and lower_bound is not None
    return np.asarray(np.maximum(upper_bound - lower_bound, 0.0))


def _outer(
    factors: dict[tuple[int, ...], Array], kept: Sequence[int], sizes: Sequence[int], last: tuple[int, ...]
) -> Array:
    """Multiply factors over sets of axes into one `[local cell, *last]`, smallest sets first."""
    result = np.ones((*(1 for _ in kept), *last))
    for used in sorted(factors, key=len):
        shape = [factors[used].shape[used.index(axis)] if axis in used else 1 for axis in kept]
        result = result * factors[used].reshape(*shape, *last)
    return np.ascontiguousarray(np.broadcast_to(result, (*sizes, *last))).reshape(-1, *last)


def background_terms(shared: Sequence[SharedSeverity], chosen: Terms, number: Number = np.float64) -> Array:
    """`[configuration or 1, term]`: the chance that all backgrounds stay within each term's levels."""
    result = np.ones((1, len(chosen.levels)))
    for index, severity in enumerate(shared):
        heard = _heard(chosen.axes, index)
        for table in severity.backgrounds if heard else ():
            cumulative: Array = np.cumsum(table, axis=-1, dtype=number)
            cumulative[..., -1] = 1.0
            parts = [cumulative[version][:, chosen.levels[:, place]] for place, version in heard]
            result = result * reduce(np.minimum, parts)
    return result


def background_cells(shared: Sequence[SharedSeverity], chosen: Grid) -> Array:
    """`[configuration or 1, level, ...]`: the density of all backgrounds' contributions over the grid."""
    result = np.ones((1,) * (1 + len(chosen.axes)))
    for number, severity in enumerate(shared):
        heard = _heard(chosen.axes, number)
        dimensions = [1 + place for place, _ in heard]
        densities = [_background_density(table, chosen, heard) for table in severity.backgrounds] if heard else []
        for place, _ in heard if not densities else ():
            result = result * _at_zero(result.ndim, 1 + place, chosen.shape[place])
        if densities:
            result = result * reduce(lambda one, two: maximum(one, two, dimensions), densities)
    return np.broadcast_to(result, (result.shape[0], *chosen.shape))


def _background_density(table: Array, chosen: Grid, heard: Sequence[tuple[int, int]]) -> Array:
    """Density of one background over the versions of one severity; `table[version, configuration or 1, level]`."""
    if len(heard) == 1:
        ((place, version),) = heard
        shape = [table.shape[1]] + [1] * len(chosen.axes)
        shape[1 + place] = chosen.shape[place]
        return np.asarray(table[version][:, : chosen.shape[place]].reshape(shape))
    upper_bound: Array | None = None
    lower_bound: Array | None = None
    for place, version in heard:
        cumulative = np.cumsum(table[version], axis=-1)
        cumulative[..., -1] = 1.0
        below = np.concatenate((np.zeros((len(cumulative), 1)), cumulative[:, :-1]), axis=1)
        shape = [len(cumulative)] + [1] * len(chosen.axes)
        shape[1 + place] = chosen.shape[place]
        upper = cumulative[:, : chosen.shape[place]].reshape(shape)
        lower = below[:, : chosen.shape[place]].reshape(shape)
        upper_bound = upper if upper_bound is None else np.minimum(upper_bound, upper)
        lower_bound = lower if lower_bound is None else np.maximum(lower_bound, lower)
    assert upper_bound is not None and lower_bound is not None
    return np.asarray(np.maximum(upper_bound - lower_bound, 0.0))
