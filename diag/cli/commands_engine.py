"""The commands about engines: list them, add one. May import: typer; the other rooms only inside functions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diag.basics import UsageError, is_there
from diag.cli.engine_questions import Given, asked_layout
from diag.cli.inputs import read_knowledge
from diag.cli.options import Json, KnowledgeFolder, Overlays
from diag.cli.output import show
from diag.cli.pasting import WorkedWith
from diag.cli.talk_terminal import Terminal

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add `engine` with its commands."""
    group = typer.Typer(help="Engines: list them, add a new one in ten minutes.", no_args_is_help=True)
    group.command(name="list")(list_engines)
    group.command(name="new")(new)
    app.add_typer(group, name="engine")


def list_engines(as_json: Json = False, overlay: Overlays = None, knowledge: KnowledgeFolder = None) -> None:
    """List the engines that the knowledge holds."""
    from diag.report import engines_blocks, engines_sheet

    show(engines_sheet(read_knowledge(knowledge, overlay).engines), engines_blocks, as_json)


def new(
    engine: Annotated[str | None, typer.Argument(metavar="[ID]", help="Short name: small letters, digits, _.")] = None,
    name: Annotated[str | None, typer.Option(help="Name as people say it.")] = None,
    layout: Annotated[str | None, typer.Option(metavar="inline|V", help="How the cylinders stand.")] = None,
    cylinders: Annotated[int | None, typer.Option(metavar="COUNT", help="How many cylinders.")] = None,
    injector: Annotated[str | None, typer.Option(metavar="solenoid|piezo", help="Kind of injector.")] = None,
    bank: Annotated[
        list[str] | None,
        typer.Option(metavar="A=1,2,3", help="Cylinders of a bank in order, once for each bank; else the usual ones."),
    ] = None,
    firing_order: Annotated[str | None, typer.Option(metavar="1-3-4-2", help="Firing order.")] = None,
    folder: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the file ID.yaml goes.")] = Path(),
    replace: Annotated[bool, typer.Option("--replace", help="Write over an engine file of that name.")] = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Write the file of a new engine; asks for what is not given. What only the maker knows stays blank."""
    from diag.knowledge_base import save_engine
    from diag.report import ENGINE_QUESTIONS, MAKERS_VALUE, Sentence

    known, terminal = read_knowledge(knowledge, overlay), Terminal()
    given = Given(engine, name, layout, cylinders, injector, tuple(bank or ()), firing_order)
    asked = asked_layout(given, terminal)
    file = folder / f"{asked.id}.yaml"
    if is_there(file) and not replace:
        raise UsageError(f"{file} is already there and was left as it is; choose another name, or add --replace")
    path = save_engine(known, asked, folder, overwrite=replace)
    terminal.tell(ENGINE_QUESTIONS["written"].format(path=path, blank=MAKERS_VALUE))
    use_it = Sentence(
        ENGINE_QUESTIONS["use_it"], command=WorkedWith(overlay, knowledge).command("talk", "--engine", str(path))
    )
    terminal.show([use_it, Sentence(ENGINE_QUESTIONS["use_it_in_file"].format(name=path.name))])
