"""The commands that write to one case of the book: close, undo, link, note, attach, erase-customer.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diag.basics import UsageError
from diag.cli.book import BookName, ByWhom, Number, case_number, show_case
from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.pasting import WorkedWith

__all__ = ["add_to"]

Cured = Annotated[str, typer.Option("--cured", metavar="WORD", help="yes, partly, no, or 'not known'.")]
FoundFaults = Annotated[
    list[str] | None,
    typer.Option(
        "--found",
        metavar="FAULT",
        help="What was found: component, state, place, and how sure: seen, measured (after the repair) or "
        "inferred; such as 'seal blown 2 seen'. May be given several times; left out: nothing was found.",
    ),
]
FittedWork = Annotated[
    list[str] | None,
    typer.Option(
        "--fitted", metavar="WORK", help="A repair and its place ('reseal 2') or a part ('a_part x4'); repeatable."
    ),
]
TimeSpent = Annotated[str, typer.Option("--time", metavar="TIME", help="Time actually spent, such as '95 min'.")]
MoneySpent = Annotated[
    str, typer.Option("--cost", metavar="MONEY", help="What it cost in the end, before tax, such as '269 EUR'.")
]
OnRevision = Annotated[
    int | None,
    typer.Option(
        "--on", metavar="REVISION", help="The revision that you had seen; refused where somebody wrote since."
    ),
]


def add_to(group: typer.Typer) -> None:
    """Add the commands of this module."""
    for command in (close, undo, link, note, attach):
        group.command()(command)
    group.command(name="erase-customer")(erase)


def close(
    case: Number,
    cured: Cured,
    found: FoundFaults = None,
    fitted: FittedWork = None,
    time: TimeSpent = "",
    cost: MoneySpent = "",
    remark: Annotated[str, typer.Option("--note", metavar="TEXT", help="What else there is to say.")] = "",
    based_on: OnRevision = None,
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Close a case: what was found and how sure, what was fitted, time and money spent, whether it cured."""
    from diag.cli.work import likeness
    from diag.report import BOOK_DONE
    from diag.store import Closed, Said, append, case_of, open_book, read_kept, read_outcome

    known = read_knowledge(knowledge, overlay)
    said = Said(cured, tuple(found or ()), tuple(fitted or ()), time, cost, remark)
    with open_book(book, make=False) as opened:
        kept = read_kept(opened, case_number(case))
        told = case_of(kept, known)
        step, alike = Closed(read_outcome(said, known, told.engine)), likeness(known, told)
        seen = kept.revision if based_on is None else based_on
        kept = append(opened, kept.number, (step,), based_on=seen, by=by, likeness=alike)
        show_case(opened, known, kept, as_json, WorkedWith(overlay, knowledge, book), done=BOOK_DONE["closed"])


def undo(
    case: Number,
    to: Annotated[
        int | None, typer.Option("--to", metavar="REVISION", help="Go back to this revision instead of one step.")
    ] = None,
    based_on: OnRevision = None,
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Take the last step back (a closing, too), or go to an earlier revision; the journal keeps everything."""
    from diag.cli.work import likeness
    from diag.report import BOOK_DONE
    from diag.store import Undo, append, case_of, open_book, read_kept

    known = read_knowledge(knowledge, overlay)
    with open_book(book, make=False) as opened:
        kept = read_kept(opened, case_number(case))
        back_to = to if to is not None else kept.standing.step_back
        if back_to == 0:
            raise UsageError(f"case {kept.number} stands as it was opened; there is nothing to take back")
        last = kept.revision
        known_there = 1 <= back_to < last  # else the book says what is wrong with it
        alike = likeness(known, case_of(kept, known, back_to)) if known_there else None
        seen = last if based_on is None else based_on
        kept = append(opened, kept.number, (Undo(back_to),), based_on=seen, by=by, likeness=alike)
        done, given = BOOK_DONE["undone"].format(back_to=back_to), WorkedWith(overlay, knowledge, book)
        again = given.command("book", "undo", str(kept.number), "--to", str(last))
        show_case(opened, known, kept, as_json, given, done=done, take_back=again)


def link(
    case: Annotated[str, typer.Argument(metavar="CASE", help="The later case.")],
    earlier: Annotated[str, typer.Argument(metavar="EARLIER", help="The closed case that it is a come-back of.")],
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Note that a case is a come-back of an earlier one."""
    from diag.report import BOOK_DONE
    from diag.store import Linked, append, goes_back_to, open_book, read_kept

    known = read_knowledge(knowledge, overlay)
    with open_book(book, make=False) as opened:
        later, before = read_kept(opened, case_number(case)), read_kept(opened, case_number(earlier))
        if later.number == before.number:
            raise UsageError("a case is no come-back of itself; name the earlier case second")
        if before.standing.outcome is None:
            raise UsageError(f"case {before.number} is not closed yet, so nothing can have come back from it")
        if goes_back_to(opened, before.uid, later.uid):
            raise UsageError(
                f"case {before.number} goes back to case {later.number} itself; name the earlier case second"
            )
        kept = append(opened, later.number, (Linked(before.uid),), based_on=later.revision, by=by)
        show_case(
            opened,
            known,
            kept,
            as_json,
            WorkedWith(overlay, knowledge, book),
            done=BOOK_DONE["linked"].format(number=before.number),
        )


def note(
    case: Number,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="The remark.")],
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Add a remark; it changes nothing in the case, and can be searched."""
    from diag.report import BOOK_DONE
    from diag.store import Remark, append, open_book

    if not text.strip():
        raise UsageError("the remark is empty; write it after the case, in quotes")
    known = read_knowledge(knowledge, overlay)
    with open_book(book, make=False) as opened:
        kept = append(opened, case_number(case), (Remark(text.strip()),), by=by)
        show_case(opened, known, kept, as_json, WorkedWith(overlay, knowledge, book), done=BOOK_DONE["noted"])


def attach(
    case: Number,
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Photos, logs or other files.")],
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Keep copies of files with a case."""
    from diag.report import BOOK_DONE
    from diag.store import attach as attach_file
    from diag.store import open_book

    known, number = read_knowledge(knowledge, overlay), case_number(case)
    with open_book(book, make=False) as opened:
        kept, new = attach_file(opened, number, *files, by=by)
        names = ", ".join(each.name for each in new)
        done = BOOK_DONE["attached" if new else "attached_already"].format(names=names)
        show_case(opened, known, kept, as_json, WorkedWith(overlay, knowledge, book), done=done)


def erase(
    case: Number,
    by: ByWhom = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Erase who the customer of a case is; no copy stays in the book. The journal stays."""
    from diag.report import BOOK, BOOK_DONE
    from diag.store import erase_customer, open_book

    known = read_knowledge(knowledge, overlay)
    with open_book(book, make=False) as opened:
        erasure = erase_customer(opened, case_number(case), by)
        notes = []
        if erasure.also_in:
            notes.append(BOOK["also_in"].format(revisions=", ".join(str(each) for each in erasure.also_in)))
        if not erasure.scrubbed:
            notes.append(BOOK["not_scrubbed_server" if opened.database.is_server else "not_scrubbed"])
        notes.append(BOOK["backups_hold"])
        done = BOOK_DONE["erased" if erasure.was_there else "scrubbed_again"]
        show_case(opened, known, erasure.kept, as_json, WorkedWith(overlay, knowledge, book), done=done, notes=notes)
