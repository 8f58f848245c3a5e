"""What can be asked of a case: the questions of a check, where an item can be told, and what a check
leaves open. The interactive session and the page ask by the same rules.

May import: `diag.basics`, the records of `diag.knowledge_base`, and within the room what is below.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diag.basics import Place
from diag.casebook.cases import NOT_LOOKED, Case
from diag.casebook.edits import with_access
from diag.casebook.words import scope_of
from diag.knowledge_base import Check, Knowledge, access_order, turns_engine

__all__ = ["Question", "check_questions", "closed_first", "is_code", "item_places", "with_check_open"]


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
    """The case with what the check opened standing open; what must not stand open for it was closed."""
    kinds, engine = knowledge.vocabulary.access, case.engine
    closed = closed_first(knowledge, check, case.open_access)
    kept = [key for key in case.open_access if key not in closed]
    if check.access in kinds:
        banks = tuple(engine.banks) if place is None else (engine.bank_of(place) if isinstance(place, int) else place,)
        kept += [(check.access, bank) for bank in banks]
    return with_access(case, kept)


def closed_first(
    knowledge: Knowledge, check: Check, open_access: Iterable[tuple[str, str]]
) -> tuple[tuple[str, str], ...]:
    """What of all that stands open (pairs of access kind and bank) must be closed before a check: what the engine must
    not be run or cranked with, where the check does that, and does not work behind it itself."""
    if not turns_engine(check):
        return ()
    kinds, own = knowledge.vocabulary.access, access_order(knowledge, check.access)
    return tuple(
        key for key in sorted(set(open_access)) if key[0] in kinds and kinds[key[0]].shuts_engine and key[0] not in own
    )


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
