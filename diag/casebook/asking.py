"""What can be asked of a case: the questions of a check, where an item can be told, and what a check
leaves open. The interactive session and the page ask by the same rules.

May import: `diag.basics`, the records of `diag.knowledge_base`, and within the room what is below.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import Place
from diag.casebook.cases import NOT_LOOKED, Case
from diag.casebook.edits import with_access
from diag.casebook.words import scope_of
from diag.knowledge_base import Check, Knowledge

__all__ = ["Question", "check_questions", "is_code", "item_places", "with_check_open"]


@dataclass(frozen=True)
class Question:
    """One finding or reading at one or more places, under a condition. Codes are asked all at once: then `item` is
    empty and `codes` holds the findings."""

    item: str
    places: tuple[Place, ...]
    condition: str | None = None
    codes: tuple[str, ...] = ()


def item_places(knowledge: Knowledge, item: str, case: Case) -> tuple[Place, ...]:
    """Where a finding or reading can be told: the cylinders, the banks, or the vehicle (none)."""
    scope = scope_of(knowledge, item)
    if scope == "cylinder":
        return case.engine.cylinders
    return tuple(case.engine.banks) if scope == "bank" else (None,)


def check_questions(
    knowledge: Knowledge, check: Check, place: Place, case: Case, answered_too: bool = False
) -> tuple[Question, ...]:
    """What one doing of a check asks: codes first, all at once, then item by item; what is answered is left out unless
    `answered_too`."""
    codes = tuple(dict.fromkeys(each.item for each in check.yields if is_code(knowledge, each.item)))
    questions = [Question("", (place,), codes=codes)] if codes else []
    for brought in check.yields:
        if brought.item not in codes:
            places = tuple(
                where
                for where in item_places(knowledge, brought.item, case)
                if _covered(where, place, case)
                and (answered_too or not _answered(case, brought.item, where, brought.under))
            )
            if places:
                questions.append(Question(brought.item, places, brought.under))
    return tuple(questions)


def is_code(knowledge: Knowledge, item: str) -> bool:
    """Whether an item is a fault code."""
    return item in knowledge.findings and knowledge.findings[item].code is not None


def with_check_open(case: Case, knowledge: Knowledge, check: Check, place: Place) -> Case:
    """The case with what the check opened standing open; what shuts the engine was closed for one that runs it."""
    kinds, engine = knowledge.vocabulary.access, case.engine
    runs = any(need in ("engine_running", "engine_warm") for need in check.needs)
    kept = [key for key in case.open_access if not (runs and kinds[key[0]].shuts_engine)]
    if check.access in kinds:
        banks = tuple(engine.banks) if place is None else (engine.bank_of(place) if isinstance(place, int) else place,)
        kept += [(check.access, bank) for bank in banks]
    return with_access(case, kept)


def _covered(where: Place, done_at: Place, case: Case) -> bool:
    """Whether doing a check at one place tells about another: the vehicle holds all, a bank its cylinders."""
    if done_at is None or where is None or where == done_at:
        return True
    return isinstance(where, int) and isinstance(done_at, str) and case.engine.bank_of(where) == done_at


def _answered(case: Case, item: str, place: Place, condition: str | None) -> bool:
    """Whether a finding was answered since the last repair; a reading may be taken again."""
    asked = (item, place, condition)
    return any(
        (each.item, each.place, each.condition) == asked and each.answer != NOT_LOOKED
        for each in case.epochs[-1].answers
    )
