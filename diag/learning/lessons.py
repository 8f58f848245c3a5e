"""What a closed case teaches: what was told, the complaint that brought it, and what is known of its components.

May import: `diag.basics`, `diag.casebook`, `diag.knowledge_base`, `diag.network`, the records of `diag.store`, numpy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from diag.basics import Place
from diag.casebook import PRESENT, Case
from diag.inference import Array
from diag.knowledge_base import Knowledge, Repair
from diag.network import CaseNetwork, Question, key_of
from diag.store import ClosedCase, Found, Outcome

__all__ = ["Lesson", "Trust", "again_of", "alike_of", "complaint_of", "known_of", "lesson_of", "lessons_of",
           "looked_at", "one_sided", "other_currency"]  # fmt: skip

Known = Mapping[tuple[tuple[str, Place], int], Array]
"""Likelihood `[state]` of a version of a component at a place."""


@dataclass(frozen=True)
class Trust:
    """How likely what people say of a component at the closing is what it was: told of as seen, as measured after the
    repair, as inferred; and `looked`: as sound, because it was renewed and nothing was
    told of it. The rest falls on its other states alike. None of them is 1: people err."""

    seen: float = 0.999
    measured: float = 0.99
    inferred: float = 0.8
    looked: float = 0.99

    def of(self, found: Found) -> float:
        """The trust in one thing found."""
        return {"seen": self.seen, "measured": self.measured, "inferred": self.inferred}[found.sure]


@dataclass(frozen=True)
class Lesson:
    """A closed case: its number and uid in the book, when it was closed, how it ended, and what came of it later.
    `also`: numbers under which the same case was kept again; `alike`: of another one told in the same words."""

    number: int
    uid: str
    case: Case
    outcome: Outcome
    closed_at: str
    came_back: int | None = None
    also: tuple[int, ...] = ()
    alike: int | None = None


def lesson_of(closed: ClosedCase) -> Lesson:
    """The lesson of a closed case."""
    return Lesson(
        closed.number,
        closed.uid,
        closed.case,
        closed.outcome,
        closed.closed_at,
        closed.came_back,
        alike=closed.twins.alike,
    )


def lessons_of(closed: Iterable[ClosedCase]) -> tuple[Lesson, ...]:
    """The lessons of closed cases, in their order; a case that was kept twice is one, and what came back from either
    came back from it."""
    lessons: dict[int, Lesson] = {}
    counts_as: dict[int, int] = {}
    for each in closed:
        same_as = each.twins.same_as
        if same_as is None:
            lessons[each.number] = lesson_of(each)
            continue
        counts_as[each.number] = first = counts_as.get(same_as, same_as)
        kept = lessons[first]
        back = kept.came_back if kept.came_back is not None else each.came_back
        lessons[first] = replace(kept, came_back=back, also=(*kept.also, each.number))
    return tuple(
        replace(each, came_back=counts_as.get(each.came_back, each.came_back)) if each.came_back is not None else each
        for each in lessons.values()
    )


def again_of(lessons: Iterable[Lesson]) -> tuple[tuple[int, ...], ...]:
    """The numbers of each case that was kept more than once and counts once."""
    return tuple((each.number, *each.also) for each in lessons if each.also)


def alike_of(lessons: Iterable[Lesson]) -> tuple[tuple[int, ...], ...]:
    """The numbers of cases that count each although the later ones were told in the words of the first."""
    groups: dict[int, list[int]] = {}
    for each in lessons:
        if each.alike is not None:
            groups.setdefault(each.alike, [each.alike]).append(each.number)
    return tuple(tuple(numbers) for numbers in groups.values())


def other_currency(knowledge: Knowledge, lessons: Iterable[Lesson]) -> tuple[int, ...]:
    """The numbers of cases in which what was spent was told in another currency than the prices have."""
    return tuple(
        each.number
        for each in lessons
        if each.outcome.cost is not None and each.outcome.currency != knowledge.prices.currency
    )


def complaint_of(knowledge: Knowledge, network: CaseNetwork, case: Case) -> dict[Question, Mapping[int, tuple]]:  # type: ignore[type-arg]
    """The symptoms that were there when the case began: without them there would be no case.

    What follows is conditional on them: a book of cases says nothing of how often nobody complains, and with any rule
    by which complaints lead to cases P(all that was told | complaint) is right, as long as the rule looks at the
    complaint alone.
    """
    found: dict[Question, Mapping[int, tuple]] = {}  # type: ignore[type-arg]
    for answer in case.epochs[0].answers:
        finding = knowledge.findings.get(answer.item)
        if answer.answer == PRESENT and finding is not None and finding.kind == "symptom":
            question = network.question(answer.item, answer.place, answer.condition)
            first = network.targets.standing(key_of(knowledge, question))[0]
            found[question] = {first: (answer,)}
    return found


def known_of(knowledge: Knowledge, network: CaseNetwork, lesson: Lesson, trust: Trust) -> Known:
    """What the closing says of components: of the version that the last work of the case took out, if any did, else of
    the one that stands."""
    told: dict[tuple[tuple[str, Place], int], Array] = {}
    found = {(each.component, each.place): each for each in lesson.outcome.found}
    for key, each in found.items():
        states = list(knowledge.components[each.component].states)
        told[key, _version(network, key)] = _likelihood(len(states), states.index(each.state), trust.of(each))
    if found or lesson.outcome.cured in ("no", "not_known"):  # else it was cured by something that nobody named
        for key in looked_at(knowledge, lesson):
            if key not in found and key in network.layout.versions:
                count = len(knowledge.components[key[0]].states)
                told[key, _version(network, key)] = _likelihood(count, 0, trust.looked)
    return told


def _version(network: CaseNetwork, key: tuple[str, Place]) -> int:
    versions = network.layout.versions[key]
    current = versions.current
    renewed = versions.versions[current].touch == "renewed"
    return current - 1 if renewed and versions.versions[current].since == len(network.case.epochs) - 1 else current


def _likelihood(states: int, told: int, trust: float) -> Array:
    likelihood = np.full(states, (1.0 - trust) / (states - 1))
    likelihood[told] = trust
    return np.asarray(likelihood / likelihood.max())


def looked_at(knowledge: Knowledge, lesson: Lesson) -> list[tuple[str, Place]]:
    """What was in somebody's hands: all that a fitted repair renews, place by place."""
    keys = []
    for fitted in lesson.outcome.fitted:
        repair: Repair | None = knowledge.repairs.get(fitted.item)
        if repair is not None:
            keys += [(component, fitted.place) for component in repair.renews]
    return keys


def one_sided(knowledge: Knowledge, lessons: Iterable[Lesson], least: int = 3) -> tuple[str, ...]:
    """Components that were told of as faulty in `least` cases or more and never looked at and found sound: whoever
    writes down only what was at fault makes it look more frequent than it is."""
    faulty: dict[str, int] = {}
    sound: set[str] = set()
    for lesson in lessons:
        found = {(each.component, each.place) for each in lesson.outcome.found}
        for component in dict.fromkeys(component for component, _ in found):
            faulty[component] = faulty.get(component, 0) + 1
        sound |= {key[0] for key in looked_at(knowledge, lesson) if key not in found}
    return tuple(name for name in knowledge.components if faulty.get(name, 0) >= least and name not in sound)
