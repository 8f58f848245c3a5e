"""The commands that play a practice case: step by step, or in a conversation.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.pasting import WorkedWith
from diag.cli.practice import belief_from, place_from, plan_from, show_state

if TYPE_CHECKING:
    from diag.knowledge_base import Knowledge
    from diag.training import Bench, Seat

__all__ = ["add_to"]

JournalFile = Annotated[Path, typer.Argument(metavar="JOURNAL", help="The journal of a practice case.")]
WorkNames = Annotated[
    list[str], typer.Argument(metavar="WORK...", help="Such as reseal@2, reseal@1,3 or replace_filter.")
]


def add_to(group: typer.Typer) -> None:
    """Add the commands."""
    for command in (show, ask, fit, sure, plan, play):
        group.command()(command)


def show(
    journal: JournalFile, as_json: Json = False, overlay: Overlays = None, knowledge: KnowledgeFolder = None
) -> None:
    """Show what is known, what can be asked for, and what was spent."""
    from diag.training import load_journal

    known = read_knowledge(knowledge, overlay)
    show_state(known, load_journal(journal, known), as_json)


def ask(
    journal: JournalFile,
    check: Annotated[str, typer.Argument(metavar="CHECK", help="Id of a check.")],
    place: Annotated[str, typer.Argument(metavar="[WHERE]", help="Cylinder or bank, where it is done at one.")] = "",
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Do a check: pay for it and get its answers."""
    from diag.training import ask as asked

    known = read_knowledge(knowledge, overlay)
    _step(known, journal, as_json, lambda bench, seat: asked(bench, seat, check, place_from(place)))


def fit(
    journal: JournalFile,
    work: WorkNames,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Fit parts and see whether that helps."""
    from diag.training import fit as fitted

    known = read_knowledge(knowledge, overlay)

    def done(bench: Bench, seat: Seat) -> Seat:
        return fitted(bench, seat, plan_from(known, bench.start, work))

    _step(known, journal, as_json, done)


def sure(
    journal: JournalFile,
    said: Annotated[list[str], typer.Argument(metavar="FAULT [WHERE] PERCENT", help="Such as seal 2 80.")],
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Say how sure you are of a fault."""
    from diag.training import believe

    known = read_knowledge(knowledge, overlay)
    _step(known, journal, as_json, lambda bench, seat: believe(bench, seat, (belief_from(said),)))


def plan(
    journal: JournalFile,
    work: WorkNames,
    words: Annotated[str, typer.Option("--words", metavar="TEXT", help="What the customer is told.")] = "",
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """End the case with a plan ('nothing': nothing now) and what the customer is told."""
    from diag.training import decide

    known = read_knowledge(knowledge, overlay)

    def done(bench: Bench, seat: Seat) -> Seat:
        return decide(bench, seat, plan_from(known, bench.start, work), words)

    _step(known, journal, as_json, done)


def play(journal: JournalFile, overlay: Overlays = None, knowledge: KnowledgeFolder = None) -> None:
    """Play a case in a conversation; it can be broken off and taken up again."""
    from diag.cli.practice_talk import converse
    from diag.cli.talk_terminal import Terminal
    from diag.training import load_journal

    known = read_knowledge(knowledge, overlay)
    converse(known, journal, load_journal(journal, known), Terminal(), WorkedWith(overlay, knowledge))


def _step(known: Knowledge, path: Path, as_json: bool, done: Callable[[Bench, Seat], Seat]) -> None:
    """One step, written before it is shown."""
    from diag.training import Bench, load_journal, save_journal

    journal = load_journal(path, known)
    bench = Bench.of(known, journal.seat.play.practice)
    after = replace(journal, seat=done(bench, journal.seat))
    save_journal(path, after)
    show_state(known, after, as_json, brief=True)
