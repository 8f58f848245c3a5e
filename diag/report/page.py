"""Lays blocks out for a terminal of any width from 40 columns, with or without colour.

No meaning rests on colour or weight: cautions say so, the best row says so. May import: rich, blocks, words.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import fields, is_dataclass, replace
from typing import TextIO, TypeVar, cast

from rich import box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table as RichTable
from rich.text import Text

from diag.report.blocks import Block, Cautions, Heading, Items, Picture, Sentence, Table
from diag.report.words_checks import CHECKS

__all__ = ["console_for", "print_blocks", "render"]

WIDEST = 110
NARROWEST = 40
Shown = TypeVar("Shown")
_STEERING = dict.fromkeys([*range(0x20), *range(0x7F, 0xA0)]) | {
    ord("\t"): " ",
    ord("\n"): "\n",
    0x2028: " ",
    0x2029: " ",
}
GAP = 2  # cells between columns: what RULED puts there
RULED = box.Box("    \n    \n -- \n    \n -- \n -- \n    \n    \n", ascii=True)


def console_for(stream: TextIO | None = None, width: int | None = None) -> Console:
    """A console that prints texts as they are: no markup, no automatic colouring, not wider than is good to read."""
    console = Console(
        file=stream if stream is not None else sys.stdout, width=width, highlight=False, markup=False, emoji=False
    )
    console.width = max(min(console.width, WIDEST), NARROWEST)
    return console


def print_blocks(blocks: Iterable[Block], console: Console | None = None) -> None:
    """Print blocks, with one empty line before each heading but the first."""
    page = console if console is not None else console_for()
    if page.is_terminal:
        _print_all(blocks, page)
        return
    with page.capture() as capture:
        _print_all(blocks, page)
    page.file.write(_without_trailing_spaces(capture.get()))


def render(blocks: Iterable[Block], width: int = 80) -> str:
    """The same as plain text of that width."""
    console = Console(width=max(width, NARROWEST), highlight=False, markup=False, emoji=False, color_system=None)
    with console.capture() as capture:
        _print_all(blocks, console)
    return _without_trailing_spaces(capture.get())


def _without_trailing_spaces(text: str) -> str:
    return "".join(f"{line.rstrip()}\n" for line in text.splitlines())


def _print_all(blocks: Iterable[Block], page: Console) -> None:
    for index, block in enumerate(blocks):
        if isinstance(block, Heading) and index:
            page.print()
        _print(_harmless(block), page)


def _harmless(part: Shown) -> Shown:
    """The same without characters that steer a terminal, which a file from elsewhere may hold in a title or a name."""
    found: object = part
    if isinstance(part, str):
        found = part.translate(_STEERING)
    elif isinstance(part, tuple):
        found = tuple(map(_harmless, part))
    elif is_dataclass(part) and not isinstance(part, type):
        found = replace(part, **{field.name: _harmless(getattr(part, field.name)) for field in fields(part)})
    return cast("Shown", found)  # of the kind that came in


def _print(block: Block, page: Console) -> None:
    match block:
        case Heading():
            page.print(Text(block.text, style="bold underline" if block.level == 1 else "bold"))
        case Sentence():
            _print_sentence(block, page)
        case Cautions():
            _print_cautions(block, page)
        case Items():
            _print_items(block, page)
        case Table():
            _print_table(block, page)
        case Picture():
            _print_picture(block, page)


def _print_sentence(block: Sentence, page: Console) -> None:
    """A command stands in the text's line where that has the room, else in one of its own, however long that is."""
    style = "bold" if block.strong else ""
    whole = f"{block.text} {block.command}"
    if block.command and cell_len(whole) + block.indent > page.width:
        _indented(Text(block.text, style=style), block.indent, page)
        page.print(Text(block.command, style=style), soft_wrap=True)
    else:
        _indented(Text(whole if block.command else block.text, style=style), block.indent, page)


def _indented(text: Text, indent: int, page: Console) -> None:
    for line in text.wrap(page, page.width - indent):
        line.rstrip()
        page.print(Text(" " * indent).append_text(line), no_wrap=True, crop=False)


def _hanging(mark: Text, body: str, page: Console) -> None:
    """Text whose further lines start under the first word after the mark."""
    indent = cell_len(mark.plain)
    for number, line in enumerate(Text(body).wrap(page, max(page.width - indent, 10))):
        line.rstrip()
        start = mark if number == 0 else Text(" " * indent)
        page.print(start.copy().append_text(line), no_wrap=True, crop=False)


