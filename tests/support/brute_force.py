"""The exact answer for a small model by writing down every world that it allows: slow, and plain enough to trust.

A world is a configuration, a state for every component and a level for every local and shared axis. The worlds are
grown one random choice at a time (a component's state, a link's contribution, the one uniform variable of an emission
or a background, cut at its breakpoints), and worlds that no longer differ in anything are added together.
Nothing here shares code or ideas with `diag.inference`: no inclusion-exclusion, no messages, no plates set apart.

May import: numpy, and the records of `diag.inference`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.inference import Array, Evidence, Model, SharedAxis

__all__ = ["Exact", "Name", "Worlds", "all_worlds", "brute_force", "cumulative", "levels_at", "number_of_worlds"]

Integers = NDArray[np.int64]
Name = tuple[
    str | int, ...
]  # ("configuration",), ("component", plate, index), ("axis", plate, index), ("shared", s, v)

CONFIGURATION: Name = ("configuration",)


@dataclass(frozen=True)
class Worlds:
    """Worlds side by side: `columns[name][world]` is what that variable is there, `chance[world]` sums to 1."""

    columns: dict[Name, Integers]
    chance: Array

    def split(self, name: Name, chances: Array) -> Worlds:
        """Split every world by a new variable with `chances[world, outcome]`; outcomes of chance 0 are left out."""
        world, outcome = np.nonzero(chances)
        columns = {old: values[world] for old, values in self.columns.items()}
        columns[name] = outcome.astype(np.int64)
        return Worlds(columns, self.chance[world] * chances[world, outcome])

    def with_column(self, name: Name, values: Integers) -> Worlds:
        """The same worlds with one column set."""
        return Worlds({**self.columns, name: values}, self.chance)

    def without(self, name: Name) -> Worlds:
        """Forget a variable: worlds that differ in nothing else become one world."""
        columns = {old: values for old, values in self.columns.items() if old != name}
        if not columns:
            return Worlds({}, np.array([self.chance.sum()]))
        rows = np.stack(list(columns.values()), axis=1)
        kept, place = np.unique(rows, axis=0, return_inverse=True)
        chance = np.zeros(len(kept))
        np.add.at(chance, place.ravel(), self.chance)
        return Worlds({old: kept[:, index] for index, old in enumerate(columns)}, chance)


def cumulative(table: Array) -> Array:
    """Chance of at most this level, along the last axis; the last is exactly 1."""
    summed = np.cumsum(table, axis=-1)
    summed[..., -1] = 1.0
    return np.minimum(summed, 1.0)


def levels_at(table: Array, uniform: float) -> Integers:
    """The level of each row of `table[..., level]` at one value of the uniform variable: the first that exceeds it."""
    return np.asarray(np.sum(cumulative(table) <= uniform, axis=-1), dtype=np.int64)


def pieces(table: Array) -> tuple[Array, Array]:
    """Starts and lengths of the pieces of [0, 1) on which no row of `table[..., level]` changes its level."""
    edges = np.unique(np.concatenate([[0.0, 1.0], cumulative(table).ravel()]))
    return edges[:-1], np.diff(edges)


def raise_to(worlds: Worlds, name: Name, levels: Integers) -> Worlds:
    """A maximum: the column becomes at least `levels[world]`."""
    return worlds.with_column(name, np.maximum(worlds.columns[name], levels))


def with_local(worlds: Worlds, model: Model, plate_index: int) -> Worlds:
    """Worlds split by one plate's components and by what their links contribute to the plate's axes."""
    plate = model.plates[plate_index]
    nothing = np.zeros(len(worlds.chance), dtype=np.int64)
    for axis in range(len(plate.axes)):
        worlds = worlds.with_column(("axis", plate_index, axis), nothing)
    for index, component in enumerate(plate.components):
        name: Name = ("component", plate_index, index)
        prior = np.broadcast_to(component.prior, (len(model.configurations), component.prior.shape[1]))
        worlds = worlds.split(name, prior[worlds.columns[CONFIGURATION]])
        for link in component.links:
            table = np.broadcast_to(link.table, (len(model.configurations), *link.table.shape[1:]))
            worlds = worlds.split(("given",), table[worlds.columns[CONFIGURATION], worlds.columns[name]])
            for axis in link.axes:
                worlds = raise_to(worlds, ("axis", plate_index, axis), worlds.columns[("given",)])
            worlds = worlds.without(("given",))
    return worlds


def with_comonotone(worlds: Worlds, shared: int, tables: Array, rows: Sequence[Integers]) -> Worlds:
    """Worlds split by one uniform variable that drives a contribution to each version of a shared severity.

    `tables[row, level]` are all rows that occur; `rows[version][world]` says which of them speaks in that version.
    """
    starts, lengths = pieces(tables)
    levels = np.stack([levels_at(tables, float(start)) for start in starts])
    rows_by_name: dict[Name, Integers] = {("row", version): row for version, row in enumerate(rows)}
    worlds = Worlds({**worlds.columns, **rows_by_name}, worlds.chance)
    worlds = worlds.split(("piece",), np.broadcast_to(lengths, (len(worlds.chance), len(lengths))))
    for version in range(len(rows)):
        given = levels[worlds.columns[("piece",)], worlds.columns[("row", version)]]
        worlds = raise_to(worlds, ("shared", shared, version), given)
    for name in [*rows_by_name, ("piece",)]:
        worlds = Worlds({old: kept for old, kept in worlds.columns.items() if old != name}, worlds.chance)
    return worlds.with_column(("merge",), np.zeros(len(worlds.chance), dtype=np.int64)).without(("merge",))


def with_backgrounds(worlds: Worlds, model: Model, shared: int) -> Worlds:
    """Worlds split by the backgrounds of one shared severity."""
    severity = model.shared[shared]
    for background in severity.backgrounds:
        shape = (severity.versions, len(model.configurations), severity.levels)
        table = np.broadcast_to(background, shape).reshape(-1, severity.levels)
        configuration = worlds.columns[CONFIGURATION]
        rows = [version * len(model.configurations) + configuration for version in range(severity.versions)]
        worlds = with_comonotone(worlds, shared, table, rows)
    return worlds


def all_worlds(model: Model) -> Worlds:
    """Every world of the model with its prior chance."""
    worlds = Worlds({}, np.ones(1)).split(CONFIGURATION, model.configurations[None, :])
    for shared, severity in enumerate(model.shared):
        for version in range(severity.versions):
            nothing = np.zeros(len(worlds.chance), dtype=np.int64)
            worlds = worlds.with_column(("shared", shared, version), nothing)
    for plate_index, plate in enumerate(model.plates):
        worlds = with_local(worlds, model, plate_index)
        for emission in plate.emissions:
            rows = [worlds.columns[("axis", plate_index, axis)] for axis in emission.axes]
            worlds = with_comonotone(worlds, emission.shared, emission.table, rows)
    for shared in range(len(model.shared)):
        worlds = with_backgrounds(worlds, model, shared)
    return worlds


def number_of_worlds(model: Model) -> int:
    """An upper bound on the worlds of a model: the product of all its state and level counts."""
    count = len(model.configurations)
    for plate in model.plates:
        for component in plate.components:
            count *= component.prior.shape[1]
        for axis in plate.axes:
            count *= axis.levels
    for severity in model.shared:
        count *= severity.levels**severity.versions
    return count


def at_worlds(likelihood: Array, columns: Mapping[Name, Integers], names: Sequence[Name]) -> Array:
    """`[case or 1, world]`: a likelihood `[case or 1, value, ...]` at the values that the named variables have."""
    return np.stack([table[tuple(columns[name] for name in names)] for table in likelihood])


def weigh(model: Model, worlds: Worlds, evidence: Evidence) -> Array:
    """`[case, world]`: prior chance of the world times the likelihood of the evidence there."""
    columns = worlds.columns
    weights = np.repeat(worlds.chance[None, :], evidence.cases, axis=0)
    for (plate, component), likelihood in evidence.components.items():
        shape = (likelihood.shape[0], len(model.configurations), likelihood.shape[2])
        full = np.broadcast_to(likelihood, shape)
        weights = weights * full[:, columns[CONFIGURATION], columns[("component", plate, component)]]
    for plate, axes, likelihood in evidence.axes:
        names: list[Name] = [("axis", plate, axis) for axis in axes]
        weights = weights * at_worlds(likelihood, columns, names)
    for plate, axes, likelihood in evidence.configured:
        levels = [columns["axis", plate, axis] for axis in axes]
        weights = weights * likelihood[(slice(None), columns[CONFIGURATION], *levels)]
    for shared_axes, likelihood in evidence.shared:
        weights = weights * at_worlds(likelihood, columns, [("shared", *axis) for axis in shared_axes])
    return weights


@dataclass(frozen=True)
class Exact:
    """Exact answers about one model and one batch of evidence; `weights[case, world]` is joint with the evidence."""

    model: Model
    worlds: Worlds
    weights: Array

    @property
    def probability(self) -> Array:
        """`[case]`: probability of the evidence (its likelihoods taken as they are)."""
        return np.asarray(self.weights.sum(axis=1))

    def size(self, name: Name) -> int:
        """How many values a variable has."""
        match name:
            case ("component", int(plate), int(index)):
                return int(self.model.plates[plate].components[index].prior.shape[1])
            case ("axis", int(plate), int(index)):
                return self.model.plates[plate].axes[index].levels
            case ("shared", int(shared), int()):
                return self.model.shared[shared].levels
            case _:
                return len(self.model.configurations)

    def posterior(self, *names: Name) -> Array:
        """`[case, value, ...]`: joint posterior of the named variables, in that order; NaN where impossible."""
        shape = [self.size(name) for name in names]
        joint = np.zeros((len(self.weights), *shape))
        place = tuple(self.worlds.columns[name] for name in names)
        for case, weights in enumerate(self.weights):
            np.add.at(joint[case], place, weights)
        with np.errstate(invalid="ignore", divide="ignore"):
            result: Array = joint / self.probability.reshape(-1, *[1] * len(shape))
        return result

    def combinations(self, case: int = 0) -> dict[tuple[tuple[tuple[int, int], int], ...], float]:
        """Posterior of every combination of unsound states (sorted `((plate, component), state)`), likeliest first."""
        names = [name for name in self.worlds.columns if name[0] == "component"]
        totals: dict[tuple[tuple[tuple[int, int], int], ...], float] = {}
        rows = np.stack([self.worlds.columns[name] for name in names], axis=1)
        for row, weight in zip(rows.tolist(), self.weights[case].tolist(), strict=True):
            key = tuple(
                sorted(((int(name[1]), int(name[2])), state) for name, state in zip(names, row, strict=True) if state)
            )
            totals[key] = totals.get(key, 0.0) + weight / float(self.probability[case])
        return dict(sorted(totals.items(), key=lambda item: -item[1]))

    def expectation(self, factors: Sequence[Mapping[int, Array]], configuration_factor: Array | None = None) -> Array:
        """`[case]`: expected product of `factors[plate][component][configuration or 1, state]` given the evidence."""
        columns = self.worlds.columns
        product = np.ones(len(self.worlds.chance))
        if configuration_factor is not None:
            product = product * configuration_factor[columns[CONFIGURATION]]
        for plate, option in enumerate(factors):
            for component, factor in option.items():
                full = np.broadcast_to(factor, (len(self.model.configurations), factor.shape[1]))
                product = product * full[columns[CONFIGURATION], columns[("component", plate, component)]]
        result: Array = self.weights @ product / self.probability
        return result

    def shared(self, axes: Sequence[SharedAxis]) -> Array:
        """`[case, level, ...]`: joint posterior of shared axes."""
        return self.posterior(*[("shared", *axis) for axis in axes])


def brute_force(model: Model, evidence: Evidence, worlds: Worlds | None = None) -> Exact:
    """Exact answers by summing over all worlds; give `worlds` to use those of `all_worlds(model)` again."""
    worlds = all_worlds(model) if worlds is None else worlds
    return Exact(model, worlds, weigh(model, worlds, evidence))
