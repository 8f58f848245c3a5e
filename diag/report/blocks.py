"""What a printed page is made of: headings, sentences, tables, lists, cautions, a picture. Data only.

A sheet becomes blocks in the modules `text_...`; `page` lays blocks out for a width. May import: the standard library.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Block",
    "Cautions",
    "Cell",
    "Column",
    "Heading",
    "Items",
    "Onward",
    "Picture",
    "Sentence",
    "Table",
    "of_case_to_name",
]


@dataclass(frozen=True)
class Heading:
    """A line that opens a part of the page; level 1 opens the page."""

    text: str
    level: Literal[1, 2] = 2


@dataclass(frozen=True)
class Sentence:
    """Running text; `strong` for the one thing to see first; `command`: one of diag's to go on with, which follows the
    text and is never broken, so that it can be pasted."""

    text: str
    strong: bool = False
    indent: int = 0
    command: str = ""


@dataclass(frozen=True)
class Cautions:
    """Warnings. They start with the word, so that they need no colour."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Items:
    """A list of short texts under an optional label, numbered from `first` where they are."""

    label: str
    items: tuple[str, ...]
    numbered: bool = False
    first: int = 1


@dataclass(frozen=True)
class Column:
    """A column of a table. `grows`: it takes the spare room, and wraps down to `least` cells where there is little.

    `speaks`: its cells say by themselves what they are, and need no heading where the table is told row by row.
    """

    heading: str
    right: bool = False
    grows: bool = False
    least: int = 18
    speaks: bool = False


@dataclass(frozen=True)
class Table:
    """A table. Where it does not fit, each row becomes a few lines: the `lead` column first, the others labelled.

    `strong_row` is the row to see first. `last_is_total` draws a line above the last row.
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    lead: int = 0
    strong_row: int | None = None
    last_is_total: bool = False


@dataclass(frozen=True)
class Cell:
    """One cylinder of the picture: its number, what is written below, and how full it is marked (0 to 1)."""

    top: str
    below: str
    full: float


@dataclass(frozen=True)
class Picture:
    """Rows of cylinders as one looks down on the engine, a bank a row."""

    rows: tuple[tuple[str, tuple[Cell, ...]], ...]


Block = Heading | Sentence | Cautions | Items | Table | Picture
Onward = Callable[[str], str]
"""Makes the command of a word ('sheet') about the case that a page is of."""


def of_case_to_name(word: str) -> str:
    """The command of a word about a case that the reader has still to name."""
    return f"diag {word} CASE"
