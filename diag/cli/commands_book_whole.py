"""The commands about a whole book: backup, restore, export, import.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diag.cli.book import BookName, case_number
from diag.cli.options import Json
from diag.cli.output import show

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
    """Copy the book and its attachments into one file, also while others write."""
    from diag.store import back_up, open_book

    with open_book(book, make=False) as opened:
        done, place = back_up(opened, file, replace), opened.database.shown
    missing = tuple((each.number, each.attached.name) for each in done.missing)
    _show("backup", file, {"cases": done.cases}, place, as_json, missing)


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
    """Write everything in an open form: JSON lines, CSV, and the attachments as files."""
    from diag.store import export_book, open_book

    with open_book(book, make=False) as opened:
        done, place = export_book(opened, folder, customers), opened.database.shown
    counts = {"cases": done.cases, "events": done.events, "files": done.files}
    _show("export", folder, counts | ({"customers": done.customers} if customers else {}), place, as_json)


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
    """Read an export into the book, all or nothing; what is here already is there once."""
    from diag.store import import_book, open_book

    with open_book(book) as opened:
        done, place = import_book(opened, folder, [case_number(each) for each in without or ()]), opened.database.shown
    counts = {"new": done.new, "grown": done.grown, "same": done.same, "files": done.files}
    customers = {"customers": done.customers, "erased": done.erased}
    _show("import", folder, counts | {name: count for name, count in customers.items() if count}, place, as_json)


def _show(
    what: str,
    path: Path,
    counts: dict[str, int],
    place: str,
    as_json: bool,
    missing: tuple[tuple[int, str], ...] = (),
) -> None:
    from diag.report import BookDoneSheet, book_done_blocks

    show(BookDoneSheet(what, str(path), counts, place, (), missing), book_done_blocks, as_json)