def _print_cautions(block: Cautions, page: Console) -> None:
    word = Text(f"{CHECKS['caution']}: ", style="bold red")
    if len(block.texts) == 1:
        _hanging(word, block.texts[0], page)
    elif block.texts:
        page.print(word)
        for text in block.texts:
            _hanging(Text("  ! ", style="bold red"), text, page)


def _print_items(block: Items, page: Console) -> None:
    label = Text(f"{block.label}: ", style="bold") if block.label else Text()
    if block.label and len(block.items) == 1 and not block.numbered:
        whole = label.append(block.items[0], style="not bold")
        if cell_len(whole.plain) <= page.width:
            page.print(whole)
            return
        label = Text(f"{block.label}: ", style="bold")
    if block.label:
        page.print(label)
    for position, item in enumerate(block.items, start=block.first):
        mark = f"  {position:>2}. " if block.numbered else "  - "
        _hanging(Text(mark), item, page)


def _print_table(block: Table, page: Console) -> None:
    if not block.rows:
        return
    widths = _widths(block, page.width - GAP * (len(block.columns) - 1))
    if widths is None:
        _print_row_by_row(block, page)
        return
    table = RichTable(box=RULED, show_edge=False, pad_edge=False, padding=(0, GAP - 1, 0, 0), header_style="")
    for column, width in zip(block.columns, widths, strict=True):
        table.add_column(column.heading, width=width, justify="right" if column.right else "left", overflow="fold")
    for index, row in enumerate(block.rows):
        style = "bold" if index == block.strong_row else ""
        before_total = block.last_is_total and index == len(block.rows) - 2
        table.add_row(*(Text(cell) for cell in row), style=style, end_section=before_total)
    page.print(table)


def _widths(block: Table, room: int) -> tuple[int, ...] | None:
    """The cells of each column, growing ones and headings sharing what is spare; None where the least does not fit."""
    natural, widths = [], []
    for index, column in enumerate(block.columns):
        cells = max((cell_len(row[index]) for row in block.rows), default=0)
        word = max(cell_len(word) for word in column.heading.split())
        natural.append(max(cells, cell_len(column.heading)))
        widths.append(max(min(cells, column.least) if column.grows else cells, word))
    spare = room - sum(widths)
    if spare < 0:
        return None
    while spare and (short := [index for index, width in enumerate(widths) if width < natural[index]]):
        for index in short[:spare]:
            widths[index] += 1
        spare = room - sum(widths)
    return tuple(widths)


def _print_row_by_row(block: Table, page: Console) -> None:
    for index, row in enumerate(block.rows):
        style = "bold" if index == block.strong_row else ""
        page.print(Text(row[block.lead], style=style or "underline", overflow="fold"))
        labelled = [
            cell if column.speaks else f"{column.heading} {cell}"
            for position, (column, cell) in enumerate(zip(block.columns, row, strict=True))
            if position != block.lead and cell
        ]
        for line in _packed(labelled, page.width - 2):
            _indented(Text(line), 2, page)


def _packed(items: list[str], width: int) -> list[str]:
    """Items with commas between them, as many to a line as fit; an item is broken only where it alone is too long."""
    lines: list[str] = []
    for position, item in enumerate(items):
        text = item if position == len(items) - 1 else f"{item},"
        if lines and cell_len(lines[-1]) + 1 + cell_len(text) <= width:
            lines[-1] = f"{lines[-1]} {text}"
        else:
            lines.append(text)
    return lines


def _print_picture(block: Picture, page: Console) -> None:
    most = max(len(cells) for _, cells in block.rows)
    inner = max(min(11, (page.width - 1) // most - 1), 4)
    for label, cells in block.rows:
        if label:
            page.print(Text(label))
        table = RichTable(box=box.SQUARE, show_header=False, padding=0)
        for _ in cells:
            table.add_column(width=inner, justify="center", no_wrap=True, overflow="crop")
        table.add_row(*(Text(cell.top) for cell in cells))
        table.add_row(*(Text(cell.below) for cell in cells))
        table.add_row(*(Text("#" * round(cell.full * (inner - 2))) for cell in cells))
        page.print(table)
