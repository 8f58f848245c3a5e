"""The sheets of a worked table of cases, and of the columns that a table may have. May import: `diag.basics`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = ["ColumnLine", "TableColumnsSheet", "TableSheet"]


@dataclass(frozen=True)
class TableSheet:
    """The sheet of `diag table`."""

    rows: Annotated[int, "rows of the output"]
    left_out: Annotated[int, "rows that were left out; the side file says why"]
    distinct: Annotated[int, "cases that differ in their evidence; each was worked out once"]
    contradicting: Annotated[int, "rows of the output whose findings contradict each other"]
    outputs: Annotated[tuple[str, ...], "the files that were written"]
    encoding: Annotated[str, "in which the table's letters were read; empty where it is no text"]
    side: Annotated[str, "the side file: row (from 1), case, column and reason of each row that was left out"]


@dataclass(frozen=True)
class ColumnLine:
    """One column that a table may have."""

    head: Annotated[str, "its head; PLACE stands for a cylinder's number or a bank's letter"]
    what: Annotated[str, "what it tells"]
    cells: Annotated[str, "what its cells hold; empty where the line above says it"]


@dataclass(frozen=True)
class TableColumnsSheet:
    """The sheet of `diag table --columns`."""

    columns: Annotated[tuple[ColumnLine, ...], "all columns that a table may have"]
    mapping: Annotated[tuple[str, ...], "an example of a mapping file (YAML), line by line"]
    conditions: Annotated[tuple[str, ...], "what may stand after 'under' in a head, before the place"]
