"""Cells of a log: rows cut into cells, numbers as loggers write them. May import: nothing but numpy."""

from __future__ import annotations

import csv
import math
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Form", "all_numbers", "cut", "number", "numbers", "plain_text"]

Array = NDArray[np.float64]

DELIMITERS = (";", "\t", ",", "|")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_THOUSANDS_POINT = re.compile(r"[-+]?[1-9]\d{0,2}(?:\.\d{3})+(?:,\d+)?")
_THOUSANDS_COMMA = re.compile(r"[-+]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")


@dataclass(frozen=True)
class Form:
    """How a log writes its rows: what stands between cells, and the sign before decimals ('.' or ',')."""

    delimiter: str
    decimal: str


def cut(line: str, delimiter: str) -> list[str]:
    """The cells of one line; quotes hold a cell together, and never reach over the end of the line."""
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line.replace("\n", " ")], delimiter=delimiter), [])
    except csv.Error:  # a quote that holds more than any cell has
        return [line]


def plain_text(cell: str) -> str:
    """A cell without spaces around it, no-break ones included."""
    return cell.replace("\ufeff", "").replace("\xa0", " ").replace("\u202f", " ").strip()


def number(cell: str, decimal: str) -> float:
    """A cell as a number; nan where it is none. A true minus sign, thousands and a unit behind do not disturb.

    `number("1.234,5 bar", ",")` is 1234.5.
    """
    text = plain_text(cell).replace("\u2212", "-").replace("'", "")
    if not text:
        return math.nan
    if decimal == ",":
        if _THOUSANDS_POINT.fullmatch(text.split(" ")[0]):
            text = text.replace(".", "")
        text = text.replace(",", ".")
    elif _THOUSANDS_COMMA.fullmatch(text.split(" ")[0]):
        text = text.replace(",", "")
    match = _NUMBER.match(text)
    if match is None:
        return math.nan
    rest = text[match.end() :].strip()
    if rest and not _like_unit(rest):
        return math.nan
    value = float(match.group())
    return value if math.isfinite(value) else math.nan


def _like_unit(rest: str) -> bool:
    """Whether what stands behind a number looks like a unit, and not more of a number ('0x1F'), a clock or a name."""
    return len(rest) <= 9 and rest[0] not in ".,:-_xX" and (not rest[0].isdigit()) and ":" not in rest


def numbers(cells: Sequence[str], decimal: str) -> Array:
    """Cells as numbers `[row]`, nan where a cell is none; quick where all of them are plain.

    Where decimals have a comma, a point can only stand between thousands.
    """
    quick = cells if decimal == "." else [cell.replace(",", ".") for cell in cells if "." not in cell]
    if len(quick) == len(cells):
        try:
            values = np.fromiter(map(float, quick), np.float64, len(cells))
        except ValueError:
            pass
        else:
            values[~np.isfinite(values)] = np.nan
            return values
    return np.fromiter((number(cell, decimal) for cell in cells), np.float64, len(cells))


def all_numbers(lines: Sequence[str], form: Form, width: int) -> Array | None:
    """All cells of lines that hold nothing but plain numbers, `[row, column]`; none where any cell is something else.

    Reads the whole portion in one go, which is several times quicker than cell by cell.
    """
    if form.decimal == form.delimiter or not lines:
        return None
    between = width - 1
    if lines[0].count(form.delimiter) == between + 1 and all(line.endswith(form.delimiter) for line in lines):
        lines = [line[:-1] for line in lines]
    if any(line.count(form.delimiter) != between for line in lines):
        return None
    text = form.delimiter.join(lines)
    twice = form.delimiter * 2
    if twice in text:  # empty cells; the second time for those with empty ones on both sides
        filled = f"{form.delimiter}nan{form.delimiter}"
        text = text.replace(twice, filled).replace(twice, filled)
    if form.decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    if '"' in text or " " in text or (form.delimiter != "\t" and "\t" in text):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # numpy warns where it stops before the end
        try:
            values = np.fromstring(text, dtype=np.float64, sep=form.delimiter)
        except (DeprecationWarning, ValueError):
            return None
    if len(values) != width * len(lines):
        return None
    values[~np.isfinite(values)] = np.nan
    return values.reshape(len(lines), width)
