"""The command that doubts the advice. May import: typer; the other rooms only inside functions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from diag.cli.inputs import read_case, read_knowledge
from diag.cli.options import CaseName, Everything, Json, KnowledgeFolder, Overlays
from diag.cli.output import show

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge

__all__ = ["DRAWS", "WithDoubt", "add_to", "doubt_of"]

DRAWS = 200

Draws = Annotated[int, typer.Option("--draws", min=1, max=100_000, help="How often all numbers are drawn again.")]
Seed = Annotated[int, typer.Option("--seed", min=0, help="Seed of the draws; the same seed gives the same draws.")]
WithDoubt = Annotated[
    bool, typer.Option("--doubt", help="Say too whether the advice stands when its numbers are drawn again (slow).")
]


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(doubt)


def doubt(
    case: CaseName,
    draws: Draws = DRAWS,
    seed: Seed = 1,
    everything: Everything = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Doubt the advice: whether it stands, which numbers matter, where another option wins."""
    from diag.doubt import default_workers
    from diag.doubt import doubt as doubted
    from diag.report import doubt_blocks, doubt_sheet

    known = read_knowledge(knowledge, overlay)
    found = doubted(known, read_case(case, known), draws, seed, default_workers())
    show(doubt_sheet(found), lambda each: doubt_blocks(each, everything), as_json)


def doubt_of(knowledge: Knowledge, case: Case) -> str:
    """One sentence about the doubt of the advice."""
    from diag.doubt import default_workers
    from diag.doubt import doubt as doubted
    from diag.report import doubt_sentence

    return doubt_sentence(doubted(knowledge, case, DRAWS, 1, default_workers()))
