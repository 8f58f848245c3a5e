"""What the commands of the book share: which book, which case, and how a case is shown. Other rooms inside functions.

May import: typer, `diag.basics`, and the modules of this room below.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import CaseError, Problem, UsageError
from diag.cli.inputs import BOOK_SIGN
from diag.cli.output import show
from diag.cli.pasting import WorkedWith

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge
    from diag.store import Book, Customer, Kept

__all__ = ["BookName", "ByWhom", "Number", "case_from_book", "case_number", "show_case"]

BookName = Annotated[
    str | None,
    typer.Option(
        "--book",
        metavar="BOOK",
        help="The book: a file, or the URL of a PostgreSQL database; else what DIAG_BOOK says, else the one in the "
        "user's data folder.",
    ),
]
ByWhom = Annotated[
    str, typer.Option("--by", metavar="NAME", envvar="DIAG_BY", help="Who writes this; stands in the journal.")
]
Number = Annotated[str, typer.Argument(metavar="CASE", help="A case of the book, such as 17 or book:17.")]

_MOST_DIGITS = 9


def case_number(text: str) -> int:
    """The number in '17' or 'book:17'. Raises UsageError."""
    digits = text.removeprefix(BOOK_SIGN)
    if not (digits.isascii() and digits.isdecimal() and len(digits) <= _MOST_DIGITS and int(digits) > 0):
        raise UsageError(f"'{text}' is no number of a case in the book; write for example 17 or book:17")
    return int(digits)


def case_from_book(name: str, knowledge: Knowledge) -> Case:
    """The case that 'book:17' names, or as it was at a revision ('book:17@5'). Raises CaseError where there is none."""
    from diag.store import case_of, open_book, read_kept

    number, at, revision = name.partition("@")
    try:
        if at and not revision.isdecimal():
            raise UsageError(f"'{revision}' is no revision; write for example book:17@5")
        asked = int(revision) if at else None
        with open_book(make=False) as book:
            kept = read_kept(book, case_number(number))
        if asked is not None and not 1 <= asked <= kept.revision:
            raise UsageError(f"case {kept.number} has no revision {asked}; it stands at {kept.revision}")
        return case_of(kept, knowledge, asked)
    except UsageError as error:
        message, _, hint = error.message.partition("; ")
        raise CaseError([Problem(name, 0, 0, message, hint)]) from None


def show_case(
    book: Book,
    knowledge: Knowledge,
    kept: Kept,
    as_json: bool,
    given: WorkedWith,
    *,
    done: str = "",
    notes: Sequence[str] = (),
    customer: Customer | None = None,
    journal: bool = False,
    take_back: str = "",
) -> None:
    """Print a case of the book, and how to go on with it with what the command was given."""
    from diag.report import book_case_blocks, book_case_sheet
    from diag.store import Linked, come_backs_of, number_of, rows_of

    links = {event.payload.uid for event in kept.events if isinstance(event.payload, Linked)}
    found = {uid: number_of(book, uid) for uid in links}
    sheet = book_case_sheet(
        knowledge,
        kept,
        rows_of(book, (kept.number,))[0],
        book.database.shown,
        done=done,
        notes=notes,
        came_back_in=come_backs_of(book, kept.uid),
        customer=customer,
        journal=journal,
        numbers={uid: number for uid, number in found.items() if number is not None},
    )
    go_on = given.on(f"{BOOK_SIGN}{kept.number}")("advise")
    show(sheet, lambda each: book_case_blocks(each, go_on, take_back), as_json)
