"""The commands of the book: keep, list, show, find, like, write; those that change a case or a whole book are beside.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError, counted, did_you_mean, is_there
from diag.cli import commands_book_case, commands_book_whole
from diag.cli.book import BookName, ByWhom, Number, case_number, show_case
from diag.cli.inputs import BOOK_SIGN, read_case, read_knowledge
from diag.cli.options import CaseName, Json, KnowledgeFolder, Overlays
from diag.cli.output import show
from diag.cli.pasting import WorkedWith

if TYPE_CHECKING:
    from diag.knowledge_base import Knowledge
    from diag.store import Book, Kept, Payload, Wanted

__all__ = ["add_to"]

MOST = 100_000
Most = Annotated[int, typer.Option("--most", metavar="N", min=1, max=MOST, help="Show at most so many.")]


def add_to(app: typer.Typer) -> None:
    """Add `book` with its commands."""
    group = typer.Typer(help="The book of cases: keep, find, close, compare, back up.", no_args_is_help=True)
    group.command()(keep)
    group.command(name="list")(list_cases)
    group.command(name="show")(show_one)
    group.command()(find)
    group.command()(like)
    group.command()(write)
    commands_book_case.add_to(group)
    commands_book_whole.add_to(group)
    app.add_typer(group, name="book", rich_help_panel=None)


def keep(
    file: CaseName,
    into: Annotated[
        str | None, typer.Option("--into", metavar="CASE", help="Add what is new to this case instead of a new one.")
    ] = None,
    based_on: Annotated[
        int | None, typer.Option("--on", metavar="REVISION", help="With --into: the revision that you had seen.")
    ] = None,
    on_top: Annotated[
        bool, typer.Option("--on-top", help="Write even where somebody else wrote since, on top of theirs.")
    ] = False,
    name: Annotated[str, typer.Option("--customer", metavar="NAME", help="The customer; kept apart, erasable.")] = "",
    plate: Annotated[str, typer.Option("--plate", metavar="PLATE", help="The number plate; likewise.")] = "",
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Keep a case: a new one, or what is new in a case that is kept already (--into)."""
    from diag.cli.work import likeness
    from diag.report import BOOK, BOOK_DONE
    from diag.store import Customer, Draft, changes, note_customer, open_book, opening, standing_of
    from diag.store import keep as keep_case

    known = read_knowledge(knowledge, overlay)
    case = read_case(file, known)
    alike = likeness(known, case)
    customer = Customer(name, plate) if name or plate else None
    notes = [BOOK["unweighed"]] if alike is None else []
    with open_book(book) as opened:
        if into is None:
            if based_on is not None or on_top:
                raise UsageError("--on and --on-top go with --into CASE")
            kept = keep_case(opened, opening(Draft.of(case, known)), by, alike, customer)
            done = BOOK_DONE["kept"].format(number=kept.number)
        else:
            seen = standing_of(opened, case_number(into), based_on)
            steps = changes(seen.draft, Draft.of(case, known))
            kept = _add(opened, known, case_number(into), steps, seen.revision, by, on_top)
            if customer is not None:
                note_customer(opened, kept.number, customer)
            done = BOOK_DONE["added"].format(number=kept.number, count=counted(len(steps))) if steps else ""
            notes += [] if steps else [BOOK["unchanged"]]
        show_case(opened, known, kept, as_json, WorkedWith(overlay, knowledge, book), done=done, notes=notes)


def _add(
    book: Book, known: Knowledge, number: int, steps: Sequence[Payload], based_on: int, by: str, on_top: bool
) -> Kept:
    """Add to a case; what it is compared by is that of the case with all that others wrote."""
    from diag.cli.work import likeness
    from diag.store import append, case_of

    kept = append(book, number, steps, based_on=based_on, by=by, on_top=on_top)
    return append(book, number, (), likeness=likeness(known, case_of(kept, known)))


def list_cases(
    engine: Annotated[str, typer.Option("--engine", metavar="ENGINE", help="Only of this engine.")] = "",
    is_open: Annotated[
        bool | None, typer.Option("--open/--closed", help="Only open ones, or only closed ones.")
    ] = None,
    found: Annotated[
        str, typer.Option("--found", metavar="COMPONENT", help="Only those where a fault of it was found.")
    ] = "",
    since: Annotated[str, typer.Option("--since", metavar="DATE", help="Opened on this day or later.")] = "",
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="Opened on this day or before.")] = "",
    most: Most = 50,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """List the cases, newest first."""
    from diag.store import Wanted

    wanted = Wanted(engine=engine, is_open=is_open, found=found, since=since, until=until, most=most)
    _show_found(wanted, as_json, book, read_knowledge(knowledge, overlay))


