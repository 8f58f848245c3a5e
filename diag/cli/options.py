"""The arguments and options that commands share, with what the Tab key offers for them.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

__all__ = [
    "Cannot",
    "CaseName",
    "Detail",
    "EngineName",
    "Everything",
    "ItemName",
    "Json",
    "KindName",
    "KnowledgeFolder",
    "Overlays",
    "SideName",
    "offered_cases",
    "offered_items",
]


def _cases() -> list[str]:
    from diag.casebook import demo_cases

    return list(demo_cases())


def _engines() -> list[str]:
    from diag.knowledge_base import load_knowledge

    return list(load_knowledge().engines)


def _items() -> list[str]:
    from diag.knowledge_base import load_knowledge
    from diag.report import list_sheet

    return [line.id for line in list_sheet(load_knowledge(), None).items]


def _kinds() -> list[str]:
    from diag.report import KINDS

    return list(KINDS)


def offering(names: Callable[[], list[str]]) -> Callable[[str], list[str]]:
    """What the Tab key offers: the names that begin as typed, and none where the knowledge cannot be read."""

    def offer(incomplete: str) -> list[str]:
        from diag.basics import DiagError

        try:
            return [name for name in names() if name.startswith(incomplete)]
        except DiagError:
            return []

    return offer


offered_cases = offering(_cases)
offered_items = offering(_items)

CaseName = Annotated[
    str,
    typer.Argument(
        metavar="CASE",
        help="The path of a case file, the name of a demo case, or a case of the book, such as book:17.",
        autocompletion=offered_cases,
    ),
]
SideName = Annotated[
    str,
    typer.Option(
        "--side", metavar="SIDE", help="On whose side to choose: customer (the expected total), or workshop (its own)."
    ),
]
EngineName = Annotated[
    str | None,
    typer.Option(
        "--engine",
        metavar="ENGINE",
        help="Id of an engine, or the path of an engine file.",
        autocompletion=offering(_engines),
    ),
]
ItemName = Annotated[
    str,
    typer.Argument(
        metavar="ID",
        help="Id of anything that the knowledge holds; KIND.ID where several kinds have it, such as parts.injector.",
        autocompletion=offered_items,
    ),
]
KindName = Annotated[
    str | None,
    typer.Argument(metavar="[KIND]", help="Only this kind, such as checks.", autocompletion=offering(_kinds)),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON in the form described by 'diag know schema --form'.")]
Everything = Annotated[bool, typer.Option("--all", help="Leave nothing out of the tables.")]
Detail = Annotated[bool, typer.Option("--detail", help="Show every listed check in full, with its cautions.")]
Overlays = Annotated[
    list[Path] | None,
    typer.Option(
        "--overlay",
        metavar="FILE",
        help="A workshop's own knowledge file, laid over what ships; may be given several times.",
    ),
]
KnowledgeFolder = Annotated[
    Path | None, typer.Option("--knowledge", metavar="FOLDER", help="Use this knowledge folder instead of what ships.")
]
Cannot = Annotated[
    list[str] | None,
    typer.Option(
        "--cannot",
        metavar="CHECK|TOOL",
        help="A check not possible here (its id), or an instrument that is not here; may be given several times.",
    ),
]
