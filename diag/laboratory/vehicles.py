"""Vehicles drawn from the model, and what checks on them answer.

A vehicle is drawn forwards, as the model tells its story (every noisy maximum by its contributions), and kept where it
shows the complaint: so vehicles come with exactly the chances that the model gives them after that complaint. Answers
are drawn only when they are asked for, each from a stream of its own, so that all policies meet the same answers.
May import: decision, network, evidence, casebook, knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place, UsageError
from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Measured
from diag.decision import Vehicle
from diag.evidence import common_number, draw_together, instrument_error, quantile, spreads, without_limit
from diag.inference import Array, Model
from diag.knowledge_base import Engine, Figure, Finding, Knowledge, Reading, convert
from diag.network import CaseNetwork, build

__all__ = ["Drawn", "Fleet", "draw_fleet"]

BATCH, MOST = 4_000, 3_000_000  # vehicles drawn at once, and at most, while looking for those with the complaint

Key = tuple[str, Place]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Fleet:
    """Where vehicles come from: the numbers that are true, the start of the case, its network without answers, and what
    all of them show."""

    knowledge: Knowledge
    start: Case
    network: CaseNetwork
    shown: tuple[Answer, ...] = ()


@dataclass
class Drawn:
    """One vehicle: `levels` of every component and severity by (id, place), the same as a `Vehicle`, and its answers.

    `seed` and `number` make the streams from which answers are drawn.
    """

    fleet: Fleet
    vehicle: Vehicle
    levels: Mapping[Key, int]
    seed: int
    number: int
    _together: dict[str, Array] = field(default_factory=dict, repr=False)

    def answer(self, item: str, place: Place, condition: str | None) -> Answer | Measured | None:
        """What looking or measuring brings; none where the reading has no effect on this engine."""
        knowledge, engine = self.fleet.knowledge, self.fleet.start.engine
        if item in knowledge.findings:
            present = self._number(item, place, condition) < self._chance(item, place, condition)
            return Answer(item, place, PRESENT if present else ABSENT, condition)
        reading = knowledge.readings[item]
        if without_limit(reading, engine):
            return None
        value = self._shown(item, reading, place)
        value = -value if item in engine.opposite_sign else value
        return Measured(item, place, value + 0.0, reading.unit, "", condition)

    def _chance(self, item: str, place: Place, condition: str | None) -> float:
        """The chance that a finding is there."""
        finding = self.fleet.knowledge.findings[item]
        chances = _chances(finding, condition)
        figure = chances.get(self._level_name(finding.shows, place))
        return figure.value if figure is not None else 0.0

    def _number(self, item: str, place: Place, condition: str | None) -> float:
        """The number below whose chance a finding is there: its own, or that of the finding under all conditions."""
        lasting = self.fleet.knowledge.findings[item].lasting.value
        if lasting:
            told = [
                (self._chance(item, place, each.condition), each.answer == PRESENT)
                for each in self.fleet.shown
                if (each.item, each.place) == (item, place) and each.answer in (PRESENT, ABSENT)
            ]
            luck = self._stream(item, place, "any").random(2)
            common = common_number(lasting, told, (float(luck[0]), float(luck[1])))
            if common is not None:
                return common
        return float(self._stream(item, place, condition).random())

    def _level_name(self, shows: str, place: Place) -> str:
        knowledge = self.fleet.knowledge
        names = list(knowledge.components[shows].states) if shows in knowledge.components else None
        levels = names if names is not None else list(knowledge.severities[shows].levels)
        return levels[self.levels[shows, place]]

    def _stream(self, item: str, place: Place, condition: str | None) -> np.random.Generator:
        return np.random.default_rng([self.seed, self.number, crc32(f"{item}|{place}|{condition}".encode())])

    def _shown(self, item: str, reading: Reading, place: Place) -> float:
        """What the instrument shows, rounded as it is, plus adding fuel."""
        engine = self.fleet.start.engine
        names = self._names(reading.shows)
        if reading.shift is not None:
            if item not in self._together:
                levels = np.array([[self.levels[reading.shows, cylinder] for cylinder in engine.cylinders]])
                random = self._stream(item, None, None)
                self._together[item] = draw_together(reading, engine, names, levels, random)[0]
            return float(self._together[item][engine.cylinders.index(int(place or 0))])
        law = spreads(reading, engine, names)[self.levels[reading.shows, place]]
        random = self._stream(item, place, None)
        true = float(quantile(law, np.clip(random.random(1), 1e-12, 1 - 1e-12))[0]) if law.width else law.middle
        return _instrument(reading, engine, true, random)

    def _names(self, shows: str) -> list[str]:
        knowledge = self.fleet.knowledge
        if shows in knowledge.components:
            return list(knowledge.components[shows].states)
        return list(knowledge.severities[shows].levels)


def _instrument(reading: Reading, engine: Engine, true: float, random: np.random.Generator) -> float:
    """A true value as it is shown: what the injector type does to it, the instrument's error, the controller's end."""
    shown = true
    for adjust in reading.adjust:
        if adjust.under is None and adjust.injector in (None, engine.injector):
            shown = shown * adjust.factor.value
    shown += instrument_error(reading) * random.standard_normal()
    limit = engine.limits.get(reading.saturates) if reading.saturates is not None else None
    if limit is not None and limit.value is not None:
        end = abs(convert(limit.value, limit.unit, reading.unit))
        shown = float(np.clip(shown, -end, end))
    return round(float(np.clip(shown, reading.lowest, reading.highest)), reading.decimals)


def draw_fleet(knowledge: Knowledge, start: Case, count: int, seed: int, first: int = 0) -> list[Drawn]:
    """`count` vehicles that show the answers of `start`, numbered from `first`.

    Raises UsageError where the complaint is so rare that too few are found, or is no answer about the vehicle.
    """
    if len(start.epochs) > 1 or start.history or start.epochs[0].measured:
        raise UsageError("vehicles are drawn from a complaint: answers alone, with nothing tried and nothing measured")
    bare = replace(start, epochs=(Epoch(),))
    fleet = Fleet(knowledge, bare, build(knowledge, bare), start.epochs[0].answers)
    random = np.random.default_rng([seed, first, 1])
    found: list[Drawn] = []
    tried = 0
    while len(found) < count:
        if tried >= MOST:
            raise UsageError(
                f"only {len(found)} of {tried:,} vehicles drawn {'shows' if len(found) == 1 else 'show'} this "
                "complaint; ask for fewer cases, or for a complaint that is less rare"
            )
        batch = _forwards(fleet, random, BATCH)
        tried += BATCH
        for place in np.flatnonzero(_showing(fleet, batch, start.epochs[0].answers, random))[: count - len(found)]:
            found.append(_one(fleet, batch, int(place), seed, first + len(found)))
    return found


@dataclass(frozen=True)
class _Batch:
    """Many vehicles: `configuration[draw]`, by plate `components[draw, component]` and `axes[draw, axis]`, and
    `severities[id][draw]` of the vehicle, chained causes counted in."""

    configuration: Integers
    components: tuple[Integers, ...]
    axes: tuple[Integers, ...]
    severities: Mapping[str, Integers]


def _forwards(fleet: Fleet, random: np.random.Generator, draws: int) -> _Batch:
    model = fleet.network.model
    configuration = random.choice(len(model.configurations), size=draws, p=model.configurations).astype(np.int64)
    shared = [np.zeros(draws, dtype=np.int64) for _ in model.shared]
    components, axes = [], []
    for number in range(len(model.plates)):
        states, levels = _plate(model, number, configuration, shared, random)
        components.append(states)
        axes.append(levels)
    for number, severity in enumerate(model.shared):
        for background in severity.backgrounds:
            given = _levels(background[0][configuration % background.shape[1]], random)
            shared[number] = np.maximum(shared[number], given)
    severities: dict[str, Integers] = {}
    for name, node in fleet.network.targets.chain.nodes.items():
        level = shared[node.shared]
        for cause, table in node.causes.items():
            level = np.maximum(level, _levels(table[severities[cause]], random))
        severities[name] = level
    return _Batch(configuration, tuple(components), tuple(axes), severities)


def _plate(
    model: Model, number: int, configuration: Integers, shared: list[Integers], random: np.random.Generator
) -> tuple[Integers, Integers]:
    """States and levels of one plate; what it contributes goes into `shared`."""
    plate = model.plates[number]
    states = np.zeros((len(configuration), len(plate.components)), dtype=np.int64)
    levels = np.zeros((len(configuration), len(plate.axes)), dtype=np.int64)
    for index, component in enumerate(plate.components):
        states[:, index] = _levels(component.prior[configuration % len(component.prior)], random)
        for link in component.links:
            given = _levels(link.table[configuration % len(link.table), states[:, index]], random)
            for axis in link.axes:
                levels[:, axis] = np.maximum(levels[:, axis], given)
    for emission in plate.emissions:
        given = _levels(emission.table[levels[:, emission.axes[0]]], random)
        shared[emission.shared] = np.maximum(shared[emission.shared], given)
    return states, levels


def _levels(table: Array, random: np.random.Generator) -> Integers:
    """A level of each row of `table[draw, level]`."""
    if table.shape[1] == 1:
        return np.zeros(len(table), dtype=np.int64)
    below = np.cumsum(table[:, :-1], axis=1)
    return np.asarray((below <= random.random(len(table))[:, None]).sum(axis=1), dtype=np.int64)


def _showing(fleet: Fleet, batch: _Batch, told: Sequence[Answer], random: np.random.Generator) -> NDArray[np.bool_]:
    """Which vehicles answer as was told."""
    fine = np.ones(len(batch.configuration), dtype=np.bool_)
    common: dict[Key, tuple[NDArray[np.bool_], Array]] = {}
    for answer in told:
        finding = fleet.knowledge.findings[answer.item]
        if answer.answer not in (PRESENT, ABSENT):
            continue
        chances, at = _chances(finding, answer.condition), (answer.item, answer.place)
        number = random.random(len(fine))
        if finding.lasting.value:
            if at not in common:
                common[at] = random.random(len(fine)) < finding.lasting.value, random.random(len(fine))
            number = np.where(common[at][0], common[at][1], number)
        named = _names_of(fleet.knowledge, finding.shows)
        by_level = np.array([chances[name].value if name in chances else 0.0 for name in named])
        level = _column(fleet, batch, (finding.shows, answer.place))
        present = number < by_level[level]
        fine &= present if answer.answer == PRESENT else ~present
    return fine


def _chances(finding: Finding, condition: str | None) -> dict[str, Figure]:
    """By level, the chance that a finding is there under a condition."""
    chances = dict(finding.chance)
    for under, other in finding.under.items():
        chances |= other if under == condition else {}
    return chances


def _names_of(knowledge: Knowledge, shows: str) -> list[str]:
    if shows in knowledge.components:
        return list(knowledge.components[shows].states)
    return list(knowledge.severities[shows].levels)


def _column(fleet: Fleet, batch: _Batch, key: Key) -> Integers:
    """The level of one thing on all vehicles of a batch."""
    name, place = key
    network = fleet.network
    if name in batch.severities:
        return batch.severities[name]
    if name in fleet.knowledge.severities:
        plate, axis = network.severity_at(name, int(place or 0))
        return batch.axes[plate][:, axis]
    spot = network.component_at(name, place)
    if spot is None:
        return network.configuration_states(name, place)[batch.configuration]
    return batch.components[spot[0]][:, spot[1]]


def _one(fleet: Fleet, batch: _Batch, draw: int, seed: int, number: int) -> Drawn:
    """One vehicle out of a batch."""
    one = _Batch(
        batch.configuration[draw : draw + 1],
        tuple(each[draw : draw + 1] for each in batch.components),
        tuple(each[draw : draw + 1] for each in batch.axes),
        {name: each[draw : draw + 1] for name, each in batch.severities.items()},
    )
    keys = list(fleet.network.layout.versions)
    for name, severity in fleet.knowledge.severities.items():
        keys += [(name, c) for c in (fleet.start.engine.cylinders if severity.per == "cylinder" else (None,))]
    vehicle = Vehicle(
        int(one.configuration[0]),
        tuple(tuple(int(state) for state in each[0]) for each in one.components),
        tuple(tuple(int(level) for level in each[0]) for each in one.axes),
    )
    return Drawn(fleet, vehicle, {key: int(_column(fleet, one, key)[0]) for key in keys}, seed, number)
