"""Complaints about causes: states that never occur, levels nothing reaches, findings that tell nothing, states that
nothing tells apart.

May import: within the room.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from diag.knowledge_base.complaints import Complaint
from diag.knowledge_base.influence import influence_of, largest_difference
from diag.knowledge_base.records import ChanceByLevel, Component, Knowledge

__all__ = ["check_causes"]

_TELLS = 0.005  # a finding that differs by less than half a per cent tells nobody anything


def check_causes(knowledge: Knowledge) -> Iterator[Complaint]:
    """States, levels, and what tells states apart."""
    for name, component in knowledge.components.items():
        for state in _never(component):
            sentence = (
                f"'{state}' has no chance to occur: not in use, not by age, not after work, under no shared cause"
            )
            yield Complaint("state never occurs", f"components.{name}", sentence)
    for name, severity in knowledge.severities.items():
        rows = [severity.background, *(row for by_state in severity.causes.values() for row in by_state.values())]
        for level in severity.levels[1:]:
            if not _any_chance(rows, level):
                sentence = f"no cause reaches the level '{level}'"
                yield Complaint("level never reached", f"severities.{name}", sentence)
    yield from _idle(knowledge)
    yield from _alike(knowledge)


def _idle(knowledge: Knowledge) -> Iterator[Complaint]:
    """Findings as likely at every level, so that asking for them is lost time."""
    for name, finding in knowledge.findings.items():
        for under, row in (("", finding.chance), *((f" under {under}", row) for under, row in finding.under.items())):
            chances = [figure.value for figure in row.values()]
            if max(chances) - min(chances) < _TELLS:
                sentence = (
                    f"its chance{under} is the same, {chances[0]:.3g}, whatever '{finding.shows}' is; it tells nothing"
                )
                yield Complaint("tells nothing", f"findings.{name}", sentence)


def _any_chance(rows: list[ChanceByLevel], level: str) -> bool:
    return any(row[level].value > 0 for row in rows if level in row)


def _never(component: Component) -> list[str]:
    rows = [component.chance, component.fresh, component.disturbed]
    rows += [row for by_state in component.given.values() for row in by_state.values()]
    if component.life is not None:
        rows.append(component.life.fails_as)
    return [state for state in component.states if state != component.sound and not _any_chance(rows, state)]


def _alike(knowledge: Knowledge) -> Iterator[Complaint]:
    """States of one component, or of two of the same kind of place, which no finding or reading tells apart."""
    states = [
        (name, state)
        for name, component in knowledge.components.items()
        if component.fault
        for state in component.states
    ]
    influence = {(name, state): influence_of(knowledge, name, state) for name, state in states}
    for (name, state), (other, other_state) in combinations(states, 2):
        one, two = knowledge.components[name], knowledge.components[other]
        across = name != other
        if across and (one.per != two.per or state == one.sound or other_state == two.sound):
            continue
        if largest_difference(influence[name, state], influence[other, other_state]) < _TELLS:
            sentence = f"no finding or reading tells '{name} {state}' from '{other} {other_state}'"
            yield Complaint("not told apart", f"components.{name}", sentence)
