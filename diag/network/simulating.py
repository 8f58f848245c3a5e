"""Vehicles drawn from the model of a case, and what the questions of the case would have brought on each of them.

The story is that of `diag.inference` and `chain`, told forwards: configuration, components, what they contribute,
maxima, chained severities, answers. What was not renewed is one variable in all versions, and so is its noise.
May import: knowledge_base, casebook, evidence, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.inference import Array, Plate
from diag.knowledge_base import Knowledge
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.questions import Question

__all__ = ["Draws", "Luck", "simulate"]

Levels = NDArray[np.int64]


class Draws:
    """`count` vehicles drawn from the model of a case before anything was told; the seed makes them the same again."""

    def __init__(self, network: CaseNetwork, count: int, seed: int) -> None:
        self._network, self._random = network, np.random.default_rng(seed)
        self.count = count
        model = network.model
        self._configuration = self._random.choice(len(model.configurations), size=count, p=model.configurations)
        self._shared = [np.zeros((severity.versions, count), dtype=np.int64) for severity in model.shared]
        self._components: list[list[Levels]] = []
        self._axes: list[list[Levels]] = []
        for plate in model.plates:
            self._draw_plate(plate)
        for number, severity in enumerate(model.shared):
            for background in severity.backgrounds:
                uniform = self._random.random(count)
                for version in range(severity.versions):
                    self._raise(number, version, self._by_configuration(background[version]), uniform)
        self._chained = self._draw_chain()

    def levels(self, key: Key, version: int) -> Levels:
        """`[draw]`: state of a component, or level of a severity, in one of its versions."""
        targets = self._network.targets
        if key[0] in targets.chain.nodes:
            return self._chained[key[0]][version]
        if key in targets.components:
            plate, indices = targets.components[key]
            return self._components[plate][indices[version]]
        if key in targets.axes:
            plate, indices = targets.axes[key]
            return self._axes[plate][indices[version]]
        column: Levels = targets.configurations.column(key, version)
        return np.asarray(column[self._configuration], dtype=np.int64)

    def uniform(self) -> Array:
        """`[draw]`: fresh noise, one number between 0 and 1 for each vehicle."""
        return self._random.random(self.count)

    def normal(self) -> Array:
        """`[draw]`: fresh noise, one standard normal number for each vehicle."""
        return self._random.standard_normal(self.count)

    def _by_configuration(self, table: Array) -> Array:
        return (
            table[self._configuration] if len(table) > 1 else np.broadcast_to(table[0], (self.count, *table[0].shape))
        )

    def _draw_plate(self, plate: Plate) -> None:
        axes = [np.zeros(self.count, dtype=np.int64) for _ in plate.axes]
        states: list[Levels] = []
        for component in plate.components:
            if component.base is not None:
                states.append(np.asarray(component.seen, dtype=np.int64)[states[component.base]])
                continue
            states.append(_drawn(self._by_configuration(component.prior), self._random.random(self.count)))
            for link in component.links:
                rows = np.flatnonzero(states[-1]) if _silent(link.table[:, 0]) else np.arange(self.count)
                which = self._configuration[rows] % len(link.table)
                table = np.asarray(link.table[which, states[-1][rows]], dtype=np.float64)
                given = _drawn(table, self._random.random(len(rows)))
                for axis in link.axes:
                    axes[axis][rows] = np.maximum(axes[axis][rows], given)
        self._components.append(states)
        self._axes.append(axes)
        for emission in plate.emissions:
            uniform = self._random.random(self.count)
            for version, axis in enumerate(emission.axes):
                rows = np.flatnonzero(axes[axis]) if _silent(emission.table[:1]) else np.arange(self.count)
                reached, heard = self._shared[emission.shared][version], emission.table[axes[axis][rows]]
                reached[rows] = np.maximum(reached[rows], _drawn(heard, uniform[rows]))

    def _raise(self, shared: int, version: int, table: Array, uniform: Array) -> None:
        np.maximum(self._shared[shared][version], _drawn(table, uniform), out=self._shared[shared][version])

    def _draw_chain(self) -> dict[str, dict[int, Levels]]:
        """The level of each vehicle severity by version, chained causes counted in."""
        nodes = self._network.targets.chain.nodes
        found: dict[str, dict[int, Levels]] = {}
        for name, node in nodes.items():
            noise = {cause: self._random.random(self.count) for cause in node.causes}
            by_version: dict[int, Levels] = {}
            for epoch, version in enumerate(node.standing):
                if version in by_version:
                    continue
                level = self._shared[node.shared][node.direct[epoch]]
                for cause, table in node.causes.items():
                    before = found[cause][nodes[cause].standing[epoch]]
                    level = np.maximum(level, _drawn(table[before], noise[cause]))
                by_version[version] = level
            found[name] = by_version
        return found


class Luck:
    """The number between 0 and 1 behind each question, `[draw]`. Behind a finding under several conditions it is one
    and the same on the share `lasting` of the vehicles."""

    def __init__(self, knowledge: Knowledge, draws: Draws) -> None:
        self._knowledge, self._draws = knowledge, draws
        self._common: dict[tuple[str, Place], tuple[NDArray[np.bool_], Array]] = {}

    def of(self, question: Question) -> Array:
        """Of one question; to be asked once for each."""
        finding, own = self._knowledge.findings.get(question.item), self._draws.uniform()
        if finding is None or not finding.lasting.value:
            return own
        at = question.item, question.place
        if at not in self._common:
            self._common[at] = self._draws.uniform() < finding.lasting.value, self._draws.uniform()
        lasts, common = self._common[at]
        return np.where(lasts, common, own)


def simulate(
    draws: Draws, key: Key, versions: Sequence[int], by_level: Array, uniform: Array | None = None
) -> Mapping[int, Levels]:
    """The outcome of one question about a thing in each of its versions, `[draw]` by version.

    `by_level[outcome, level]` is the chance of each outcome; the noise of a question persists over the versions:
    `uniform[draw]`, or fresh noise.
    """
    uniform = draws.uniform() if uniform is None else uniform
    return {version: _drawn(by_level.T[draws.levels(key, version)], uniform) for version in versions}


def _silent(rows: Array) -> bool:
    """Whether these rows `[..., level]` never give more than the first level, so that nothing need be drawn."""
    return bool(np.all(rows[..., 1:] == 0.0))


def _drawn(table: Array, uniform: Array) -> Levels:
    """The first level whose cumulated chance in `table[draw, level]` exceeds the uniform number; the last at most."""
    cumulated = np.cumsum(table[:, :-1], axis=1)
    return np.asarray(np.sum(cumulated <= uniform[:, np.newaxis], axis=1), dtype=np.int64)
