"""The time of each row, and what is left of the rows whose clock stands still or runs backwards.

May import: numpy, and within the room `cells`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array, numbers

__all__ = ["Clock", "Timed", "is_clock", "seconds", "seconds_of"]

_TIME = re.compile(r"(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2}(?:[.,:]\d+)?)\s*([AaPp][Mm])?")
_DATE = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})")
_PLAIN = re.compile(r"(?:\d{4}-\d\d-\d\d[T ])?\d\d:\d\d:\d\d(?:[.,]\d{1,6})?")
_NIGHT = 86_400.0
_AT_ONCE = 4096  # so that a clock that jumps at every row costs no more than a few passes


def seconds_of(cell: str) -> float:
    """A clock time in seconds: '12:00:01.5', '1:30.2' (minutes), '2026-01-31 12:00:01', '31.01.2026 12:00:01,5'.

    nan where it is none.
    """
    text = cell.strip().rstrip("Zz")
    day, found = 0.0, _DATE.match(text)
    if found is not None:
        year, month, dom = (found[1], found[2], found[3]) if found[1] else (found[6], found[5], found[4])
        try:
            day = (date(int(year), int(month), int(dom)) - date(1970, 1, 1)).days * _NIGHT
        except ValueError:
            try:  # the month first, as some loggers write it
                day = (date(int(year), int(dom), int(month)) - date(1970, 1, 1)).days * _NIGHT
            except ValueError:
                return math.nan
        text = text[found.end() :].lstrip("T _,")
        text = re.sub(r"[+-]\d{2}:?\d{2}$", "", text)
        if not text:
            return math.nan
    match = _TIME.fullmatch(text.strip())
    if match is None:
        return math.nan
    hours, minutes, rest, half = match.groups()
    second = rest.replace(",", ".").replace(":", ".")
    hour = int(hours or 0)
    if half:
        hour = hour % 12 + (12 if half.lower() == "pm" else 0)
    return day + hour * 3600.0 + int(minutes) * 60.0 + float(second)


def is_clock(cells: Sequence[str]) -> bool:
    """Whether most cells hold clock times."""
    filled = [cell for cell in cells if cell.strip()]
    return bool(filled) and sum(not math.isnan(seconds_of(cell)) for cell in filled) * 2 > len(filled)


def seconds(cells: Sequence[str], clock: bool, factor: float, decimal: str) -> Array:
    """The times of cells `[row]` in seconds, nan where there is none."""
    if not clock:
        return numbers(cells, decimal) * factor
    quick = _all_alike(cells)
    if quick is not None:
        return quick
    return np.fromiter(map(seconds_of, cells), np.float64, len(cells))


def _all_alike(cells: Sequence[str]) -> Array | None:
    """Clock times that all read '12:00:01.5', or '2026-01-31 12:00:01.5', in one go; none where any reads otherwise."""
    if not cells or not _PLAIN.fullmatch(cells[0]):
        return None
    day = "" if "-" in cells[0] else "1970-01-01T"
    try:
        stamps = np.array([day + cell.replace(",", ".") for cell in cells], dtype="datetime64[us]")
    except ValueError:
        return None
    values = stamps.astype(np.int64) / 1e6
    values[np.isnat(stamps)] = np.nan
    return np.asarray(values, dtype=np.float64)


@dataclass(frozen=True)
class Timed:
    """Rows in time: `elapsed[row]` rises strictly, in seconds since the log began, recordings laid end to end;
    `recording[row]` counts restarts of the clock. The masks say which of the rows given in are left out, and why."""

    kept: NDArray[np.bool_]
    no_time: NDArray[np.bool_]
    duplicate: NDArray[np.bool_]
    backward: NDArray[np.bool_]
    elapsed: Array
    recording: NDArray[np.int64]


class Clock:
    """Follows the clock of a log from portion to portion.

    A time not after the last one is a duplicate or out of order, and its row is left out; one that lies back by more
    than `restart` seconds, or on by more than `pause`, begins a new recording.
    """

    def __init__(self, restart: float, pause: float) -> None:
        self.restart = restart
        self.pause = pause
        self.recordings = 0
        self._last = -math.inf  # latest time of the recording
        self._offset = 0.0
        self._elapsed = 0.0
        self._begun = False

    def take(self, times: Array) -> Timed:
        """The rows of one portion, `times[row]` as logged (nan: none)."""
        known = np.flatnonzero(np.isfinite(times))
        t = times[known]
        kept, duplicate, backward = (np.zeros(len(times), dtype=np.bool_) for _ in range(3))
        elapsed, recording = [np.zeros(0)], [np.zeros(0, dtype=np.int64)]
        start = 0
        while start < len(t):
            stop, keep = self._stretch(t[start : start + _AT_ONCE])
            stop += start
            piece = t[start:stop]
            if start == 0 and not self._begun and len(piece):
                self._offset, self._begun = -piece[0], True
            kept[known[start:stop][keep]] = True
            before = np.maximum.accumulate(np.concatenate([[self._last], piece]))[:-1]
            duplicate[known[start:stop]] = ~keep & (piece == before)
            backward[known[start:stop]] = ~keep & (piece != before)
            if keep.any():
                elapsed.append(piece[keep] + self._offset)
                recording.append(np.full(int(keep.sum()), self.recordings, dtype=np.int64))
                self._last = float(piece[keep][-1])
                self._elapsed = self._last + self._offset
            start = stop
            if start < len(t) and self._jumps(float(t[start])):
                self._begin_again(float(t[start]))
        return Timed(kept, ~np.isfinite(times), duplicate, backward, np.concatenate(elapsed), np.concatenate(recording))

    def _stretch(self, t: Array) -> tuple[int, NDArray[np.bool_]]:
        """How many rows belong to the running recording, and which of them come later than all before."""
        before = np.maximum.accumulate(np.concatenate([[self._last], t]))[:-1]
        again = np.flatnonzero((t < before - self.restart) | ((t > before + self.pause) & np.isfinite(before)))
        stop = int(again[0]) if len(again) else len(t)
        return stop, t[:stop] > before[:stop]

    def _jumps(self, time: float) -> bool:
        return math.isfinite(self._last) and not self._last - self.restart <= time <= self._last + self.pause

    def _begin_again(self, first: float) -> None:
        """A new recording, laid one second behind the end of the last."""
        self.recordings += 1
        self._offset = self._elapsed + 1.0 - first
        self._last = -math.inf
