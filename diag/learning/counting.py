"""Expected counts of one batch of closed cases of one shape, exactly: the expectation step.

For a chance p that is used n times, and came true d times, the expectations of d and n given all that was told of a
case come from one inference; so does what the complaint alone would lead one to expect (see `lessons`). Their
difference, d - p n, is the score of p's log-odds (Louis 1982; Fisher's identity). May import: `diag.basics`,
`diag.casebook`, `diag.evidence`, `diag.inference`, `diag.knowledge_base`, `diag.network`, numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import Answer, Measured
from diag.evidence import answer_ratio, instrument_error
from diag.inference import Array, Posterior, infer_with_alternatives
from diag.knowledge_base import Knowledge
from diag.network import (
    Alike,
    CaseNetwork,
    Factor,
    FigurePath,
    Likelihoods,
    PriorTable,
    Question,
    chance_by_level,
    key_of,
    prior_tables,
    shaped_evidence,
)

__all__ = ["Counts", "Seen", "count"]

Key = tuple[str, Place]
Told = Mapping[int, tuple[Answer | Measured, ...]]
SMALL = 1e-300


@dataclass(frozen=True)
class Seen:
    """A reading with the chance of each level of what it shows: `value` and `error` in the measure of the spreads."""

    item: str
    value: float
    error: float
    weights: Array
    case: int


@dataclass(frozen=True)
class Counts:
    """`true[case, figure]` and `used[case, figure]`, expected; of a life's scale `true` is the expected score of the
    failures (see `_life`). `log_evidence[case]`, `components[key, version][case, state]` of what was asked for."""

    true: Array
    used: Array
    log_evidence: Array
    seen: tuple[Seen, ...]
    posterior: Posterior


def count(
    group: Alike,
    index: Mapping[FigurePath, int],
    told: Sequence[Mapping[Question, Told]],
    known: Sequence[Mapping[tuple[Key, int], Array]],
    made: Likelihoods,
) -> Counts:
    """Expected counts of the cases of a group. Raises ImpossibleEvidence with the cases that are."""
    tables = prior_tables(group)
    evidence, factors = shaped_evidence(group, tables, told, _known(group, known), made)
    wanted = _vehicle_levels(group.network, told)
    tried = [
        group.network.targets.evidence([*_on_chain(group.network, factors), level], len(told)).shared
        for levels in wanted.values()
        for level in levels
    ]
    posterior, chances = infer_with_alternatives(group.network.model, evidence, tried)
    counted = _Counted(group, index, np.zeros((len(told), len(index))), np.zeros((len(told), len(index))))
    for at, table in tables.items():
        counted.component(at, table, posterior)
    counted.configuration(posterior)
    vehicle: dict[tuple[Key, int], Array] = {}
    first = 0
    for at, levels in wanted.items():
        some = chances[:, first : first + len(levels)]
        vehicle[at] = some / some.sum(axis=1, keepdims=True)
        first += len(levels)
    seen = counted.findings(told, posterior, vehicle)
    return Counts(counted.true, counted.used, posterior.log_evidence, seen, posterior)


def _known(group: Alike, known: Sequence[Mapping[tuple[Key, int], Array]]) -> list[Factor]:
    rows: dict[tuple[Key, int], Array] = {}
    for case, mine in enumerate(known):
        for at, likelihood in mine.items():
            rows.setdefault(at, np.ones((len(known), len(likelihood))))[case] = likelihood
    alike = {at: rows[at][:1] if np.all(rows[at] == rows[at][0]) else rows[at] for at in rows}
    return [Factor(key, (version,), likelihood) for (key, version), likelihood in alike.items()]


def _on_chain(network: CaseNetwork, factors: Sequence[Factor]) -> list[Factor]:
    return [factor for factor in factors if factor.key[0] in network.targets.chain.nodes]


def _vehicle_levels(
    network: CaseNetwork, told: Sequence[Mapping[Question, Told]]
) -> dict[tuple[Key, int], list[Factor]]:
    """For each version of a vehicle's severity that was told of, its levels as evidence, one after the other."""
    found: dict[tuple[Key, int], list[Factor]] = {}
    for questions in told:
        for question, items in questions.items():
            key = key_of(network.knowledge, question)
            node = network.targets.chain.nodes.get(key[0])
            for version in items if node is not None and len(items) == 1 else ():
                if node is not None and (key, version) not in found:
                    found[key, version] = [Factor(key, (version,), row[np.newaxis]) for row in np.eye(node.levels)]
    return found


