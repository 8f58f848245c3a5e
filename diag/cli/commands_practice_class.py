"""The commands that look back: the debrief of one case, and the class.

May import: typer and rich; the other rooms only inside functions.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.output import refuse_taken, show

__all__ = ["add_to"]

JournalFile = Annotated[Path, typer.Argument(metavar="JOURNAL", help="The journal of a case that has ended.")]
Doubt = Annotated[
    int,
    typer.Option(
        "--doubt",
        metavar="N",
        min=0,
        help="How often to draw the numbers again, to see which differences are within their own doubt; 0: not.",
    ),
]
HtmlFile = Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write it as HTML, to be printed.")]
PdfFile = Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Write it as PDF.")]
Replace = Annotated[bool, typer.Option("--replace", help="Write over files that are already there.")]


def add_to(group: typer.Typer) -> None:
    """Add the commands."""
    group.command()(debrief)
    group.command(name="class")(class_folder)


def debrief(
    journal: JournalFile,
    doubt: Doubt = 8,
    html: HtmlFile = None,
    pdf: PdfFile = None,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Look back at an ended case: step by step what was known, what was best, and what the choices came to."""
    from diag.basics import write_whole
    from diag.report import debrief_blocks, debrief_sheet, trainee_html, trainee_pdf
    from diag.training import Bench, load_journal
    from diag.training import debrief as looked_back

    refuse_taken([path for path in (html, pdf) if path is not None], replace)
    known = read_knowledge(knowledge, overlay)
    read = load_journal(journal, known)
    with _progress() as told:
        found = looked_back(Bench.of(known, read.seat.play.practice), read.seat, doubt, told)
    sheet = debrief_sheet(known, read.seat, found, read.trainee, doubt)
    if html is not None:
        write_whole(html, trainee_html(read.trainee, (sheet,)), overwrite=replace)
    if pdf is not None:
        write_whole(pdf, trainee_pdf(read.trainee, (sheet,)), overwrite=replace)
    show(sheet, debrief_blocks, as_json)


def class_folder(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder of journals.")],
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write every choice to this file.")] = None,
    pages: Annotated[
        Path | None, typer.Option("--pages", metavar="FOLDER", help="Write a page for each trainee into this folder.")
    ] = None,
    doubt: Doubt = 8,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Compare the journals of a class: progress, cases, and what goes wrong again and again."""
    from diag.basics import counted, write_whole
    from diag.report import PRACTICE_CLASS, Sentence, class_blocks, class_csv, class_sheet, print_blocks, trainee_pages
    from diag.training import class_of

    known = read_knowledge(knowledge, overlay)
    refuse_taken([csv] if csv is not None else [], replace)
    with _progress() as told:
        found = class_of(known, folder, doubt, told)
    made = trainee_pages(known, found, doubt) if pages is not None else {}
    if pages is not None:
        pages.mkdir(parents=True, exist_ok=True)
        refuse_taken([pages / name for name in made], replace)
        for name, text in made.items():
            write_whole(pages / name, text, overwrite=replace)
    if csv is not None:
        write_whole(csv, class_csv(known, found), overwrite=replace)
    show(class_sheet(known, found), class_blocks, as_json)
    if not as_json:
        if csv is not None:
            print_blocks([Sentence(PRACTICE_CLASS["csv"].format(path=csv))])
        if pages is not None:
            print_blocks([Sentence(PRACTICE_CLASS["pages"].format(count=counted(len(made)), folder=pages))])


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar on the error stream, where that is a terminal; nothing elsewhere."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from diag.report import PRACTICE_CLASS

    columns = (TextColumn(PRACTICE_CLASS["progress"]), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=Console(file=sys.stderr), transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
