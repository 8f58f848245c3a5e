"""The command that says why. May import: typer; the other rooms only inside functions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from diag.cli.inputs import read_case, read_knowledge
from diag.cli.options import CaseName, Everything, Json, KnowledgeFolder, Overlays
from diag.cli.output import show
from diag.cli.pasting import WorkedWith

__all__ = ["add_to", "with_places_joined"]

RATHER_THAN = "--rather-than"


def with_places_joined(arguments: Sequence[str]) -> list[str]:
    """The arguments with the place that may follow `--rather-than FAULT` joined to the fault, as one value."""
    joined = list(arguments)
    for at in [at for at, word in enumerate(joined) if word == RATHER_THAN][:1]:
        if at + 2 < len(joined) and _is_place(joined[at + 2]):
            joined[at + 1 : at + 3] = [f"{joined[at + 1]} {joined[at + 2]}"]
    return joined


def _is_place(word: str) -> bool:
    return word.isdecimal() or (len(word) == 1 and word.isalpha()) or word.lower() == "vehicle"


FaultName = Annotated[
    str | None,
    typer.Argument(
        metavar="[FAULT]",
        help="Id of a component, such as seal, or of its states, such as seal:blown; without it, the likeliest fault.",
    ),
]
PlaceName = Annotated[
    str | None,
    typer.Argument(
        metavar="[PLACE]", help="Cylinder number, bank letter, or 'vehicle'; without it, where it is likeliest."
    ),
]
RatherThan = Annotated[
    str | None,
    typer.Option(
        RATHER_THAN,
        metavar="FAULT [PLACE]",
        help="Say why the first and not this one; without it, the strongest rival.",
    ),
]
AdviceToo = Annotated[
    bool, typer.Option("--advice", help="Say too what the advice rests on and what would turn it (this takes longer).")
]


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(why)


def why(
    case: CaseName,
    fault: FaultName = None,
    place: PlaceName = None,
    rather_than: RatherThan = None,
    advice: AdviceToo = False,
    everything: Everything = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Say why: what speaks for a fault and against it, and why it and not another."""
    from diag.cli.work import why_of
    from diag.report import why_blocks

    known = read_knowledge(knowledge, overlay)
    words = " ".join(part for part in (fault, place) if part)
    sheet = why_of(known, read_case(case, known), words, rather_than or "", advice)
    show(sheet, lambda each: why_blocks(each, everything, onward=WorkedWith(overlay, knowledge).on(case)), as_json)
