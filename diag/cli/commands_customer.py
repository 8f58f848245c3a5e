"""The commands that make the customer's page (text at the terminal, HTML and PDF into files), and single pictures.

May import: typer; the other rooms only inside functions, so that a command starts fast.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diag.cli.inputs import read_case, read_knowledge
from diag.cli.options import CaseName, Json, KnowledgeFolder, Overlays
from diag.cli.output import show

__all__ = ["add_to"]

PICTURES = (".svg", ".pdf")

LanguageName = Annotated[
    str, typer.Option("--language", metavar="LANGUAGE", help="en, de, or the path of a language file.")
]
HtmlFile = Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write the page as HTML to this file.")]
PdfFile = Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Write the page as PDF to this file.")]
OptionNames = Annotated[
    str | None,
    typer.Option(
        "--options",
        metavar="IDS",
        help="The two or three options to set side by side, with commas, such as best,all_seals,nothing.",
    ),
]
Replace = Annotated[bool, typer.Option("--replace", help="Write over files that are already there.")]


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(customer)
    app.command()(picture)


def customer(
    case: CaseName,
    language: LanguageName = "en",
    html: HtmlFile = None,
    pdf: PdfFile = None,
    options: OptionNames = None,
    replace: Replace = False,
    as_json: Json = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Make the page for the customer: plain words, options side by side, one side of A4."""
    from diag.basics import UsageError, write_whole
    from diag.cli.work import customer_sheet
    from diag.knowledge_base import load_language
    from diag.report import CUSTOMER, Sentence, page_blocks, page_html, page_pdf, print_blocks

    if html is not None and pdf is not None and html.resolve() == pdf.resolve():
        raise UsageError(f"{html} is named for two kinds of file; give each a name of its own")
    _refuse_to_write_over([path for path in (html, pdf) if path is not None and not replace])
    known = read_knowledge(knowledge, overlay)
    words = load_language(language, known)
    page = customer_sheet(known, read_case(case, known), words, options.split(",") if options else ())
    made: list[tuple[Path, str | bytes]] = []
    if html is not None:
        made.append((html, page_html(page)))
    if pdf is not None:
        made.append((pdf, page_pdf(page)))
    for path, content in made:
        write_whole(path, content, overwrite=replace)
    if as_json or not made:
        show(page, page_blocks, as_json)
    else:
        print_blocks(Sentence(CUSTOMER["written"].format(path=path)) for path, _ in made)


def picture(
    case: CaseName,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write: .svg, or .pdf.")],
    seal_life: Annotated[
        bool, typer.Option("--seal-life", help="Draw the life of the seals instead of the engine from above.")
    ] = False,
    options: Annotated[
        bool, typer.Option("--options", help="Draw what the options may come to instead of the engine from above.")
    ] = False,
    belief: Annotated[
        bool, typer.Option("--belief", help="Draw the belief after each finding instead of the engine from above.")
    ] = False,
    replace: Replace = False,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Draw the engine from above with the chances of its cylinders, or the life of its seals, the options, or the
    belief after each finding, as SVG or PDF."""
    from diag.basics import UsageError, write_whole
    from diag.cli.work import planned_sheet, why_of
    from diag.network import weigh
    from diag.report import (
        CUSTOMER,
        Sentence,
        course_picture,
        engine_picture,
        options_picture,
        picture_pdf,
        print_blocks,
        seal_life_picture,
        weigh_sheet,
    )

    if seal_life + options + belief > 1:
        raise UsageError("give one of --seal-life, --options and --belief")
    if file.suffix.lower() not in PICTURES:
        raise UsageError(f"{file} does not end in .svg or .pdf; a picture is drawn as one of these")
    _refuse_to_write_over([] if replace else [file])
    known = read_knowledge(knowledge, overlay)
    read = read_case(case, known)
    if options:
        svg = options_picture(planned_sheet(known, read))
    elif belief:
        svg = course_picture(why_of(known, read))
    else:
        weighed = weigh(known, read)
        network = weighed.network
        svg = seal_life_picture(network) if seal_life else engine_picture(network.case, weigh_sheet(weighed))
    write_whole(file, picture_pdf(svg) if file.suffix.lower() == ".pdf" else svg, overwrite=replace)
    print_blocks([Sentence(CUSTOMER["written"].format(path=file))])


def _refuse_to_write_over(paths: list[Path]) -> None:
    """Before any work is done: of two files none is written where one is already there."""
    from diag.basics import UsageError, is_there
    from diag.report import CUSTOMER

    there = [str(path) for path in paths if is_there(path)]
    if there:
        raise UsageError(CUSTOMER["there"].format(path=", ".join(there)))
