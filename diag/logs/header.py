"""Finds the header of a log: the delimiter, the line that names the columns, a line of units below it, the decimals.

May import: `diag.basics`, and within the room `cells` and `text`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from diag.basics import LogError, Problem
from diag.logs.cells import DELIMITERS, Form, cut, number, plain_text
from diag.logs.text import LogText

__all__ = ["Header", "find_header"]

MOST_PREAMBLE = 300
LOOKED_AT = 60
_CLOCK = re.compile(r"\d{1,4}([:./T -]\d{1,4}){1,6}([.,]\d+)?( ?[AaPp][Mm])?Z?")
_RATE = re.compile(r"1 ?/ ?[A-Za-z]+")
_WITH_COMMA = re.compile(r"[-+\u2212]?\d+,\d+")
_WITH_POINT = re.compile(r"[-+\u2212]?\d*\.\d+")


@dataclass(frozen=True)
class Header:
    """`names[column]` as written, `units[column]` from a line of units ('' where there is none), and the form of the
    rows. `line` is where the names stand, counting from 1; the data begins after line `data_after`. `sample[row]`
    holds the cells of the first rows."""

    form: Form
    line: int
    data_after: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class _Candidate:
    score: tuple[int, int, int]
    index: int
    delimiter: str
    names: tuple[str, ...]


def find_header(
    text: LogText, knows: Callable[[str], bool], delimiter: str | None = None, decimal: str | None = None
) -> Header:
    """The header; `knows` says whether a name is one that means something, the others come from the mapping file.

    Of all lines near the top that hold words over rows of numbers, the one with the most known names wins.
    Raises LogError where there is none.
    """
    lines = text.first_lines[: MOST_PREAMBLE + LOOKED_AT]
    candidates = [
        candidate
        for each in ([delimiter] if delimiter else DELIMITERS)
        for candidate in _candidates(lines, each, knows)
    ]
    if not candidates:
        raise LogError([_no_header(text, lines, delimiter)])
    best = max(candidates, key=lambda one: (*one.score, -one.index))
    return _header(text, best, decimal)


def _candidates(lines: Sequence[str], delimiter: str, knows: Callable[[str], bool]) -> list[_Candidate]:
    rows = [tuple(plain_text(cell) for cell in cut(line, delimiter)) for line in lines]
    found = []
    for index, row in enumerate(rows[:MOST_PREAMBLE]):
        names = _without_empty_end(row)
        if len(names) < 2 or sum(_is_value(cell) for cell in names) > len(names) // 3:
            continue
        below = [other for other in rows[index + 1 : index + 8] if any(other)]
        good = sum(_looks_like_data(other, len(names)) for other in below)
        if good == 0:
            continue
        known = sum(knows(name) for name in names)
        found.append(_Candidate((known, min(good, 3), len(names)), index, delimiter, names))
    return found


def _without_empty_end(row: tuple[str, ...]) -> tuple[str, ...]:
    end = len(row)
    while end and not row[end - 1]:
        end -= 1
    return row[:end]


def _is_value(cell: str) -> bool:
    if _RATE.fullmatch(cell):  # a number would be read out of this unit
        return False
    return not math.isnan(number(cell, ".")) or not math.isnan(number(cell, ",")) or bool(_CLOCK.fullmatch(cell))


def _looks_like_data(row: tuple[str, ...], width: int) -> bool:
    filled = [cell for cell in row if cell]
    return len(row) >= min(width, 2) and len(filled) >= 1 and sum(map(_is_value, filled)) * 2 >= len(filled)


def _header(text: LogText, best: _Candidate, decimal: str | None) -> Header:
    width = len(best.names)
    units, data_after = ("",) * width, best.index + 1
    below = _first_filled(text.first_lines, data_after)
    if below is not None:
        row = tuple(plain_text(cell) for cell in cut(text.first_lines[below], best.delimiter))
        if len(row) >= 2 and not any(_is_value(cell) for cell in row) and any(row):
            units, data_after = (row + ("",) * width)[:width], below + 1
    rows = [
        tuple(plain_text(cell) for cell in cut(line, best.delimiter))
        for line in text.first_lines[data_after : data_after + 400]
        if line.strip()
    ]
    form = Form(best.delimiter, decimal or _decimal(rows, best.delimiter))
    return Header(form, best.index + 1, data_after, best.names, units, tuple(rows[:LOOKED_AT]))


def _first_filled(lines: Sequence[str], start: int) -> int | None:
    return next((index for index in range(start, min(len(lines), start + 5)) if lines[index].strip()), None)


def _decimal(rows: Sequence[tuple[str, ...]], delimiter: str) -> str:
    """The sign before decimals, by what most cells show."""
    commas = sum(bool(_WITH_COMMA.fullmatch(cell.split(" ")[0])) for row in rows for cell in row if cell)
    points = sum(bool(_WITH_POINT.fullmatch(cell.split(" ")[0])) for row in rows for cell in row if cell)
    return "," if commas > points and (delimiter != "," or commas) else "."


def _no_header(text: LogText, lines: Sequence[str], delimiter: str | None) -> Problem:
    """Where a header should have been, and what one looks like."""
    file = str(text.path)
    for index, line in enumerate(lines):
        for each in [delimiter] if delimiter else DELIMITERS:
            row = _without_empty_end(tuple(plain_text(cell) for cell in cut(line, each)))
            if len(row) >= 3 and all(map(_is_value, row)):
                message = f"no line that names the columns stands above these {len(row)} numbers"
                return Problem(file, index + 1, 1, message, "put a line such as 'time [s];speed [rpm]' above them")
    first = next((index for index, line in enumerate(lines) if line.strip()), 0)
    message = "this is no table: no line with names of columns over rows of numbers was found"
    hint = "a log is lines of cells with commas, semicolons or tabs between, names first"
    return Problem(file, first + 1, 1, message, hint)
