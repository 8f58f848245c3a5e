"""How much a class makes of findings: what trainees said before and after, against what the findings say.

Where somebody said how sure they are of a fault, did one thing, and said it again, the change of what they said stands
beside the change of the model's own chance on the same answers, both as weights of evidence in decibans (ten times the
common logarithm of the odds; Good 1950). Who moves further than the answers go, or moves on answers that say nothing,
takes a finding for more than it says; who moves less, or the other way, for less. Over a whole class that shows which
findings are over- and under-used; no truth is in it, so luck is not either.
May import: basics, and `debriefing`, `records`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log10
from statistics import fmean

from diag.basics import Place
from diag.training.debriefing import BeliefScore
from diag.training.records import Asked, Event, Fitted

__all__ = ["Heeded", "Heeding", "heeded_in", "heeding_of"]

DECIBANS = 10.0
EDGE = 0.01  # nobody is taken to mean more than 99 %, nor less than 1 %
SLIGHT = 3.0  # decibans (odds doubled) within which what was said counts as right
SILENT = 1.0  # decibans below which answers say nothing of a fault
WORK = "work"


@dataclass(frozen=True)
class Heeded:
    """Once: what came between two statements on one fault (`source`: a check, or `WORK` for a trial), how far the
    trainee moved and how far the answers go, in decibans towards the fault."""

    source: str
    component: str
    place: Place
    said: float
    meant: float

    @property
    def beyond(self) -> float:
        """Decibans too far, in the direction of the answers (below 0: too little, or the other way)."""
        if abs(self.meant) < SILENT:
            return abs(self.said)
        return (self.said - self.meant) * (1.0 if self.meant > 0 else -1.0)


@dataclass(frozen=True)
class Heeding:
    """One check over the class (or trials, `WORK`): how often it was heard between two statements, by how many
    `people`; how often it was taken for `more` and for `less` than it says, and mean decibans beyond."""

    source: str
    heard: int
    people: int
    more: int
    less: int
    beyond: float


def heeded_in(events: Sequence[Event], beliefs: Sequence[BeliefScore]) -> Iterator[Heeded]:
    """Every pair of statements on one fault with one check or trial between them, in one play."""
    last: dict[tuple[str, Place], BeliefScore] = {}
    for now in beliefs:
        key = (now.component, now.place)
        before, last[key] = last.get(key), now
        if before is None:
            continue
        between = [each for each in events[before.after + 1 : now.after] if isinstance(each, Asked | Fitted)]
        if len(between) == 1:
            did = between[0]
            yield Heeded(
                did.check if isinstance(did, Asked) else WORK,
                *key,
                _weight(now.said) - _weight(before.said),
                _weight(now.model) - _weight(before.model),
            )


def heeding_of(plays: Sequence[tuple[str, Sequence[Event], Sequence[BeliefScore]]]) -> tuple[Heeding, ...]:
    """Over a class: (trainee, events, what was said) of each play. What is furthest off comes first."""
    found: dict[str, list[tuple[str, float]]] = {}
    for trainee, events, beliefs in plays:
        for each in heeded_in(events, beliefs):
            found.setdefault(each.source, []).append((trainee, each.beyond))
    lines = [
        Heeding(
            source=source,
            heard=len(some),
            people=len({who for who, _ in some}),
            more=sum(beyond > SLIGHT for _, beyond in some),
            less=sum(beyond < -SLIGHT for _, beyond in some),
            beyond=fmean(beyond for _, beyond in some),
        )
        for source, some in found.items()
    ]
    return tuple(sorted(lines, key=lambda each: (-(each.more + each.less), -abs(each.beyond), each.source)))


def _weight(chance: float) -> float:
    held = min(max(chance, EDGE), 1.0 - EDGE)
    return DECIBANS * log10(held / (1.0 - held))
