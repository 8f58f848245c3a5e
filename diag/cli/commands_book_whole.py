"""The commands about a whole book: backup, restore, export, import.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.book import BookName, case_number
from diag.cli.exits import ExitCode
from diag.cli.options import Json
from diag.cli.output import show

if TYPE_CHECKING:
    from diag.store import Book, Missing

__all__ = ["add_to"]


def add_to(group: typer.Typer) -> None:
    """Add the commands of this module."""
    group.command()(backup)
    group.command()(restore)
    group.command(name="export")(export)
    group.command(name="import")(import_folder)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write, such as book.zip.")],
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
    as_json: Json = False,
    book: BookName = None,
) -> None:
    """Copy the book and its attachments into one file, also while others write; ends with exit code 11 where some of
    the attachments are lost, and names them."""
    from diag.store import back_up, open_book

    with open_book(book, make=False) as opened:
        done = back_up(opened, file, replace)
        _tell("backup", file, {"cases": done.cases}, opened, as_json, done.missing)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    replace: Annotated[bool, typer.Option("--replace", help="Write over a book that has cases.")] = False,
    as_json: Json = False,
    book: BookName = None,
) -> None:
    """Make the book what it was in a backup; never over a book with cases unless told."""
    from diag.store import book_place
    from diag.store import restore as restore_book

    place = book_place(book)
    _show("restore", file, {"cases": restore_book(place, file, replace)}, place, as_json)


def export(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder to make.")],
    customers: Annotated[
        bool, typer.Option("--with-customers", help="Also who the customers are; never without this.")
    ] = False,
    as_json: Json = False,
    book: BookName = None,
) -> None:
    """Write everything in an open form: JSON lines, CSV, and the attachments as files; ends with exit code 11 where
    some of these are lost, and names them."""
    from diag.store import export_book, open_book

    with open_book(book, make=False) as opened:
        done = export_book(opened, folder, customers)
        counts = {"cases": done.cases, "events": done.events, "files": done.files}
        counts |= {"customers": done.customers} if customers else {}
        _tell("export", folder, counts, opened, as_json, done.missing)


def import_folder(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder of an export.")],
    without: Annotated[
        list[str] | None,
        typer.Option(
            "--without", metavar="CASE", help="Leave this case of the book as it is; may be given several times."
        ),
    ] = None,
    as_json: Json = False,
    book: BookName = None,
) -> None:
    """Read an export into the book, all or nothing; what is here already is there once. Ends with exit code 11 where
    attachments are lost, and names them."""
    from diag.store import import_book, open_book

    with open_book(book) as opened:
        done = import_book(opened, folder, [case_number(each) for each in without or ()])
        counts = {"new": done.new, "grown": done.grown, "same": done.same, "files": done.files}
        customers = {"customers": done.customers, "erased": done.erased}
        counts |= {name: count for name, count in customers.items() if count}
        _tell("import", folder, counts, opened, as_json, done.missing)


def _tell(what: str, path: Path, counts: dict[str, int], book: Book, as_json: bool, missing: Sequence[Missing]) -> None:
    """What was done; with an exit code of its own where attachments are missing, so that a nightly job notices."""
    lost = tuple((each.number, each.attached.name) for each in missing)
    _show(what, path, counts, book.database.shown, as_json, lost, str(book.files))
    if lost:
        raise typer.Exit(ExitCode.INCOMPLETE)


def _show(
    what: str,
    path: Path,
    counts: dict[str, int],
    place: str,
    as_json: bool,
    missing: tuple[tuple[int, str], ...] = (),
    files: str = "",
) -> None:
    from diag.report import BookDoneSheet, book_done_blocks

    show(BookDoneSheet(what, str(path), counts, place, (), missing, files), book_done_blocks, as_json)
