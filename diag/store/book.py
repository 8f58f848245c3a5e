"""The book: opening it, keeping a case, adding to its journal, and reading it back.

May import: `diag.basics`, and within the room everything below.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from diag.basics import BookError, BookMoved, UsageError
from diag.store.codec import payload_of
from diag.store.folding import Standing, fold
from diag.store.likeness import write_likeness
from diag.store.records import Closed, Customer, Event, Likeness, Payload, Retold, Undo
from diag.store.rows import write_customer, write_events, write_summary
from diag.store.schema import bring_up_to_date
from diag.store.sql import Database, Session
from diag.store.where import book_place, files_folder

__all__ = [
    "Book",
    "Kept",
    "append",
    "append_within",
    "events_of",
    "journal",
    "keep",
    "next_number",
    "now",
    "number_of",
    "open_book",
    "read_kept",
    "standing_of",
    "write_case",
]


@dataclass(frozen=True)
class Book:
    """An open book: its database, and the folder of its attachments. Close it, or use `open_book` with `with`."""

    database: Database
    files: Path

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()


@dataclass(frozen=True)
class Kept:
    """A case as the book has it: its number in this book, its `uid` in every book, its journal and how it stands."""

    number: int
    uid: str
    events: tuple[Event, ...]
    standing: Standing

    @property
    def revision(self) -> int:
        """How many events there are."""
        return len(self.events)


@contextmanager
def open_book(place: str | None = None, files: Path | None = None, make: bool = True) -> Iterator[Book]:
    """Open the book at a path or URL (see `book_place`), made where there is none, unless `make` is false, and brought
    to the newest version where need be.

    Raises BookError where it cannot be opened, was written by a newer diag, or is something else than a book.
    """
    where = book_place(place, make)
    database = Database(where)
    if not make and not _is_there(database):
        raise BookError(f"{where}: there is no book yet; 'diag book keep CASEFILE' begins one")
    try:
        _private(database)
        bring_up_to_date(database)
        yield Book(database, files or files_folder(where))
    finally:
        database.close()


def _is_there(database: Database) -> bool:
    """Whether there is such a file; a server says so itself. Raises BookError where nobody can tell."""
    try:
        return database.is_server or database.path.exists()
    except OSError as error:
        raise BookError(f"{database.path}: it cannot be opened: {error.strerror or error}") from error


def _private(database: Database) -> None:
    """A new file that only its owner may read, as it may come to hold customers."""
    if _is_there(database):
        return
    try:
        database.path.touch(mode=0o600)
    except OSError as error:
        raise BookError(f"{database.path}: it cannot be made: {error.strerror or error}") from error


def now() -> str:
    """The time, UTC, as it is kept."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def keep(
    book: Book,
    payloads: Sequence[Payload],
    by: str = "",
    likeness: Likeness | None = None,
    customer: Customer | None = None,
) -> Kept:
    """Open a case with these events (the first is its opening; see `opening`), all of them or none."""
    at = now()
    events = tuple(Event(number, at, by, payload) for number, payload in enumerate(payloads, start=1))
    standing = fold(events)
    with book.database.writing(alone=True) as session:
        kept = Kept(next_number(session), str(uuid.uuid4()), events, standing)
        write_case(session, kept)
        if likeness is not None:
            write_likeness(session, kept.number, likeness)
        if customer is not None:
            write_customer(session, kept.number, customer)
    return kept


def next_number(session: Session) -> int:
    """The number of the next case; nobody else opens one before this transaction ends."""
    row = session.one("SELECT COALESCE(MAX(number), 0) + 1 FROM cases")
    assert row is not None
    return int(row[0])


def write_case(session: Session, kept: Kept, already: int = 0) -> None:
    """Write a case's line and its events after the first `already` ones."""
    write_summary(session, kept.number, kept.uid, kept.events, kept.standing)
    write_events(session, kept.number, kept.events[already:])