@dataclass
class _Counted:
    """Counts in the making."""

    group: Alike
    index: Mapping[FigurePath, int]
    true: Array
    used: Array

    def add(self, path: FigurePath | None, true: Array, used: Array | float = 0.0) -> None:
        """Add to a figure, where it is one that is learned."""
        if path in self.index:
            assert path is not None
            self.true[:, self.index[path]] += true
            self.used[:, self.index[path]] += used

    def component(self, at: tuple[Key, int], table: PriorTable, posterior: Posterior) -> None:
        """Counts of one version of a component that is not part of the configuration."""
        joint = self._joint(at, table, posterior)
        if joint is None:
            return
        values = np.maximum(table.values, SMALL)
        life = table.from_life
        other = table.other > table.base + life
        for kind in range(joint.shape[2]):
            for state in range(1, joint.shape[1]):
                mass = joint[:, state, kind]
                own = np.where(other[:, kind, state], 0.0, mass / values[:, kind, state])
                self.add(table.base_paths[kind][state], own * table.base[kind, state])
                self.add(table.other_paths[kind][state], np.where(other[:, kind, state], mass, 0.0))
                failed = own * life[:, kind, state]
                self.add(table.share_paths[state], failed)
                self._life(table, failed, kind)

    def _life(self, table: PriorTable, failed: Array, kind: int) -> None:
        """Expected d log(e^h - 1)/dh * h of the failures, h the hazard of the stretch: h / (1 - exp(-h)), near 1.

        The hazard of any stretch of a Weibull life goes with scale^-shape, so the score of log(scale) is -shape times
        this, less the same given the complaint."""
        path = ("components", table.key[0], "life", "scale")
        hazard = table.hazard[:, kind]
        weight = np.divide(hazard, -np.expm1(-hazard), out=np.ones_like(hazard), where=hazard > 0)
        self.add(path, failed * weight)

    def _joint(self, at: tuple[Key, int], table: PriorTable, posterior: Posterior) -> Array | None:
        """`[case, state, kind]`; none for a history of several versions, which has no counts of its own."""
        (key, version) = at
        plate, indices = self.group.network.targets.components[key]
        component = self.group.network.model.plates[plate].components[indices[version]]
        states = len(self.group.network.knowledge.components[key[0]].states)
        if component.base is not None or component.prior.shape[1] != states:
            return None
        if len(table.base) == 1:
            return np.asarray(posterior.components[plate][indices[version]][:, :, np.newaxis])
        view = posterior.views[plate]
        by_class = view.states_by_class(indices[version])
        classes = view.classes if by_class.shape[2] > 1 else (0,) * len(table.kinds)
        joint = np.zeros((len(self.true), states, len(table.base)))
        for number in range(by_class.shape[2]):
            joint[:, :, table.kinds[classes.index(number)]] += by_class[:, :, number]
        return joint

    def configuration(self, posterior: Posterior) -> None:
        """Counts of the shared causes that reach into cylinders."""
        network = self.group.network
        configurations = network.layout.configurations
        for number, variable in enumerate(configurations.variables):
            name, version = variable.key[0], network.layout.versions[variable.key].versions[variable.version]
            origin = self.group.origins[variable.key, variable.version]
            which = "fresh" if "renewed" in origin.touches else "chance"
            if version.touch == "disturbed":
                continue
            for state, word in enumerate(variable.states):
                mass = posterior.configurations[:, configurations.states[:, number] == state].sum(axis=1)
                self.add(("components", name, which, word), mass)

    def findings(
        self, told: Sequence[Mapping[Question, Told]], posterior: Posterior, vehicle: Mapping[tuple[Key, int], Array]
    ) -> tuple[Seen, ...]:
        """Counts of findings that were told of one version; readings with the chances of their levels."""
        seen: list[Seen] = []
        by_question: dict[tuple[Question, int], list[int]] = {}
        for case, questions in enumerate(told):
            for question, items in questions.items():
                if len(items) == 1:
                    by_question.setdefault((question, next(iter(items))), []).append(case)
        for (question, version), cases in by_question.items():
            levels = self._levels(key_of(self.group.network.knowledge, question), version, posterior, vehicle)
            if levels is None:
                continue
            if question.item in self.group.network.knowledge.findings:
                self._finding(question, version, np.array(cases), levels, told)
            else:
                seen += self._reading(question, version, cases, levels, told)
        return tuple(seen)

    def _levels(
        self, key: Key, version: int, posterior: Posterior, vehicle: Mapping[tuple[Key, int], Array]
    ) -> Array | None:
        """`[case, level]` of what a finding shows; none of a shared cause that reaches into cylinders."""
        if (key, version) in vehicle:
            return vehicle[key, version]
        targets = self.group.network.targets
        if key in targets.components:
            plate, index = targets.components[key]
            return posterior.components[plate][index[version]]
        if key in targets.axes:
            plate, index = targets.axes[key]
            return posterior.axes[plate][index[version]]
        configurations = targets.configurations
        states = configurations.column(key, version)
        count = len(self.group.network.knowledge.components[key[0]].states)
        return np.stack([posterior.configurations[:, states == state].sum(axis=1) for state in range(count)], axis=1)

    def _finding(
        self,
        question: Question,
        version: int,
        cases: NDArray[np.int64],
        levels: Array,
        told: Sequence[Mapping[Question, Told]],
    ) -> None:
        knowledge = self.group.network.knowledge
        finding = knowledge.findings[question.item]
        chance = chance_by_level(knowledge, question.item, question.condition)
        ratios = [_ratio(knowledge, told[case][question][version]) for case in cases]
        known = np.array([ratio is not None for ratio in ratios])
        cases, ratio = cases[known], np.array([each for each in ratios if each is not None])
        under = finding.under.get(question.condition, {}) if question.condition else {}  # type: ignore[call-overload]
        names = (
            knowledge.severities[finding.shows].levels
            if finding.shows in knowledge.severities
            else tuple(knowledge.components[finding.shows].states)
        )
        for level, name in enumerate(names):
            path: FigurePath = ("findings", question.item, "chance", name)
            if name in under:
                path = ("findings", question.item, "under", str(question.condition), name)
            if path not in self.index:
                continue
            there, absent = chance[level] * np.minimum(ratio, 1e12), 1.0 - chance[level]
            mass = levels[cases, level]
            self.true[cases, self.index[path]] += mass * there / (there + absent)
            self.used[cases, self.index[path]] += mass

    def _reading(
        self, question: Question, version: int, cases: list[int], levels: Array, told: Sequence[Mapping[Question, Told]]
    ) -> list[Seen]:
        knowledge, engine = self.group.network.knowledge, self.group.network.case.engine
        reading = knowledge.readings[question.item]
        multiple = 1.0
        if reading.relative_to is not None:
            limit = engine.limits.get(reading.relative_to)
            if limit is None or limit.value is None or limit.unit != reading.unit:
                return []
            multiple = limit.value
        found = []
        for case in cases:
            items = told[case][question][version]
            only = items[0]
            if len(items) == 1 and isinstance(only, Measured) and not only.censored and only.unit == reading.unit:
                adjusted = only.condition is not None and any(each.under == only.condition for each in reading.adjust)
                if not adjusted and math.isfinite(only.value):
                    error = instrument_error(reading) / multiple
                    found.append(Seen(question.item, only.value / multiple, error, levels[case], case))
        return found


def _ratio(knowledge: Knowledge, items: Sequence[Answer | Measured]) -> float | None:
    """How many times likelier all that was answered is where the finding is there; none where nothing tells."""
    ratios = [answer_ratio(each, knowledge) for each in items if isinstance(each, Answer)]
    told = [ratio for ratio in ratios if ratio is not None]
    return math.prod(told) if told else None
