"""The commands about the knowledge: list, explain, check, draw, schema.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

import json
import sys
from typing import Annotated

import typer

from diag.basics import UsageError
from diag.cli.exits import ExitCode
from diag.cli.inputs import read_knowledge
from diag.cli.options import ItemName, Json, KindName, KnowledgeFolder, Overlays, offered_items
from diag.cli.output import show

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add `know` with its commands."""
    group = typer.Typer(help="What the knowledge holds: list, explain, check, draw.", no_args_is_help=True)
    group.command(name="list")(list_items)
    for command in (explain, check, draw, schema):
        group.command()(command)
    app.add_typer(group, name="know", rich_help_panel=None)


def list_items(
    kind: KindName = None, as_json: Json = False, overlay: Overlays = None, knowledge: KnowledgeFolder = None
) -> None:
    """List what the knowledge holds."""
    from diag.report import list_blocks, list_sheet

    show(list_sheet(read_knowledge(knowledge, overlay), kind), list_blocks, as_json)


def explain(item: ItemName, as_json: Json = False, overlay: Overlays = None, knowledge: KnowledgeFolder = None) -> None:
    """Explain one entry: what it is, what causes it, what finds it, what cures it, with its cautions."""
    from diag.report import item_blocks, item_sheet

    show(item_sheet(read_knowledge(knowledge, overlay), item), item_blocks, as_json)


def check(as_json: Json = False, overlay: Overlays = None, knowledge: KnowledgeFolder = None) -> None:
    """Check the knowledge; ends with exit code 6 where there is something to complain about."""
    from diag.knowledge_base import check_knowledge
    from diag.report import complaints_blocks, complaints_sheet

    known = read_knowledge(knowledge, overlay)
    sheet = complaints_sheet(known, check_knowledge(known))
    show(sheet, complaints_blocks, as_json)
    if sheet.complaints:
        raise typer.Exit(ExitCode.COMPLAINTS)


def draw(
    item: Annotated[
        str | None,
        typer.Argument(
            metavar="[ID]", help="Only what reaches this entry, and what it reaches.", autocompletion=offered_items
        ),
    ] = None,
    svg: Annotated[bool, typer.Option("--svg", help="Draw a picture (SVG) instead of text (DOT).")] = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Draw which cause reaches which finding: as DOT text for a graph-drawing program, or as an SVG picture."""
    from diag.knowledge_base import draw_graph

    known = read_knowledge(knowledge, overlay)
    sys.stdout.write(draw_graph(known, item, "svg" if svg else "dot").rstrip("\n") + "\n")


def schema(
    kind: Annotated[
        str | None,
        typer.Argument(
            metavar="[KIND]", help="One kind of file, such as checks; 'overlay'; or 'case' for a case file."
        ),
    ] = None,
    form: Annotated[
        str | None, typer.Option("--form", metavar="NAME", help="Instead, the form of a command's JSON, such as weigh.")
    ] = None,
) -> None:
    """Print the JSON Schema of knowledge files or case files for editors, or of a command's JSON form."""
    from diag.casebook import case_schema
    from diag.knowledge_base import json_schema
    from diag.report import form_schema

    if kind is not None and form is not None:
        raise UsageError("either the schema of a file or the form of a command's JSON: give KIND or --form, not both")
    body: object
    if form is not None:
        body = form_schema(form)
    else:
        body = case_schema(read_knowledge(None, None)) if kind == "case" else json_schema(kind)
    sys.stdout.write(json.dumps(body, ensure_ascii=False, indent=2) + "\n")
