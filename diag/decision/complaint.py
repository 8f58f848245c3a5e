"""What the customer complained of, and which components could be behind it: 'the complaint is cured' is that none of
them is left unsound, whatever else may be wrong.

May import: casebook, knowledge_base, basics, and `parts` of this room.
"""

from __future__ import annotations

from collections.abc import Iterable

from diag.basics import Place
from diag.casebook import PRESENT, Case
from diag.decision.parts import Key
from diag.knowledge_base import Engine, Knowledge

__all__ = ["causes_of_complaint", "complaint_of"]

SYMPTOM = "symptom"


def complaint_of(knowledge: Knowledge, case: Case) -> tuple[tuple[str, Place], ...]:
    """The symptoms whose last answer, under some condition, is that they are there (softly, too); where none is, any
    such finding. Empty where nothing was found."""
    last: dict[tuple[str, Place, str | None], str] = {}
    for epoch in case.epochs:
        for answer in epoch.answers:
            last[answer.item, answer.place, answer.condition] = answer.answer
    there = dict.fromkeys(
        (item, place)
        for (item, place, _), said in last.items()
        if item in knowledge.findings
        and (said == PRESENT or (said in knowledge.answers and knowledge.answers[said].ratio.value > 1.0))
    )
    symptoms = tuple(each for each in there if knowledge.findings[each[0]].kind == SYMPTOM)
    return symptoms or tuple(there)


def causes_of_complaint(knowledge: Knowledge, case: Case) -> frozenset[Key]:
    """Every component at its place that could be behind a finding of the complaint, through whatever severities."""
    found: set[Key] = set()
    for item, place in complaint_of(knowledge, case):
        found |= _behind(knowledge, case.engine, knowledge.findings[item].shows, place)
    return frozenset(found)


def _behind(knowledge: Knowledge, engine: Engine, shown: str, place: Place) -> set[Key]:
    found: set[Key] = set()
    waiting: list[tuple[str, Place]] = [(shown, place)]
    seen: set[tuple[str, Place]] = set()
    while waiting:
        name, where = waiting.pop()
        if (name, where) in seen:
            continue
        seen.add((name, where))
        if name in knowledge.components:
            found.add((name, where))
            continue
        for cause in knowledge.severities[name].causes:
            per = (knowledge.components if cause in knowledge.components else knowledge.severities)[cause].per
            waiting += [(cause, there) for there in _places(engine, per, where)]
    return found


def _places(engine: Engine, per: str, place: Place) -> Iterable[Place]:
    """Where something `per` cylinder, bank or vehicle can be that reaches a place."""
    if per == "vehicle":
        return (None,)
    if isinstance(place, int):
        return (place,) if per == "cylinder" else (engine.bank_of(place),)
    if per == "bank":
        return (place,) if place is not None else tuple(engine.banks)
    return engine.banks[place] if place is not None else engine.cylinders
