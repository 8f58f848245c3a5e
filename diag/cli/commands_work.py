"""The commands of the workshop: the work sheet and the estimate of a plan.

May import: typer; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from diag.basics import UsageError, is_there, write_whole
from diag.cli.inputs import read_case, read_knowledge
from diag.cli.options import CaseName, Json, KnowledgeFolder, Overlays
from diag.cli.output import show

__all__ = ["add_to"]

Files = Sequence[tuple[Path | None, Callable[[], str | bytes]]]

OptionName = Annotated[
    str | None,
    typer.Option("--option", metavar="NAME", help="Another option of 'diag repair', by its printed name."),
]
ByHand = Annotated[
    list[str] | None,
    typer.Option(
        "--repair",
        metavar="REPAIR@PLACE",
        help="Work put together by hand, such as reseal@2, reseal@1,3 or reseal@all; may be given several times.",
    ),
]
Html = Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write it as one printable HTML page.")]
Pdf = Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Write it as PDF, A4.")]
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the lines as CSV.")]
LanguageName = Annotated[
    str, typer.Option("--language", metavar="LANGUAGE", help="en, de, or the path of a language file.")
]
Replace = Annotated[bool, typer.Option("--replace", help="Write over a file of that name.")]


def add_to(app: typer.Typer) -> None:
    """Add `sheet` and `estimate`."""
    app.command()(sheet)
    app.command()(estimate)


def sheet(
    case: CaseName,
    option: OptionName = None,
    by_hand: ByHand = None,
    html: Html = None,
    pdf: Pdf = None,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Print the work sheet of the best plan, or of another: steps, parts, values, boxes to fill."""
    _writable(replace, html, pdf)
    from diag.cli.work import worked_sheet
    from diag.report import sheet_blocks, sheet_html, sheet_pdf

    known = read_knowledge(knowledge, overlay)
    made = worked_sheet(known, read_case(case, known), option, by_hand or ())
    files: Files = [(html, lambda: sheet_html(made)), (pdf, lambda: sheet_pdf(made))]
    if not _write(files, replace):
        show(made, sheet_blocks, as_json)


def estimate(
    case: CaseName,
    option: OptionName = None,
    by_hand: ByHand = None,
    html: Html = None,
    pdf: Pdf = None,
    csv: Csv = None,
    language: LanguageName = "en",
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Print the estimate of the best plan, or of another: lines, tax, total and range."""
    _writable(replace, html, pdf, csv)
    from diag.cli.work import estimated_sheet
    from diag.knowledge_base import load_language
    from diag.report import estimate_blocks, estimate_csv, estimate_html, estimate_pdf

    known = read_knowledge(knowledge, overlay)
    words = load_language(language, known)
    made = estimated_sheet(known, read_case(case, known), option, by_hand or (), words)
    files: Files = [
        (html, lambda: estimate_html(made, words)),
        (pdf, lambda: estimate_pdf(made, words)),
        (csv, lambda: estimate_csv(made, words)),
    ]
    if not _write(files, replace):
        show(made, lambda sheet: estimate_blocks(sheet, words), as_json)


def _writable(replace: bool, *files: Path | None) -> None:
    """Refuse before anything is computed: a file that is there, or two under one name."""
    named = [file for file in files if file is not None]
    if len({file.resolve() for file in named}) < len(named):
        raise UsageError(f"{named[0]} is named for two kinds of file; give each a name of its own")
    for file in named:
        if is_there(file) and not replace:
            raise UsageError(f"{file} is already there and was left as it is; choose another name, or add --replace")


def _write(files: Files, replace: bool) -> bool:
    """Make every content first, so that a fault writes none; whether any was asked for."""
    from diag.report import WORK, Sentence, print_blocks

    made = [(path, make()) for path, make in files if path is not None]
    for path, content in made:
        write_whole(path, content, overwrite=replace)
        print_blocks([Sentence(WORK["written"].format(path=path))])
    return bool(made)
