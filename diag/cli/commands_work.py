"""The commands of the workshop: the work sheet and the estimate of a plan.

May import: typer; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diag.basics import UsageError, write_whole
from diag.cli.inputs import read_case, read_knowledge
from diag.cli.options import CaseName, Json, KnowledgeFolder, Overlays
from diag.cli.output import show

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["add_to"]

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
Csv = Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Write the lines as CSV.")]
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
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Print the work sheet of the best plan, or of another: steps, parts, values, boxes to fill."""
    _writable(replace, html)
    from diag.cli.work import worked_sheet
    from diag.report import sheet_blocks, sheet_html

    known = read_knowledge(knowledge, overlay)
    made = worked_sheet(known, read_case(case, known), option, by_hand or ())
    if html is None:
        show(made, sheet_blocks, as_json)
    else:
        _write([(html, lambda: sheet_html(made))], replace)


def estimate(
    case: CaseName,
    option: OptionName = None,
    by_hand: ByHand = None,
    html: Html = None,
    csv: Csv = None,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Print the estimate of the best plan, or of another: lines, tax, total and range."""
    _writable(replace, html, csv)
    from diag.cli.work import estimated_sheet
    from diag.report import estimate_blocks, estimate_csv, estimate_html

    known = read_knowledge(knowledge, overlay)
    made = estimated_sheet(known, read_case(case, known), option, by_hand or ())
    files = [(html, lambda: estimate_html(made)), (csv, lambda: estimate_csv(made))]
    wanted = [(path, text) for path, text in files if path is not None]
    if wanted:
        _write(wanted, replace)
    else:
        show(made, estimate_blocks, as_json)


def _writable(replace: bool, *files: Path | None) -> None:
    """Refuse before anything is computed: a file that is there, or two under one name."""
    named = [file for file in files if file is not None]
    if len({file.resolve() for file in named}) < len(named):
        raise UsageError(f"{named[0]} is named for two kinds of file; give each a name of its own")
    for file in named:
        if file.exists() and not replace:
            raise UsageError(f"{file} is already there and was left as it is; choose another name, or add --replace")


def _write(files: list[tuple[Path, Callable[[], str]]], replace: bool) -> None:
    """Make every text first, so that a fault writes none of them."""
    from diag.report import WORK, Sentence, print_blocks

    for path, text in [(path, make()) for path, make in files]:
        write_whole(path, text, overwrite=replace)
        print_blocks([Sentence(WORK["written"].format(path=path))])
