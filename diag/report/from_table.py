"""From a worked table of cases to its sheet and page, and the columns of tables to theirs.

May import: batch, casebook, blocks, sheets, words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from diag.basics import counted
from diag.report.blocks import Block, Column, Heading, Sentence, Table
from diag.report.sheets_table import ColumnLine, TableColumnsSheet, TableSheet
from diag.report.words_table import MAPPING, TABLE

if TYPE_CHECKING:
    from diag.batch import ColumnWords, TableResult

__all__ = ["table_blocks", "table_columns_blocks", "table_columns_sheet", "table_sheet"]

UTF_8 = ("utf-8", "utf-8-sig")  # not worth a word


def table_sheet(result: TableResult) -> TableSheet:
    """The sheet of a table that was worked out."""
    return TableSheet(
        rows=result.rows,
        left_out=result.left_out,
        distinct=result.distinct,
        contradicting=result.contradicting,
        outputs=tuple(str(out) for out in result.outs),
        side=str(result.side),
        encoding=result.encoding,
    )


def table_blocks(sheet: TableSheet) -> tuple[Block, ...]:
    """The page of `diag table`."""
    outputs = " and ".join(sheet.outputs)
    done = TABLE["done"].format(rows=counted(sheet.rows), distinct=counted(sheet.distinct), outputs=outputs)
    left_out = TABLE["left_out"].format(left_out=counted(sheet.left_out), side=sheet.side)
    lines = [done, left_out if sheet.left_out else TABLE["none_left_out"]]
    if sheet.contradicting:
        lines.append(TABLE["contradicting"].format(contradicting=counted(sheet.contradicting)))
    if sheet.encoding not in ("", *UTF_8):
        lines.append(TABLE["encoding"].format(encoding=sheet.encoding))
    return tuple(Sentence(line) for line in lines)


def table_columns_sheet(columns: tuple[ColumnWords, ...], conditions: tuple[str, ...]) -> TableColumnsSheet:
    """The sheet of the columns that a table may have."""
    lines = tuple(ColumnLine(each.head, each.what, each.cells) for each in columns)
    return TableColumnsSheet(lines, MAPPING, conditions)


def table_columns_blocks(sheet: TableColumnsSheet) -> tuple[Block, ...]:
    """The page of `diag table --columns`."""
    columns = (Column(TABLE["head"]), Column(TABLE["what"], grows=True), Column(TABLE["cells"], grows=True))
    rows = tuple((line.head, line.what, line.cells) for line in sheet.columns)
    return (
        Heading(TABLE["columns"], 1),
        Sentence(TABLE["places"].format(conditions=", ".join(sheet.conditions))),
        Table(columns, rows),
        Sentence(TABLE["mapping"]),
        *(Sentence(line.strip(), indent=len(line) - len(line.lstrip()) + 2) for line in sheet.mapping),
    )
