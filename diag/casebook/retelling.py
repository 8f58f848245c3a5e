"""Changes to what a case file says of the vehicle itself: its distance and age, its history, its trim codes.

What is typed is read as in a case file, so that limits and messages are the same wherever it is told. May import:
`diag.basics`, `diag.knowledge_base`, and everything within the room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from diag.basics import CaseError, Problem, UsageError
from diag.casebook.cases import Case, TrimCode, Work
from diag.casebook.ledger import ledger_answers
from diag.casebook.loading import read_age, read_distance
from diag.casebook.notebook import Notebook
from diag.casebook.numbering import numbering_words
from diag.casebook.trim_codes import read_trim_codes
from diag.casebook.worked import Vehicle, check_ago, read_history
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Spot, Tree

__all__ = ["history_told", "with_history", "with_numbering", "with_trim_codes", "with_vehicle"]


def with_vehicle(case: Case, knowledge: Knowledge, distance: str, age: str) -> Case:
    """The case of a vehicle that has run so far (`187000 km`) and is so old (`11 years`); empty: not known.

    Raises CaseError with every problem, work of the history that would be longer ago than that included.
    """
    book = _notebook(case, knowledge)
    vehicle = Vehicle(read_distance(book, distance or None), read_age(book, age or None))
    for work in case.history if not book.problems else ():
        check_ago(book, (), work.km_ago, work.months_ago, vehicle)
    _settle(book)
    return replace(case, distance_km=vehicle.distance_km, age_years=vehicle.age_years)


def history_told(case: Case, knowledge: Knowledge, told: Mapping[Key, Tree]) -> tuple[Work, ...]:
    """The works that one entry of `history:` tells, such as `{did: reseal, cylinder: [2, 3], ago: 4 months}`.

    Raises CaseError with every problem.
    """
    book = _notebook(case, knowledge)
    works = read_history(book, (), [dict(told)], Vehicle(case.distance_km, case.age_years))
    _settle(book)
    return works


def with_history(case: Case, knowledge: Knowledge, history: Sequence[Work]) -> Case:
    """The case with this history and no other; what its trim codes say is told anew, as a new injector bears on it."""
    return _with_ledger_anew(case, replace(case, history=tuple(history)), knowledge)


def with_trim_codes(case: Case, knowledge: Knowledge, codes: Mapping[int, Mapping[str, str]]) -> Case:
    """The case with this ledger and no other: by cylinder `part`, `unit`, `part_before`, `unit_before`, each a code, or
    'none' where the control unit holds none; what is left out was not noted. What the ledger said before is taken out
    of the latest answers, and what it says now is told.

    Raises CaseError with every problem, each with its cylinder.
    """
    problems: list[Problem] = []
    entries: list[TrimCode] = []
    for cylinder, told in sorted(codes.items()):
        book = _notebook(case, knowledge)
        written: dict[Key, Tree] = {name: code for name, code in told.items() if code.strip()}
        found = read_trim_codes(book, (), {cylinder: written}) if written else ()
        problems += [replace(each, message=f"cylinder {cylinder}: {each.message}") for each in book.problems]
        entries += [each for each in found if each != TrimCode(cylinder)]
    if problems:
        raise CaseError(problems)
    return _with_ledger_anew(case, replace(case, trim_codes=tuple(entries)), knowledge)


def with_numbering(case: Case, knowledge: Knowledge, state: str) -> Case:
    """The case with how the control unit numbers the cylinders; empty: nobody has looked it up. Raises UsageError."""
    if state and state not in numbering_words(knowledge).values():
        raise UsageError(f"'{state}' is no numbering of the cylinders; choose one of the list")
    return replace(case, numbering=state or None)


def _with_ledger_anew(before: Case, after: Case, knowledge: Knowledge) -> Case:
    """The case `after` with what its ledger says now instead of what that of `before` said. What was told in an
    earlier epoch and is so still is not told again: nobody read it a second time."""
    was, latest = ledger_answers(before, knowledge), after.epochs[-1]
    kept = tuple(answer for answer in latest.answers if answer not in was)
    by_hand = {(answer.item, answer.place) for answer in kept}
    earlier = {(answer.item, answer.place): answer for epoch in after.epochs[:-1] for answer in epoch.answers}
    added = tuple(
        answer
        for answer in ledger_answers(after, knowledge)
        if (answer.item, answer.place) not in by_hand and earlier.get((answer.item, answer.place)) != answer
    )
    return replace(after, epochs=(*after.epochs[:-1], replace(latest, answers=(*kept, *added))))


def _notebook(case: Case, knowledge: Knowledge) -> Notebook:
    return Notebook(PlacedDocument("", {}, Spot("", 0, 0)), knowledge, case.engine)


def _settle(book: Notebook) -> None:
    if book.problems:
        raise CaseError(book.problems)
