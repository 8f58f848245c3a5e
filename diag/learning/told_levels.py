"""Findings and readings against the levels of what they show: counts of the ones, weights of the others.

May import: `diag.casebook`, `diag.evidence`, `diag.inference`, `diag.knowledge_base`, `diag.network`, numpy, `tallies`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from diag.casebook import Answer, Measured
from diag.evidence import answer_ratio, multiple_of, taken, without_limit
from diag.inference import Array, Uses
from diag.knowledge_base import Knowledge
from diag.learning.shared_shifts import Heard, seen_in
from diag.learning.tallies import Key, Seen, Tally, Told
from diag.network import FigurePath, Question, chance_by_level, key_of

__all__ = ["Seen", "heard_together", "plate_findings", "seen_together", "vehicle_findings"]

Asked = Sequence[Mapping[Question, Told]]
ENOUGH = 1e12  # times likelier: as good as certain


def vehicle_findings(
    counted: Tally, told: Asked, vehicle: Mapping[tuple[Key, int], Array], configurations: Array
) -> list[Seen]:
    """Counts of findings of the vehicle's severities and of shared causes that reach into cylinders."""
    network = counted.group.network
    targets, seen = network.targets, list[Seen]()
    for (question, version), cases in _asked(network.knowledge, told, range(len(told))).items():
        key = key_of(network.knowledge, question)
        if (key, version) in vehicle:
            levels = vehicle[key, version]
        elif key in targets.components or key in targets.axes:
            continue
        else:
            states = targets.configurations.column(key, version)
            some = range(len(network.knowledge.components[key[0]].states))
            levels = np.stack([configurations[:, states == state].sum(axis=1) for state in some], axis=1)
        mass = (levels * counted.weight[:, None])[cases]
        seen += _counted(counted, question, version, cases, mass, told)
    return seen


def plate_findings(counted: Tally, told: Asked, uses: Uses) -> list[Seen]:
    """Counts of findings of one kind of plate, row by row."""
    seen = list[Seen]()
    for question, version, cases, mass in _levels_of(counted, told, uses):
        seen += _counted(counted, question, version, cases, mass, told)
    return seen


def _levels_of(counted: Tally, told: Asked, uses: Uses) -> Iterator[tuple[Question, int, list[int], Array]]:
    """What was told of one kind of plate: the question and version, cases, and `[case, level]`: the levels of what it
    shows."""
    network = counted.group.network
    targets = network.targets
    rows_of: dict[int, list[int]] = {}
    for row, (plate, _) in enumerate(uses.examples):
        rows_of.setdefault(plate, []).append(row)
    for plate, rows in rows_of.items():
        cases = [uses.examples[row][1] for row in rows]
        mine = [told[case] for case in cases]
        for (question, version), places in _asked(network.knowledge, mine, range(len(cases))).items():
            key = key_of(network.knowledge, question)
            if key in targets.axes and targets.axes[key][0] == plate and key not in targets.components:
                levels = uses.masses.axes[targets.axes[key][1][version]]
            elif key in targets.components and targets.components[key][0] == plate:
                index = targets.components[key][1][version]
                component = network.model.plates[plate].components[index]
                base = index if component.base is None else component.base
                levels = uses.masses.states[base].sum(axis=1)
                levels = levels if component.base is None else component.narrowed(levels)
            else:
                continue
            yield question, version, [cases[place] for place in places], levels[[rows[place] for place in places]]


HeardTogether = dict[str, dict[int, dict[int, Heard]]]


def heard_together(counted: Tally, shifted: Asked, uses: Uses, found: HeardTogether) -> None:
    """Gather readings whose cylinders share a shift, with the levels of what they show: `[item][case][cylinder]`."""
    for question, version, cases, levels in _levels_of(counted, shifted, uses):
        for case, mine in zip(cases, levels, strict=True):
            told = tuple(each for each in shifted[case][question][version] if isinstance(each, Measured))
            if isinstance(question.place, int):
                found.setdefault(question.item, {}).setdefault(case, {})[question.place] = Heard(told, mine)


def seen_together(counted: Tally, found: HeardTogether) -> list[Seen]:
    """What they tell of the spreads."""
    network = counted.group.network
    readings, engine = network.knowledge.readings, network.case.engine
    return [each for item, heard in found.items() for each in seen_in(item, readings[item], engine, heard)]


def _asked(knowledge: Knowledge, told: Asked, cases: Sequence[int]) -> dict[tuple[Question, int], list[int]]:
    """The cases of each question that was told of, with the version of what it shows.

    A finding told of several versions is counted at the first, if that is certain: given it, what was told later has a
    law of its own, so the score of the first alone is zero on average, as the complaint's is, which it stands against.
    Told under several conditions it counts under each: each score is zero on average too, but where one luck lasts
    over them (`lasting`) they tell less together than they are counted for.
    """
    found: dict[tuple[Question, int], list[int]] = {}
    for case in cases:
        for question, items in told[case].items():
            first = next(iter(items))
            if len(items) == 1 or (question.item in knowledge.findings and _certain(knowledge, items[first])):
                found.setdefault((question, first), []).append(case)
    return found


def _certain(knowledge: Knowledge, items: Sequence[Answer | Measured]) -> bool:
    ratio = _ratio(knowledge, items)
    return ratio is not None and (ratio == 0.0 or math.isinf(ratio))


def _counted(
    counted: Tally, question: Question, version: int, cases: list[int], levels: Array, told: Asked
) -> list[Seen]:
    """`levels[row, level]` of the rows that these cases stand for."""
    if question.item not in counted.group.network.knowledge.findings:
        return _reading(counted, question, version, cases, levels, told)
    _finding(counted, question, version, cases, levels, told)
    return []


def _finding(counted: Tally, question: Question, version: int, cases: list[int], levels: Array, told: Asked) -> None:
    knowledge = counted.group.network.knowledge
    finding = knowledge.findings[question.item]
    chance = chance_by_level(knowledge, question.item, question.condition)
    ratios = [_ratio(knowledge, told[case][question][version]) for case in cases]
    known = np.array([ratio is not None for ratio in ratios])
    ratio = np.array([each for each in ratios if each is not None])
    some, levels = np.array(cases)[known], levels[known]
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
        there, absent = chance[level] * np.minimum(ratio, ENOUGH), 1.0 - chance[level]
        mass = levels[:, level]
        counted.add(path, mass * there / (there + absent), some, mass)


def _ratio(knowledge: Knowledge, items: Sequence[Answer | Measured]) -> float | None:
    """How many times likelier all that was answered is where the finding is there; none where nothing tells."""
    ratios = [answer_ratio(each, knowledge) for each in items if isinstance(each, Answer)]
    told = [ratio for ratio in ratios if ratio is not None]
    return math.prod(told) if told else None


def _reading(
    counted: Tally, question: Question, version: int, cases: list[int], levels: Array, told: Asked
) -> list[Seen]:
    network = counted.group.network
    reading, engine = network.knowledge.readings[question.item], network.case.engine
    if without_limit(reading, engine):
        return []
    multiple, found = multiple_of(reading, engine), list[Seen]()
    for case, weights in zip(cases, levels, strict=True):
        items = told[case][question][version]
        only = items[0]
        if len(items) == 1 and isinstance(only, Measured) and math.isfinite(only.value):
            adjusted = only.condition is not None and any(each.under == only.condition for each in reading.adjust)
            (shown,) = taken(reading, engine, (only,))
            if not (adjusted or shown.censored):
                value, error = shown.value / multiple, abs(shown.error / multiple)
                found.append(Seen(question.item, value, error, weights, case))
    return found
