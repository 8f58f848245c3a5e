"""What each state of a component does to every finding and reading when nothing else is wrong.

May import: within the room `records`, `spreads`.
"""

from __future__ import annotations

from collections.abc import Mapping

from diag.knowledge_base.records import ChanceByLevel, Distribution, Knowledge, Mixture, Severity
from diag.knowledge_base.spreads import MixturePart

__all__ = ["influence_of", "largest_difference"]

Spread = dict[str, float]  # level or state -> probability
Influence = tuple[float, ...]


def largest_difference(one: Influence, other: Influence) -> float:
    """The largest difference that two influences make to any finding or reading; 0 says nothing tells them apart."""
    return max((abs(a - b) for a, b in zip(one, other, strict=True)), default=0.0)


def influence_of(knowledge: Knowledge, component: str, state: str) -> Influence:
    """The chance of every finding (under every condition of its own), and how every reading is then distributed.

    All other components are sound, or as `given` says under this state; one cylinder is looked at. Readings count
    by the probability of each distinct spread. Severities are noisy maxima (Díez 1993): the chance to stay at or below
    a level is the product over causes. Where two severities share a cause their dependence is left out.
    """
    spreads = {name: {entry.sound: 1.0} for name, entry in knowledge.components.items()}
    spreads[component] = {state: 1.0}
    for name, entry in knowledge.components.items():
        row = entry.given.get(component, {}).get(state)
        if row is not None:
            spreads[name] = _filled(row, entry.sound)
    of_cylinder_first = sorted(knowledge.severities.items(), key=lambda each: each[1].per != "cylinder")
    for (
        name,
        severity,
    ) in of_cylinder_first:  # they cause those of the vehicle
        spreads[name] = _severity_spread(severity, spreads)
    effects: list[float] = []
    for finding in knowledge.findings.values():
        for chances in (finding.chance, *finding.under.values()):
            effects.append(sum(p * chances[level].value for level, p in spreads[finding.shows].items()))
    for reading in knowledge.readings.values():
        effects += _by_distribution(reading.spread, spreads[reading.shows])
    return tuple(effects)


def _filled(row: ChanceByLevel, first: str) -> Spread:
    spread = {level: figure.value for level, figure in row.items()}
    spread[first] = 1.0 - sum(spread.values())
    return spread


def _severity_spread(severity: Severity, spreads: Mapping[str, Spread]) -> Spread:
    levels = severity.levels
    at_most = _cumulative(_filled(severity.background, levels[0]), levels)
    for cause, rows in severity.causes.items():
        from_cause = [0.0] * len(levels)
        for state, p in spreads[cause].items():
            reached = _cumulative(_filled(rows[state], levels[0]) if state in rows else {levels[0]: 1.0}, levels)
            from_cause = [total + p * one for total, one in zip(from_cause, reached, strict=True)]
        at_most = [a * b for a, b in zip(at_most, from_cause, strict=True)]
    return {level: at_most[i] - (at_most[i - 1] if i else 0.0) for i, level in enumerate(levels)}


def _cumulative(spread: Spread, levels: tuple[str, ...]) -> list[float]:
    total, sums = 0.0, []
    for level in levels:
        total += spread.get(level, 0.0)
        sums.append(total)
    return sums


def _weight(law: Distribution) -> float:
    return law.weight.value if isinstance(law, MixturePart) else 1.0


def _by_distribution(by_level: Mapping[str, Distribution | Mixture], spread: Spread) -> list[float]:
    groups: dict[tuple[object, ...], float] = {}
    for level, one in by_level.items():
        key = tuple((law.shape, law.middle.value, law.width.value, law.freedom, _weight(law)) for law in one.laws)
        groups[key] = groups.get(key, 0.0) + spread.get(level, 0.0)
    return list(groups.values())