def find(
    words: Annotated[list[str], typer.Argument(metavar="WORDS...", help="Words, or beginnings of words.")],
    is_open: Annotated[
        bool | None, typer.Option("--open/--closed", help="Only open ones, or only closed ones.")
    ] = None,
    most: Most = 50,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Find cases by words: in titles, notes, findings, what was found; or by customer and plate."""
    from diag.store import Wanted

    wanted = Wanted(is_open=is_open, words=" ".join(words), most=most)
    _show_found(wanted, as_json, book, read_knowledge(knowledge, overlay))


def _show_found(wanted: Wanted, as_json: bool, place: str | None, known: Knowledge) -> None:
    from diag.report import book_list_blocks, book_list_sheet
    from diag.store import Wanted, find_cases, open_book

    with open_book(place, make=False) as book:
        rows = find_cases(book, wanted)
        if not rows and wanted.found and not find_cases(book, Wanted(found=wanted.found, most=1)):
            _refuse_unknown("component", wanted.found, [*known.components])
        if not rows and wanted.engine and not find_cases(book, Wanted(engine=wanted.engine, most=1)):
            there = {row.engine for row in find_cases(book, Wanted(most=MOST))}
            _refuse_unknown("engine", wanted.engine, [*known.engines, *sorted(there - set(known.engines))])
        sheet = book_list_sheet(known, rows, book.database.shown, wanted.most)
    show(sheet, book_list_blocks, as_json)


def _refuse_unknown(what: str, name: str, known: Sequence[str]) -> None:
    """Of a name that nothing has nothing is found, and it is a slip: raises UsageError with the nearest."""
    if name not in known:
        hint = did_you_mean(name, known)
        raise UsageError(f"there is no {what} '{name}', in the book or the knowledge" + (f"; {hint}" if hint else ""))


def show_one(
    case: Number,
    journal: Annotated[bool, typer.Option("--journal", help="Show its journal, event by event.")] = False,
    customer: Annotated[bool, typer.Option("--customer", help="Show who the customer is.")] = False,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Show a case: how it stands, how it ended, its journal."""
    from diag.store import customer_of, open_book, read_kept

    known, number = read_knowledge(knowledge, overlay), case_number(case)
    with open_book(book, make=False) as opened:
        who = customer_of(opened, number) if customer else None
        show_case(
            opened,
            known,
            read_kept(opened, number),
            as_json,
            WorkedWith(overlay, knowledge, book),
            customer=who,
            journal=journal,
        )


def like(
    case: CaseName,
    most: Most = 10,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Find cases like this one, by the chances of their faults and by their findings, with what was found then."""
    from diag.cli.work import likeness
    from diag.report import book_like_blocks, book_like_sheet
    from diag.store import case_of, open_book, read_kept, rows_of, similar_cases

    known = read_knowledge(knowledge, overlay)
    itself = case_number(case) if _is_number(case) else None
    with open_book(book, make=False) as opened:
        asked = case_of(read_kept(opened, itself), known) if itself is not None else read_case(case, known)
        alike = likeness(known, asked)
        if alike is None:
            raise UsageError(
                "what this case says cannot all be true at once, so it cannot be compared; look at it again"
            )
        found = similar_cases(opened, alike, most, besides=itself)
        rows = rows_of(opened, [each.number for each in found])
    show(book_like_sheet(known, case, found, rows), book_like_blocks, as_json)


def _is_number(case: str) -> bool:
    return case.startswith(BOOK_SIGN) or (case.isdecimal() and not is_there(case))


def write(
    case: Number,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The case file to write.")],
    replace_it: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Write a case of the book as a case file."""
    from diag.casebook import save_case
    from diag.report import BookDoneSheet, book_done_blocks
    from diag.store import case_of, open_book, read_kept

    known = read_knowledge(knowledge, overlay)
    with open_book(book, make=False) as opened:
        kept = read_kept(opened, case_number(case))
        engine = save_case(case_of(kept, known), file, overwrite=replace_it)
        beside = str(engine) if engine is not None else ""
        sheet = BookDoneSheet("write", str(file), {}, opened.database.shown, (kept.number,), engine=beside)
    show(sheet, book_done_blocks, as_json)
