"""What was asked and told in a case, gathered by question: a finding or reading, at a place, under a condition.

All epochs in which the version of what a finding shows is the same are one and the same situation: the same answer
again is one fact, 'present' and 'absent' contradict each other. May import: knowledge_base, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from msgspec import Struct

from diag.basics import CaseError, Place, Problem
from diag.casebook import ABSENT, NOT_LOOKED, PRESENT, Answer, Case, Measured
from diag.knowledge_base import Knowledge

__all__ = ["Question", "Told", "by_version", "paused_in", "question_name", "said_by_exchange", "shown", "told_in"]


class Question(NamedTuple):
    """A finding or reading at a place. A reading has no condition here: its true value is one and the same."""

    item: str
    place: Place
    condition: str | None = None


class Told(Struct, frozen=True):
    """One answer or number, and the epoch in which it was told."""

    epoch: int
    what: Answer | Measured


def shown(knowledge: Knowledge, item: str) -> str:
    """The id of the severity or component that a finding or reading shows."""
    if item in knowledge.findings:
        return knowledge.findings[item].shows
    return knowledge.readings[item].shows


def question_name(knowledge: Knowledge, question: Question) -> str:
    """A question in words: 'chuffing in time with one cylinder, cylinder 2, under load'."""
    known = knowledge.findings.get(question.item) or knowledge.readings[question.item]
    place = question.place
    where = f", cylinder {place}" if isinstance(place, int) else f", bank {place}" if place else ""
    return f"{known.name}{where}" + (f", under {question.condition}" if question.condition else "")


def said_by_exchange(knowledge: Knowledge, case: Case, question: Question) -> bool:
    """Whether an exchange tried in the case shows itself what a finding says of one of its two cylinders."""
    return any(
        work.other is not None
        and question.item in knowledge.repairs[work.repair].stands_for
        and question.place in work.places
        for epoch in case.epochs
        for work in epoch.work
    )


def told_in(case: Case) -> dict[Question, tuple[Told, ...]]:
    """Everything that was told in a case by question, in its order; what was not looked at is left out."""
    found: dict[Question, list[Told]] = {}
    for number, epoch in enumerate(case.epochs):
        for answer in epoch.answers:
            if answer.answer != NOT_LOOKED:
                question = Question(answer.item, answer.place, answer.condition)
                found.setdefault(question, []).append(Told(number, answer))
        for measured in epoch.measured:
            found.setdefault(Question(measured.item, measured.place), []).append(Told(number, measured))
    return {question: tuple(told) for question, told in found.items()}


def by_version(
    knowledge: Knowledge,
    case: Case,
    question: Question,
    told: tuple[Told, ...],
    epochs: tuple[int, ...],
    refuse: bool = True,
) -> Mapping[int, tuple[Answer | Measured, ...]]:
    """What was told of each version of what the question shows; `epochs` holds the version by epoch.

    The same answer again counts once. Raises CaseError, if it is to `refuse` that, where one version was answered both
    present and absent.
    """
    found: dict[int, list[Told]] = {}
    for item in told:
        same = found.setdefault(epochs[item.epoch], [])
        if isinstance(item.what, Measured) or all(item.what != known.what for known in same):
            same.append(item)
    for items in found.values() if refuse else ():
        _refuse_contradiction(knowledge, case, question, items)
    return {version: tuple(item.what for item in items) for version, items in sorted(found.items())}


def paused_in(case: Case, epochs: tuple[int, ...]) -> frozenset[int]:
    """The versions that began with work which helped for a while; `epochs` holds the version by epoch."""
    return frozenset(
        epochs[number]
        for number, epoch in enumerate(case.epochs)
        if number and epochs[number] != epochs[number - 1]
        if any(work.helped == "for_a_while" for work in epoch.work)
    )


def _refuse_contradiction(knowledge: Knowledge, case: Case, question: Question, items: list[Told]) -> None:
    first = {item.what.answer: (item.epoch, item.what.at) for item in reversed(items) if isinstance(item.what, Answer)}
    if PRESENT not in first or ABSENT not in first:
        return
    earlier, later = sorted((PRESENT, ABSENT), key=lambda answer: first[answer][0])
    (before, there), (after, here) = first[earlier], first[later]
    line = f" (line {there.line})" if there is not None else ""
    name = question_name(knowledge, question)
    message = (
        f"'{name}' is {earlier} {_when(knowledge, case, before)}{line} and {later} {_when(knowledge, case, after)}"
    )
    hint = "answer it once"
    if before != after:
        hint = "nothing that was done between the two reaches it; give it under a condition, or leave out one answer"
    spot = here or there  # none of what follows from 'helped: no', nor of a case that was never in a file
    place = (spot.file, spot.line, spot.column) if spot is not None else (case.title, 0, 0)
    raise CaseError([Problem(*place, message, hint)])


def _when(knowledge: Knowledge, case: Case, epoch: int) -> str:
    if epoch == 0:
        return "at first"
    work = ", ".join(knowledge.repairs[work.repair].name for work in case.epochs[epoch].work)
    return f"after '{work}'"
