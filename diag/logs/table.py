"""Reads the rows of a log in portions of bounded size, and keeps count of what is no row.

May import: numpy, `diag.basics`, and within the room `cells`, `clock`, `columns`, `header`, `text`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from diag.basics import Problem, counted
from diag.logs.cells import Array, all_numbers, cut, numbers, plain_text
from diag.logs.clock import is_clock, seconds
from diag.logs.columns import LogColumnUse
from diag.logs.header import Header
from diag.logs.text import LogText

__all__ = ["LogTable", "Portion"]

_MISSING = frozenset(
    ("", "-", "--", "---", "n/a", "na", "nan", "null", "none", "?", "*", "#n/a", "nil", "n.v.", "k.a.")
)


@dataclass(frozen=True)
class Portion:
    """Some rows: `times[row]` in seconds, `values[position][row]` of every used column as logged, nan where none."""

    times: Array
    values: dict[int, Array]


@dataclass
class LogTable:
    """The rows of a log, one portion after the other; the counts are complete when the last was read.

    `repeated`: rows that say the header again; `ragged`: rows with too many or too few cells; `odd[position]`: cells
    that hold something but no number. `first_bad` is the first row that could not be read, `first_odd[position]` the
    first such cell; `filled` has the columns in which a number stands anywhere, `moved` those with another than 0.
    """

    text: LogText
    header: Header
    uses: Sequence[LogColumnUse]
    rows: int = 0
    repeated: int = 0
    ragged: int = 0
    odd: dict[int, int] = field(default_factory=dict)
    first_bad: Problem | None = None
    first_odd: dict[int, Problem] = field(default_factory=dict)
    filled: set[int] = field(default_factory=set)
    moved: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._time = next(use for use in self.uses if use.used and use.channel == "time")
        self.others = [use for use in self.uses if use.used and use is not self._time]
        index = self._time.position - 1
        self._clock = is_clock([row[index] for row in self.header.sample if index < len(row)])
        self._named = tuple(name.lower() for name in self.header.names)

    def portions(self) -> Iterator[Portion]:
        """The rows, in the order of the file."""
        line = self.header.data_after
        for lines in self.text.portions(self.header.data_after):
            portion = self._quick(lines) or self._careful(lines, line)
            line += len(lines)
            for place, values in portion.values.items():
                known = values[np.isfinite(values)]
                self.filled |= {place} if len(known) else set()
                self.moved |= {place} if known.any() else set()
            if len(portion.times):
                yield portion

    def _quick(self, lines: list[str]) -> Portion | None:
        """Nothing but plain numbers, and a clock in front of them: read in one go."""
        form, width, front = self.header.form, len(self.header.names), self._time.position if self._clock else 0
        rest, stamps = lines, []
        if front:
            if width - front < 1 or any(use.position <= front for use in self.others):
                return None
            pieces = [line.split(form.delimiter, front) for line in lines]
            if any(len(piece) != front + 1 for piece in pieces) or '"' in lines[0]:
                return None
            rest, stamps = [piece[front] for piece in pieces], [piece[front - 1] for piece in pieces]
        values = all_numbers(rest, form, width - front)
        if values is None:
            return None
        self.rows += len(lines)
        times = seconds(stamps, True, 1.0, form.decimal) if front else values[:, self._time.position - 1] * self._factor
        return Portion(times, {use.position: values[:, use.position - 1 - front] for use in self.others})

    @property
    def _factor(self) -> float:
        return self._time.scale.factor if self._time.scale is not None else 1.0

    def _careful(self, lines: list[str], before: int) -> Portion:
        """Row by row: leaves out blank lines, repeated headers and rows of the wrong width."""
        form, width = self.header.form, len(self.header.names)
        rows: list[list[str]] = []
        places: list[int] = []
        for offset, line in enumerate(lines):
            row = cut(line, form.delimiter)
            if len(row) > width:
                while len(row) > width and not row[-1].strip():
                    row.pop()
            if len(row) == width and row[0] not in self.header.names[:1]:
                rows.append(row)
                places.append(before + offset + 1)
            elif line.strip(form.delimiter + ' \t\xa0\ufeff\x00\x1a"'):
                self._put_aside(row, rows, places, before + offset + 1)
        self.rows += len(rows)
        index = self._time.position - 1
        times = seconds([plain_text(row[index]) for row in rows], self._clock, self._factor, form.decimal)
        self._note_bad_times(rows, places, times)
        return Portion(times, {use.position: self._column(use, rows, places) for use in self.others})

    def _put_aside(self, row: list[str], rows: list[list[str]], places: list[int], line: int) -> None:
        """A row that is no ordinary one: a header once more, or ragged; one whose first cell only looks so is kept."""
        cells = [plain_text(cell) for cell in row]
        same = sum(cell.lower() == name for cell, name in zip(cells, self._named, strict=False) if cell)
        if same * 2 > sum(bool(cell) for cell in cells) or (
            any(self.header.units) and tuple(cells) == self.header.units
        ):
            self.rows += 1
            self.repeated += 1
        elif len(row) == len(self.header.names):
            rows.append(row)
            places.append(line)
        else:
            self.rows += 1
            self.ragged += 1
            if self.first_bad is None:
                message = f"this row has {counted(len(row)):cell|cells} where the header has {len(self.header.names)}"
                hint = "the same cells as in the header, in every row"
                if self.header.form.delimiter == "," and len(row) > len(self.header.names):
                    hint = "if decimals are written with a comma, export with semicolons between the cells"
                self.first_bad = Problem(str(self.text.path), line, 1, message, hint)

    def _note_bad_times(self, rows: list[list[str]], places: list[int], times: Array) -> None:
        if self.first_bad is not None:
            return
        index = self._time.position - 1
        for row in np.flatnonzero(~np.isfinite(times))[:50]:
            cell = plain_text(rows[row][index])
            if not self._is_same_header(rows[row]):
                what = f"'{cell[:40]}' is no time" if cell else "the time is missing here"
                hint = "write seconds such as 12.5, or a clock such as 12:00:01.5"
                column = self._column_of(rows[row], index)
                self.first_bad = Problem(str(self.text.path), places[row], column, what, hint)
                return

    def _is_same_header(self, row: Sequence[str]) -> bool:
        return tuple(plain_text(cell).lower() for cell in row) == self._named

    def _column_of(self, row: Sequence[str], index: int) -> int:
        """Where a cell begins in its line, counting from 1 (as if no cell were quoted)."""
        return sum(len(cell) + 1 for cell in row[:index]) + 1

    def _column(self, use: LogColumnUse, rows: list[list[str]], places: list[int]) -> Array:
        index, decimal = use.position - 1, self.header.form.decimal
        cells = [row[index] for row in rows]
        values = numbers(cells, decimal)
        for row in np.flatnonzero(np.isnan(values)):
            text = plain_text(cells[row])
            if text.lower() in _MISSING:
                continue
            self.odd[use.position] = self.odd.get(use.position, 0) + 1
            if use.position not in self.first_odd:
                message = f"'{text[:40]}' is no number of '{use.head[:40]}'"
                column = self._column_of(rows[row], index)
                self.first_odd[use.position] = Problem(str(self.text.path), places[row], column, message)
        return values
