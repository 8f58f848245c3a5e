"""Who the customer is: optional, in a table apart, in no journal and no export, and erased without a trace.

May import: `diag.basics`, and within the room what is below.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import UsageError
from diag.store.book import Book, Kept, append_within, read_kept
from diag.store.records import Customer, Erased
from diag.store.rows import write_customer
from diag.store.sql import Session

__all__ = ["Erasure", "customer_of", "erase_customer", "note_customer", "scrub"]


@dataclass(frozen=True)
class Erasure:
    """What came of erasing. `scrubbed`: no copy is left in the book's files, either; else another program had the book
    open, or a server keeps copies of its own. `also_in`: revisions whose own text holds the name or the plate."""

    kept: Kept
    was_there: bool
    scrubbed: bool
    also_in: tuple[int, ...]


def note_customer(book: Book, number: int, customer: Customer) -> None:
    """Note who the customer of a case is, in place of what was noted before."""
    read_kept(book, number)
    with book.database.writing() as session:
        write_customer(session, number, customer)


def customer_of(book: Book, number: int) -> Customer | None:
    """Who the customer is; none where that was never told, or is erased."""
    with book.database.reading() as session:
        row = session.one("SELECT name, plate FROM customers WHERE number = :number", number=number)
    return Customer(*row) if row is not None else None


def erase_customer(book: Book, number: int, by: str = "") -> Erasure:
    """Erase name and plate; the journal stays, and says that this was done. Erasing again scrubs the files again.

    Raises UsageError where the book has no such case, or never knew its customer.
    """
    customer, kept = customer_of(book, number), read_kept(book, number)
    if customer is None and not any(isinstance(event.payload, Erased) for event in kept.events):
        raise UsageError(f"the book knows no customer of case {number}")
    also_in: tuple[int, ...] = ()
    if customer is not None:
        with book.database.writing() as session:
            session.run("DELETE FROM customers WHERE number = :number", number=number)
            also_in = _said_in(session, number, customer)
            kept = append_within(session, number, (Erased(),), by=by)
    return Erasure(kept, customer is not None, scrub(book), also_in)


def _said_in(session: Session, number: int, customer: Customer) -> tuple[int, ...]:
    """The revisions of the case whose own text names the customer all the same."""
    names = [name.lower() for name in (customer.name, customer.plate) if name.strip()]
    rows = session.rows("SELECT revision, data FROM events WHERE number = :number ORDER BY revision", number=number)
    return tuple(revision for revision, data in rows if any(name in data.lower() for name in names))


def scrub(book: Book) -> bool:
    """Write the files anew, so that no page, free or half free, holds what was deleted; whether that was possible.

    Deleting overwrites already (`secure_delete`); what moves when pages are split is caught by writing all anew, and
    the log of pages is emptied. On a server the table is written anew; its own log and backups are its keeper's.
    """
    if book.database.is_server:
        with book.database.outside() as session:
            session.run("VACUUM FULL customers")
        return False
    with book.database.raw() as connection:
        connection.execute("VACUUM")
        busy, _, _ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    return not busy
