"""Finds cases: lists, filters, searches words, and hands out the closed ones to learn from.

May import: `diag.basics`, the records of `diag.casebook` and `diag.knowledge_base`, and within the room what is below.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from diag.basics import BookError, UsageError
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.store.book import Book, Kept, read_kept
from diag.store.folding import fold
from diag.store.lacking import lacking_of_case, lacking_of_outcome
from diag.store.records import Customer, Outcome
from diag.store.rows import search_words
from diag.store.sql import Session, Value
from diag.store.twice import Seen, Twins, twins_of

__all__ = ["CaseRow", "ClosedCase", "FoundRow", "Wanted", "closed_cases", "come_backs_of", "find_cases", "goes_back_to",
           "rows_of"]  # fmt: skip

_BATCH = 500
_COLUMNS = "number, uid, revision, title, engine, is_open, opened_at, changed_at, closed_at, cured, come_back_of"


@dataclass(frozen=True)
class FoundRow:
    """A fault found, for a list; `place` as text, empty for the vehicle."""

    component: str
    state: str
    place: str
    sure: str


@dataclass(frozen=True)
class CaseRow:
    """A case in a list. Times are UTC, ISO 8601; `closed_at` and `cured` are empty while it is open; `came_back_from`
    is the number of the case that it is a come-back of, none where there is none in this book."""

    number: int
    uid: str
    revision: int
    title: str
    engine: str
    is_open: bool
    opened_at: str
    changed_at: str
    closed_at: str
    cured: str
    came_back_from: int | None
    found: tuple[FoundRow, ...]


@dataclass(frozen=True)
class Wanted:
    """Which cases: all that fit everything that is told. Dates (`2026-03-01`) are of the opening, both included."""

    engine: str = ""
    is_open: bool | None = None
    found: str = ""
    since: str = ""
    until: str = ""
    words: str = ""
    most: int = 50


@dataclass(frozen=True)
class ClosedCase:
    """A closed case to learn from: all that was told of it, how it ended, and when. `came_back`: the number of a later
    case that came back from this one, if any; `opened_at` and `closed_at` are UTC, ISO 8601. `twins`: whether it is one
    that came before it, kept a second time."""

    number: int
    uid: str
    case: Case
    outcome: Outcome
    opened_at: str
    closed_at: str
    came_back: int | None
    twins: Twins


def find_cases(book: Book, wanted: Wanted) -> tuple[CaseRow, ...]:
    """The cases that are wanted, newest number first, at most `wanted.most` of them.

    Every word must be in the case (in its title, notes, remarks, findings, what was found and fitted, names of files)
    or in the customer's name or plate, in whatever letters; the beginning of a word will do.
    """
    with book.database.reading() as session:
        conditions, values = _conditions(session, wanted)
        where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
        rows = session.rows(
            f"SELECT {_COLUMNS} FROM cases{where} ORDER BY number DESC LIMIT :most", **values, most=wanted.most
        )
        return _with_found(session, rows)


def rows_of(book: Book, numbers: Sequence[int]) -> tuple[CaseRow, ...]:
    """The lines of these cases, in their order."""
    if not numbers:
        return ()
    with book.database.reading() as session:
        inside = ", ".join(str(int(number)) for number in numbers)
        rows = _with_found(session, session.rows(f"SELECT {_COLUMNS} FROM cases WHERE number IN ({inside})"))
    by_number = {row.number: row for row in rows}
    return tuple(by_number[number] for number in numbers if number in by_number)


def come_backs_of(book: Book, uid: str) -> tuple[int, ...]:
    """The numbers of the cases that came back from the one with this `uid`, ascending."""
    with book.database.reading() as session:
        rows = session.rows("SELECT number FROM cases WHERE come_back_of = :uid ORDER BY number", uid=uid)
    return tuple(int(number) for (number,) in rows)


def goes_back_to(book: Book, uid: str, earlier: str) -> bool:
    """Whether the case of this `uid` is a come-back of an earlier one, at once or by way of others."""
    seen = set[str]()
    with book.database.reading() as session:
        while uid and uid not in seen:
            seen.add(uid)
            found = [str(row[0]) for row in session.rows("SELECT come_back_of FROM cases WHERE uid = :uid", uid=uid)]
            uid = found[0] if found else ""
            if uid == earlier:
                return True
    return False


def closed_cases(book: Book, knowledge: Knowledge, after: int = 0, strict: bool = True) -> Iterator[ClosedCase]:
    """Every closed case with its outcome, in the order of their closing; `after` skips so many of them.

    The order is that in which they could have been learned from. Raises BookError where the engine of one is neither in
    the knowledge nor in the book, or the knowledge lacks something that one tells of; not `strict`, such a case is left
    out.
    """
    with book.database.reading() as session:
        order = session.rows("SELECT number FROM cases WHERE is_open = 0 ORDER BY closed_at, number")
        came_back = session.rows(
            "SELECT earlier.number, MIN(later.number) FROM cases AS later JOIN cases AS earlier "
            "ON later.come_back_of = earlier.uid WHERE later.come_back_of <> '' GROUP BY earlier.number"
        )
        told = session.rows("SELECT number, name, plate FROM customers")
    back = {int(earlier): int(later) for earlier, later in came_back}
    customers = {int(number): Customer(name, plate) for number, name, plate in told}
    seen: Seen = {}
    for (number,) in order[after:]:
        kept = read_kept(book, int(number))
        outcome = kept.standing.outcome
        if outcome is None:  # it was opened again since the list was made
            continue
        try:
            case = case_of(kept, knowledge)
            _refuse(kept.number, lacking_of_outcome(outcome, knowledge))
        except BookError:
            if strict:
                raise
            continue
        at, closed_at = kept.events[0].at, kept.standing.closed_at
        twins = twins_of(kept, customers, seen)
        yield ClosedCase(kept.number, kept.uid, case, outcome, at, closed_at, back.get(number), twins)


def case_of(kept: Kept, knowledge: Knowledge, revision: int | None = None) -> Case:
    """The case of a journal (or as it was at a revision). Raises BookError where the knowledge lacks its engine, or
    anything that it tells of."""
    standing = kept.standing if revision is None else fold(kept.events[:revision])
    case = standing.draft.case(knowledge)
    if case is None:
        raise BookError(
            f"case {kept.number} is of the engine '{standing.draft.engine_id}', which this knowledge does not have; "
            "add the overlay that has it (--overlay)"
        )
    _refuse(kept.number, lacking_of_case(case, knowledge))
    return case


def _refuse(number: int, lacking: Iterator[str]) -> None:
    """Raise BookError for the first thing that the knowledge lacks."""
    name = next(lacking, None)
    if name is not None:
        raise BookError(
            f"case {number} tells of '{name}', which this knowledge does not have; "
            "add the overlay that has it (--overlay)"
        )


def _conditions(session: Session, wanted: Wanted) -> tuple[list[str], dict[str, Value]]:
    conditions: list[str] = []
    values: dict[str, Value] = {}
    if wanted.engine:
        conditions.append("engine = :engine")
        values["engine"] = wanted.engine
    if wanted.is_open is not None:
        conditions.append("is_open = :is_open")
        values["is_open"] = int(wanted.is_open)
    if wanted.found:
        conditions.append("number IN (SELECT number FROM found WHERE component = :found)")
        values["found"] = wanted.found
    if wanted.since:
        conditions.append("opened_at >= :since")
        values["since"] = _day(wanted.since).isoformat()
    if wanted.until:
        conditions.append("opened_at < :until")
        values["until"] = f"{_day(wanted.until).isoformat()}T24"  # after all of that day; there may be no day after it
    if wanted.words:
        condition, told = _searched(session, wanted.words, alone=not conditions)
        conditions.append(condition)
        values |= told
    return conditions, values


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"'{text}' is no date; write it as 2026-03-31") from None


def _searched(session: Session, text: str, alone: bool) -> tuple[str, dict[str, Value]]:
    """The condition that each word is in the case or in its customer."""
    words = list(dict.fromkeys(search_words(text)))
    if not words:
        raise UsageError(f"'{text}' has no word to search for; write letters or digits")
    of_customers = _customers_with(session, words)
    if not any(of_customers.values()):
        return _in_case(session, words, "words", newest=alone)  # no other condition thins them out afterwards
    conditions, values = [], dict[str, Value]()
    for place, word in enumerate(words):
        inside, told = _in_case(session, [word], f"word{place}", newest=False)
        numbers = (
            "SELECT value FROM json_each(:{0})"
            if session.dialect == "sqlite"
            else ("SELECT value::int FROM json_array_elements_text(CAST(:{0} AS json))")
        )
        conditions.append(f"({inside} OR number IN ({numbers.format(f'customers{place}')}))")
        values |= told | {f"customers{place}": json.dumps(of_customers[word])}
    return " AND ".join(conditions), values


def _in_case(session: Session, words: Sequence[str], name: str, newest: bool) -> tuple[str, dict[str, Value]]:
    """The condition that a case has all these words, or words that begin so, by the index of words."""
    if session.dialect == "sqlite":
        order = " ORDER BY rowid DESC LIMIT :most" if newest else ""
        inside = f"number IN (SELECT rowid FROM case_words WHERE case_words MATCH :{name}{order})"
        return inside, {name: " AND ".join(f'"{word}" *' for word in words)}
    inside = f"to_tsvector('simple', words) @@ to_tsquery('simple', :{name})"
    return inside, {name: " & ".join(f"{word}:*" for word in words)}


def _customers_with(session: Session, words: Sequence[str]) -> dict[str, list[int]]:
    """The numbers of the cases whose customer's name or plate holds each word, spelled as words of cases are (no
    database does that alike: SQLite knows no small letter for an umlaut). A plate may be written in one word, too."""
    found: dict[str, list[int]] = {word: [] for word in words}
    for number, name, plate in session.rows("SELECT number, name, plate FROM customers"):
        of_plate = search_words(plate)
        told = " ".join([*search_words(name), *of_plate, "".join(of_plate)])
        for word in words:
            if word in told:
                found[word].append(number)
    return found


def _with_found(session: Session, rows: Sequence[tuple[object, ...]]) -> tuple[CaseRow, ...]:
    """The lines with what was found and where they came back from, asked for all together."""
    found: dict[object, list[FoundRow]] = {}
    earlier: dict[object, int] = {}
    for start in range(0, len(rows), _BATCH):
        some = rows[start : start + _BATCH]
        inside = ", ".join(str(row[0]) for row in some)
        for number, *told in session.rows(
            f"SELECT number, component, state, place, sure FROM found WHERE number IN ({inside})"
        ):
            found.setdefault(number, []).append(FoundRow(*told))
        back = [row for row in some if row[-1]]
        if back:
            names = {f"uid{index}": str(row[-1]) for index, row in enumerate(back)}
            inside = ", ".join(f":{name}" for name in names)
            for uid, number in session.rows(f"SELECT uid, number FROM cases WHERE uid IN ({inside})", **names):
                earlier[uid] = number
    return tuple(_row(row, tuple(found.get(row[0], ())), earlier.get(row[-1])) for row in rows)


def _row(row: tuple[object, ...], found: tuple[FoundRow, ...], came_back_from: int | None) -> CaseRow:
    number, uid, revision, title, engine, is_open, opened_at, changed_at, closed_at, cured, _ = row
    return CaseRow(
        int(str(number)),
        str(uid),
        int(str(revision)),
        str(title),
        str(engine),
        bool(is_open),
        str(opened_at),
        str(changed_at),
        str(closed_at),
        str(cured),
        came_back_from,
        found,
    )
