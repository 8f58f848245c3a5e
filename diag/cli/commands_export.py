"""The command that writes the network for other programs. May import: typer; other rooms inside functions only."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError, is_there
from diag.cli.inputs import engine_case, read_case, read_knowledge
from diag.cli.options import EngineName, KnowledgeFolder, Overlays, offered_cases

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Knowledge

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add `export`."""
    app.command()(export)


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write.")],
    case: Annotated[
        str | None,
        typer.Option("--case", metavar="CASE", help="The case whose vehicle it is.", autocompletion=offered_cases),
    ] = None,
    engine: EngineName = None,
    bif: Annotated[
        bool | None, typer.Option("--bif/--xmlbif", help="The format; else by the ending: .bif, or .xml and .xmlbif.")
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")] = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Write the network of a case's vehicle, or of an engine, as BIF or XMLBIF."""
    as_bif = _format(file, bif)
    if is_there(file) and not replace:
        raise UsageError(f"{file} is already there and was left as it is; choose another name, or add --replace")
    known = read_knowledge(knowledge, overlay)
    vehicle = _vehicle(known, case, engine)

    from diag.network import export_bif, export_xmlbif, reference_network
    from diag.report import EXPORT, Sentence, print_blocks

    network = reference_network(known, vehicle)
    write = export_bif if as_bif else export_xmlbif
    write(network, file, overwrite=replace)
    words = EXPORT["written"].format(path=file, nodes=len(network.nodes), edges=len(network.edges))
    print_blocks([Sentence(words)])


def _format(file: Path, bif: bool | None) -> bool:
    """Whether to write BIF (else XMLBIF)."""
    if bif is not None:
        return bif
    if file.suffix == ".bif":
        return True
    if file.suffix in (".xml", ".xmlbif"):
        return False
    raise UsageError(f"the ending of {file.name} does not say the format; add --bif or --xmlbif")


def _vehicle(knowledge: Knowledge, case: str | None, engine: str | None) -> Case:
    if (case is None) == (engine is None):
        raise UsageError("say what to export: either --case CASE or --engine ENGINE")
    return read_case(case, knowledge) if case is not None else engine_case(str(engine), knowledge)
