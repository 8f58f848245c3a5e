"""The command about logs: shows what one says, takes its readings into a case, draws it.

May import: typer; the other rooms only inside functions.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError, is_there
from diag.cli.inputs import BOOK_SIGN, case_path, engine_case, read_case, read_knowledge
from diag.cli.options import EngineName, Json, KnowledgeFolder, Overlays, offered_cases
from diag.cli.output import show
from diag.cli.pasting import WorkedWith

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.knowledge_base import Engine, Knowledge
    from diag.logs import ColumnMap, LogResult

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add `log`."""
    app.command()(log)


def log(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The log: a text file with commas, semicolons or tabs.")],
    engine: EngineName = None,
    case: Annotated[
        str | None,
        typer.Option("--case", metavar="CASE", help="The case whose engine it is.", autocompletion=offered_cases),
    ] = None,
    add: Annotated[bool, typer.Option("--add", help="Write the readings into the case file.")] = False,
    columns: Annotated[
        Path | None, typer.Option("--columns", metavar="MAP", help="A file that says what the columns are.")
    ] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask what the columns are that are not recognised.")] = False,
    keep: Annotated[
        Path | None,
        typer.Option("--keep-columns", metavar="MAP", help="Write what was answered to --ask to this file."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="OUT.svg", help="Draw the log; writes over a picture of that name.")
    ] = None,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Read a log: the stretches that count, robust readings with their error, what was thrown away and why."""
    from diag.logs import ColumnMap, read_log, read_mapping
    from diag.report import log_blocks, log_sheet

    known = read_knowledge(knowledge, overlay)
    path, told = _vehicle(known, engine, case, add, WorkedWith(overlay, knowledge))
    if plot is not None:
        _refuse_ending(plot)
    if keep is not None and is_there(keep):
        raise UsageError(f"{keep} is already there and was left as it is; choose another name")
    mapping = read_mapping(columns, known) if columns is not None else ColumnMap()
    if ask:
        mapping = _asked(file, known, told.engine, mapping, keep, as_json)
    elif keep is not None:
        raise UsageError("--keep-columns keeps what is answered to --ask; add --ask")
    result = read_log(file, known, told.engine, mapping)
    if add and path is not None:
        try:
            _add(path, told, known, result)
        except UsageError:  # its message points to the page
            show(log_sheet(known, told.engine, result), log_blocks, as_json)
            raise
    sheet = log_sheet(known, told.engine, result, path if add else None)
    if plot is not None:
        _draw(plot, known, result, told.engine)
    show(sheet, log_blocks, as_json)
    if not as_json:
        _tell_files(plot, keep)


def _vehicle(
    knowledge: Knowledge, engine: str | None, case: str | None, add: bool, given: WorkedWith
) -> tuple[Path | None, Case]:
    """The case and its file, or a bare engine. Raises UsageError where neither or both are named."""
    from diag.casebook import demo_cases

    if (case is None) == (engine is None):
        raise UsageError("say whose log it is: either --engine ENGINE or --case CASE")
    if case is None:
        if add:
            raise UsageError("--add writes into a case; name it with --case CASE")
        return None, engine_case(str(engine), knowledge)
    if case.startswith(BOOK_SIGN):
        number = case.removeprefix(BOOK_SIGN).partition("@")[0]
        if add:
            write = given.command("book", "write", number, "FILE")
            keep = given.command("book", "keep", "FILE", "--into", number)
            raise UsageError(
                f"'{case}' is a case of the book; write it as a file ('{write}'), add to that, and keep what is "
                f"new ('{keep}')"
            )
        return None, read_case(case, knowledge)
    path = case_path(case)
    if add and path.resolve() in [each.resolve() for each in demo_cases().values()]:
        raise UsageError(f"'{case}' is a demo case and stays as it is; copy its file and name the copy")
    return path, read_case(case, knowledge)


def _add(path: Path, case: Case, knowledge: Knowledge, result: LogResult) -> None:
    from diag.casebook import save_case
    from diag.logs import with_log

    save_case(with_log(case, knowledge, result.readings), path)


def _refuse_ending(plot: Path) -> None:
    if plot.suffix.lower() != ".svg":
        raise UsageError(f"the picture is an SVG, and {plot.name} does not end in .svg")
    if is_there(plot) and not (plot.is_file() and b"<svg" in plot.read_bytes()[:200]):
        raise UsageError(f"{plot} is already there, is no picture, and was left as it is; choose another name")


def _draw(plot: Path, knowledge: Knowledge, result: LogResult, engine: Engine) -> None:
    from diag.basics import write_whole
    from diag.logs import rules_of
    from diag.report import log_picture, log_sheet

    sheet = log_sheet(knowledge, engine, result)
    write_whole(plot, log_picture(result, sheet, rules_of(knowledge).warm_from), overwrite=True)


def _tell_files(plot: Path | None, keep: Path | None) -> None:
    from diag.report import LOG, Sentence, print_blocks

    written = [LOG["picture"].format(path=plot)] if plot is not None else []
    written += [LOG["mapping"].format(path=keep)] if keep is not None else []
    print_blocks([Sentence(line) for line in written])


def _asked(
    file: Path, knowledge: Knowledge, engine: Engine, mapping: ColumnMap, keep: Path | None, as_json: bool
) -> ColumnMap:
    """What the columns are, asked for those that are not recognised; kept in a file where that is wished."""
    from diag.basics import write_whole
    from diag.cli.log_questions import asked_columns
    from diag.logs import mapping_text

    if as_json:
        raise UsageError("--ask talks, and --json is for programs; use one of the two")
    mapping = asked_columns(file, knowledge, engine, mapping)
    if keep is not None:
        write_whole(keep, mapping_text(mapping))
    return mapping
