"""One hidden vehicle with all of its noise, so that work on it has one outcome, and what checks on it bring.

A world is drawn forwards, as the model tells its story, with one number between 0 and 1 for every contribution. What
work renews is drawn anew with numbers of its own; everything else keeps its numbers, so an unchanged symptom stays as
it was (the model's own persistence: Breese & Heckerman 1996). Numbers that are needed only when somebody asks (of
findings, readings, renewals) come from streams named by what they are for.
May import: decision, network, evidence, casebook, knowledge_base, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place, UsageError
from diag.casebook import ABSENT, NOT_SURE, NUMBERING, PRESENT, Answer, Measured
from diag.decision import Job, Tariff
from diag.evidence import draw_together, instrument_error, quantile, spreads, without_limit
from diag.inference import Array
from diag.knowledge_base import Check, Engine, Finding, Knowledge, Reading, Risk, convert
from diag.network import CaseNetwork, cylinder_behind
from diag.network import Question as Asks

__all__ = [
    "COULD_NOT_TELL",
    "SURELY",
    "Key",
    "Question",
    "World",
    "after_work",
    "answer",
    "chances_of",
    "levels_of",
    "noise_slots",
    "risks_met",
]

Key = tuple[str, Place]
Question = tuple[str, Place, str | None]

COULD_NOT_TELL = 0.04  # share of looks at a finding that leave it open; judged, not counted
SURELY = -1  # asked in a way that leaves no answer open
EDGE = 1e-12


@dataclass(frozen=True)
class World:
    """Everything about one vehicle that is not shown. `states` of every component by (id, place); `noise` in the order
    of `noise_slots`; `since[component]`: the number of the visit that last changed it (absent: as it was found);
    `pinned`: the numbers of what the customer told, so that the complaint is true; `seed` names the streams; `unsure`:
    share of looks at a finding that leave it open."""

    seed: int
    states: Mapping[Key, int]
    noise: tuple[float, ...]
    since: Mapping[Key, int]
    pinned: Mapping[Question, float]
    visits: int = 0
    unsure: float = COULD_NOT_TELL

    def stream(self, *name: object) -> np.random.Generator:
        """The stream of numbers of that name."""
        return np.random.default_rng([self.seed, crc32("|".join(str(part) for part in name).encode())])


def noise_slots(network: CaseNetwork) -> int:
    """How many contributions the model of a start has: of links, emissions, backgrounds and chained severities."""
    model = network.model
    links = sum(len(component.links) for plate in model.plates for component in plate.components)
    emissions = sum(len(plate.emissions) for plate in model.plates)
    backgrounds = sum(len(severity.backgrounds) for severity in model.shared)
    return links + emissions + backgrounds + sum(len(node.causes) for node in network.targets.chain.nodes.values())


def levels_of(network: CaseNetwork, world: World) -> dict[Key, int]:
    """State of every component and level of every severity, by (id, place). `network`: that of the bare start.

    Raises UsageError where the world was drawn from other knowledge: its numbers would stand for other things.
    """
    if len(world.noise) != noise_slots(network) or not network.targets.components.keys() <= world.states.keys():
        raise UsageError(
            "this practice case was begun with other knowledge; give the overlays that it was begun with (--overlay), "
            "or begin it anew"
        )
    model, noise = network.model, iter(world.noise)
    configuration = _configuration(network, world.states)
    shared = [0 for _ in model.shared]
    keys = {(plate, index[0]): key for key, (plate, index) in network.targets.components.items()}
    found: dict[Key, int] = dict(world.states)
    for number, plate in enumerate(model.plates):
        axes = [0 for _ in plate.axes]
        for index, component in enumerate(plate.components):
            key = keys.get((number, index))
            state = world.states[key] if key is not None else 0
            for place, link in enumerate(component.links):
                uniform = _own(world, key, place, next(noise))
                given = _level(link.table[configuration % len(link.table), state], uniform)
                for axis in link.axes:
                    axes[axis] = max(axes[axis], given)
        for emission in plate.emissions:
            given = _level(emission.table[axes[emission.axes[0]]], next(noise))
            shared[emission.shared] = max(shared[emission.shared], given)
        found |= {key: axes[at[0]] for key, (where, at) in network.targets.axes.items() if where == number}
    for number, severity in enumerate(model.shared):
        for background in severity.backgrounds:
            given = _level(background[0][configuration % background.shape[1]], next(noise))
            shared[number] = max(shared[number], given)
    return found | _chained(network, shared, noise)


def _chained(network: CaseNetwork, shared: Sequence[int], noise: Iterator[float]) -> dict[Key, int]:
    levels: dict[str, int] = {}
    for name, node in network.targets.chain.nodes.items():
        level = shared[node.shared]
        for cause, table in node.causes.items():
            level = max(level, _level(table[levels[cause]], next(noise)))
        levels[name] = level
    return {(name, None): level for name, level in levels.items()}


def _own(world: World, key: Key | None, link: int, first: float) -> float:
    """The number of one contribution: that of the vehicle as it came, or of the part that was fitted since."""
    if key is None or key not in world.since:
        return first
    return float(world.stream("link", *key, link, world.since[key]).random())


def _level(row: Array, uniform: float) -> int:
    return int(np.sum(np.cumsum(row[:-1]) <= uniform))


def _configuration(network: CaseNetwork, states: Mapping[Key, int]) -> int:
    """The configuration in which the shared causes stand as they do."""
    fits: NDArray[np.bool_] = np.ones(len(network.model.configurations), dtype=np.bool_)
    for key in network.layout.versions:
        if key not in network.targets.components and key in states:
            fits &= network.configuration_states(*key) == states[key]
    return int(np.flatnonzero(fits)[0])


# ---- what checks bring ------------------------------------------------------------------------------------------


def answer(
    knowledge: Knowledge, engine: Engine, world: World, levels: Mapping[Key, int], asked: Question, times: int
) -> Answer | Measured | None:
    """What looking or measuring brings; none where the reading has no effect on this engine. `times`: how often the
    same was asked before (a look that could not tell may be repeated); below 0 no answer is left open. What the control
    unit shows of a cylinder is of the one that it calls so."""
    item, place, condition = asked
    real = cylinder_behind(knowledge, engine, Asks(item, place, condition), world.states.get((NUMBERING, None), 0))
    if item in knowledge.findings:
        finding = knowledge.findings[item]
        unsure = times >= 0 and finding.code is None
        if unsure and world.stream("look", *asked, world.visits, times).random() < world.unsure:
            return Answer(item, place, NOT_SURE, condition)
        chance = chances_of(knowledge, finding, condition)[levels[finding.shows, real]]
        said = PRESENT if _uniform(world, asked, finding.lasting.value) < chance else ABSENT
        return Answer(item, place, said, condition)
    reading = knowledge.readings[item]
    if without_limit(reading, engine):
        return None
    value = _shown(knowledge, engine, world, levels, (item, real, condition))
    value = -value if item in engine.opposite_sign else value
    return Measured(item, place, value + 0.0, reading.unit, "", condition)


def chances_of(knowledge: Knowledge, finding: Finding, condition: str | None) -> Array:
    """`[level]`: chance that a finding is there, under a condition."""
    chances = dict(finding.chance)
    for under, other in finding.under.items():
        chances |= other if under == condition else {}
    return np.array([chances[name].value if name in chances else 0.0 for name in _names(knowledge, finding.shows)])


def _uniform(world: World, asked: Question, lasting: float) -> float:
    """The one number behind a finding, for the whole case; `lasting`: how often it is the same under all conditions."""
    if asked in world.pinned:
        return world.pinned[asked]
    item, place, _ = asked
    if lasting:
        pinned = [number for (one, where, _), number in world.pinned.items() if (one, where) == (item, place)]
        luck = world.stream("luck", item, place).random(2)
        if len(set(pinned)) == 1 if len(pinned) > 1 else luck[0] < lasting:
            return pinned[0] if pinned else float(luck[1])
    return float(world.stream("finding", *asked).random())


def _names(knowledge: Knowledge, shows: str) -> list[str]:
    known = knowledge.components.get(shows)
    return list(known.states) if known is not None else list(knowledge.severities[shows].levels)


def _shown(knowledge: Knowledge, engine: Engine, world: World, levels: Mapping[Key, int], asked: Question) -> float:
    """What the instrument shows: the true value stays while its level stays, the instrument errs anew each visit."""
    item, place, _ = asked
    reading = knowledge.readings[item]
    names = _names(knowledge, reading.shows)
    if reading.shift is not None:
        every = np.array([[levels[reading.shows, cylinder] for cylinder in engine.cylinders]])
        shown = draw_together(reading, engine, names, every, world.stream("together", item))[0]
        return float(shown[engine.cylinders.index(int(place or 0))])
    level, laws = levels[reading.shows, place], spreads(reading, engine, names)
    law = laws[level]
    among = np.clip(world.stream("reading", item, place).random(len(laws))[[level]], EDGE, 1 - EDGE)
    true = float(quantile(law, among)[0]) if law.width else law.middle
    error = world.stream("instrument", *asked, world.visits).standard_normal()
    return _instrument(reading, engine, true, float(error))


def _instrument(reading: Reading, engine: Engine, true: float, error: float) -> float:
    """A true value as it is shown: what the injector type does to it, the instrument's error, the controller's end."""
    shown = true
    for adjust in reading.adjust:
        if adjust.under is None and adjust.injector in (None, engine.injector):
            shown = shown * adjust.factor.value
    shown += instrument_error(reading) * error
    limit = engine.limits.get(reading.saturates) if reading.saturates is not None else None
    if limit is not None and limit.value is not None:
        end = abs(convert(limit.value, limit.unit, reading.unit))
        shown = float(np.clip(shown, -end, end))
    return round(float(np.clip(shown, reading.lowest, reading.highest)), reading.decimals)


def risks_met(
    tariff: Tariff, world: World, levels: Mapping[Key, int], check_id: str, place: Place, times: int
) -> tuple[tuple[str, float, float], ...]:
    """What broke on the way in one doing of a check: (name, minutes of work, money for parts)."""
    check: Check = tariff.knowledge.checks[check_id]
    found = []
    for number, risk in enumerate(check.risks):
        if world.stream("risk", check_id, place, number, world.visits, times).random() < _chance(
            tariff, levels, risk, place
        ):
            parts = tariff.parts(risk.parts) + risk.money.value
            found.append((risk.name, risk.minutes.value, parts))
    return tuple(found)


def _chance(tariff: Tariff, levels: Mapping[Key, int], risk: Risk, place: Place) -> float:
    named = tariff.risk_chances(risk, place)
    severity = tariff.knowledge.severities.get(risk.by) if risk.by is not None else None
    if severity is None or severity.per != "cylinder" or not isinstance(place, int):
        return max(named.values())
    return named.get(list(severity.levels)[levels[str(risk.by), place]], 0.0)


# ---- work ---------------------------------------------------------------------------------------------------------


def after_work(tariff: Tariff, network: CaseNetwork, world: World, jobs: Sequence[Job]) -> World:
    """The vehicle after work: what it renews is new (and may be bad out of the box), what it disturbs may have
    suffered. `network`: the case as it stood before the work."""
    visit = world.visits + 1
    every = tuple(dict.fromkeys(each for job in jobs for each in tariff.with_followers(job)))
    renewed = frozenset[Key]().union(*(tariff.renewed(job) for job in every))
    disturbed = frozenset[Key]().union(*(tariff.disturbed(job) for job in every)) - renewed
    states, since = dict(world.states), dict(world.since)
    causes = network.knowledge.components
    for key in sorted(renewed | disturbed, key=lambda key: (not causes[key[0]].reaches_cylinders, str(key))):
        if key not in states or (key in disturbed and states[key] != 0):
            continue
        table = network.fresh(*key) if key in renewed else network.disturbed(*key)
        row = table[_configuration(network, states) % len(table)]  # beside shared causes as they are by then
        state = _level(row, float(world.stream("work", *key, visit).random()))
        if key in renewed or state != 0:
            states[key], since[key] = state, visit
    return replace(world, states=states, since=since, visits=visit)