def append(
    book: Book,
    number: int,
    payloads: Sequence[Payload],
    *,
    based_on: int | None = None,
    by: str = "",
    on_top: bool = False,
    likeness: Likeness | None = None,
) -> Kept:
    """Add events to a case's journal, all of them or none, and give the case as it then stands.

    `based_on`: the revision that the writer had seen. Where somebody else wrote since, nothing is written and BookMoved
    says what they wrote; `on_top` writes all the same, after theirs. Raises UsageError for what makes no sense there.
    """
    with book.database.writing(alone=likeness is not None) as session:
        kept = append_within(session, number, payloads, based_on=based_on, by=by, on_top=on_top)
        if likeness is not None:
            write_likeness(session, number, likeness)
    return kept


def append_within(
    session: Session,
    number: int,
    payloads: Sequence[Payload],
    *,
    based_on: int | None = None,
    by: str = "",
    on_top: bool = False,
) -> Kept:
    """The same within a transaction that writes."""
    kept = _read(session, number, lock="" if session.dialect == "sqlite" else " FOR UPDATE")
    if based_on is not None and not 1 <= based_on <= kept.revision:
        raise UsageError(f"case {number} has no revision {based_on}; it stands at {kept.revision}")
    retells = any(isinstance(each, Retold) for each in payloads)
    if based_on is not None and based_on < kept.revision and (retells or not on_top):
        raise BookMoved(_what_moved(kept, based_on, payloads))
    if not payloads:
        return kept
    at = now()
    added = [Event(kept.revision + step, at, by, payload) for step, payload in enumerate(payloads, start=1)]
    events = (*kept.events, *added)
    after = Kept(number, kept.uid, events, fold(events))
    write_case(session, after, already=kept.revision)
    return after


def _what_moved(kept: Kept, based_on: int, yours: Sequence[Payload]) -> str:
    """What others wrote, and how to go on: each way is one that what is `yours` can go."""
    theirs = kept.events[based_on:]
    lines = "; ".join(f"revision {event.revision}: {event.kind}, by {event.by or 'somebody'}" for event in theirs)
    return (
        f"Case {kept.number} has moved on: you started from revision {based_on}, and since then there is {lines}. "
        f"Nothing of yours was written. {_way_on(kept, yours)}"
    )


def _way_on(kept: Kept, yours: Sequence[Payload]) -> str:
    if any(isinstance(each, Retold) for each in yours):
        return (
            "Yours tells the whole case anew, so it cannot go on top of theirs: write the case as it stands "
            f"('diag book write {kept.number} FILE'), change that, and keep it."
        )
    if any(isinstance(each, Closed | Undo) for each in yours):
        return f"Look at it again ('diag book show'); then give the same with --on {kept.revision}."
    return "Look at it again ('diag book show'), or add yours on top of theirs ('--on-top')."


def read_kept(book: Book, number: int) -> Kept:
    """A case with its journal. Raises UsageError where the book has no such case."""
    with book.database.reading() as session:
        return _read(session, number, lock="")


def journal(book: Book, number: int) -> tuple[Event, ...]:
    """The events of a case, first to last. Raises UsageError where the book has no such case."""
    return read_kept(book, number).events


def standing_of(book: Book, number: int, revision: int | None = None) -> Standing:
    """How a case stands, or stood at an earlier revision."""
    events = journal(book, number)
    if revision is not None and not 1 <= revision <= len(events):
        raise UsageError(f"case {number} has no revision {revision}; it stands at {len(events)}")
    return fold(events[:revision])


def number_of(book: Book, uid: str) -> int | None:
    """The number in this book of the case with a `uid`; none where it is not here."""
    with book.database.reading() as session:
        row = session.one("SELECT number FROM cases WHERE uid = :uid", uid=uid)
    return int(row[0]) if row is not None else None


def _read(session: Session, number: int, lock: str) -> Kept:
    row = session.one(f"SELECT uid FROM cases WHERE number = :number{lock}", number=number)
    if row is None:
        raise UsageError(f"the book has no case {number}; 'diag book list' shows the cases it has")
    events = events_of(session, number)
    return Kept(number, row[0], events, fold(events))


def events_of(session: Session, number: int) -> tuple[Event, ...]:
    """The journal of a case within a transaction."""
    rows = session.rows(
        "SELECT revision, kind, at, by_whom, data FROM events WHERE number = :number ORDER BY revision", number=number
    )
    return tuple(
        Event(revision, at, by, payload_of(kind, data, f"case {number}, revision {revision}"))
        for revision, kind, at, by, data in rows
    )
