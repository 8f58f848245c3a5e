"""The commands that learn from the book and score against it. May import: typer; the other rooms inside functions."""

from __future__ import annotations

import os
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.book import BookName
from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.output import refuse_taken, show

if TYPE_CHECKING:
    from diag.knowledge_base import Knowledge
    from diag.learning import Lesson

__all__ = ["add_to"]

LARGE = 1000  # cases from which on ages are rounded, so that cases can be done together
STEP = 0.1


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(learn)
    app.command(name="score-book")(score_book)


def learn(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write what was learned as an overlay to this file.")
    ] = None,
    replace_it: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
    least: Annotated[
        float, typer.Option("--least", metavar="N", min=1, help="Leave a figure as it is that fewer cases bear upon.")
    ] = 5.0,
    turns: Annotated[
        int, typer.Option("--turns", metavar="N", min=1, max=200, help="How often to go through all cases.")
    ] = 12,
    cluster: Annotated[
        str, typer.Option("--cluster", metavar="ADDRESS", help="Work on the Dask cluster at this address instead.")
    ] = "",
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Learn from the closed cases of the book: shows what would change; applies nothing."""
    from diag.basics import counted
    from diag.learning import Rules, save_overlay
    from diag.learning import learn as learn_from
    from diag.report import LEARN, learn_blocks, learn_sheet

    refuse_taken([out] if out is not None else [], replace_it)
    known = read_knowledge(knowledge, overlay)
    lessons, shown = _lessons(book, known)
    rules = Rules(
        least=least,
        turns=turns,
        processes=min(os.cpu_count() or 1, 8) if len(lessons) >= LARGE else 1,
        age_step=STEP if len(lessons) >= LARGE else 0.0,
        cluster=cluster,
    )
    learned = learn_from(known, lessons, rules)
    sheet = learn_sheet(learned, shown, str(out) if out is not None else "")
    if out is not None:
        newest = max((lesson.closed_at for lesson in lessons), default="")[:10]
        head = LEARN["head"].format(cases=counted(learned.cases), newest=newest or "-")
        save_overlay(learned, out, (head, *sheet.assumed), replace_it)
    show(sheet, partial(learn_blocks, least=least), as_json)


def score_book(
    learn_every: Annotated[
        int,
        typer.Option("--learn-every", metavar="N", min=0, help="Learn anew after so many cases, from those before."),
    ] = 0,
    advice: Annotated[
        bool, typer.Option("--advice", help="Compare cases in which advice was followed with others (takes longer).")
    ] = False,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="Write the reliability diagram here, as SVG.")
    ] = None,
    replace_it: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
    as_json: Json = False,
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Score the predictions for the closed cases of the book, each as it stood before it was closed."""
    from diag.basics import write_whole
    from diag.learning import foretell
    from diag.report import reliability_picture, score_blocks, score_sheet

    refuse_taken([picture] if picture is not None else [], replace_it)
    known = read_knowledge(knowledge, overlay)
    lessons, shown = _lessons(book, known)
    foretold = foretell(known, lessons, learn_every, advice)
    sheet = score_sheet(known, foretold, shown, len(lessons), str(picture) if picture is not None else "")
    if picture is not None:
        write_whole(picture, reliability_picture(sheet.reliability), overwrite=replace_it)
    show(sheet, score_blocks, as_json)


def _lessons(book: str | None, known: Knowledge) -> tuple[tuple[Lesson, ...], str]:
    from diag.learning import lessons_of
    from diag.store import closed_cases, open_book

    with open_book(book, make=False) as opened:
        return lessons_of(closed_cases(opened, known)), opened.database.shown
