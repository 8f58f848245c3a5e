"""What a log says: records that the reports show. May import: numpy, and within the room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from diag.basics import Place, Problem
from diag.logs.columns import LogColumnUse
from diag.logs.fates import Fate, Zone
from diag.logs.robust import Estimate
from diag.logs.rows import Channel
from diag.logs.trace import TraceBuckets

__all__ = ["LogReading", "LogResult", "LogStatistic", "RowCount", "Stretches", "WhyNot"]

WhyNot = Literal["", "too short", "implausible", "stands still", "warmth unknown"]


@dataclass(frozen=True)
class RowCount:
    """How many rows had one fate, and how long these were together."""

    fate: Fate
    rows: int
    seconds: float


@dataclass(frozen=True)
class Stretches:
    """The stretches of one kind that count: how many, how long together, how many rows."""

    zone: Zone
    count: int
    seconds: float
    rows: int


@dataclass(frozen=True)
class LogStatistic:
    """What one channel shows in the stretches of one kind, in the channel's unit. `estimate` none: too few blocks."""

    zone: Zone
    channel: Channel
    unit: str
    rows: int
    estimate: Estimate | None


@dataclass(frozen=True)
class LogReading:
    """A reading of the case that the log gives: in the reading's unit, with its error (95 of 100 within 1.96 of it).

    `censored`: the controller stood at its limit, the true value lies beyond. `why_not` says why it must not be taken
    into a case, and is empty where it may.
    """

    item: str
    place: Place
    value: float
    error: float
    unit: str
    decimals: int
    censored: Literal["", "above", "below"] = ""
    why_not: WhyNot = ""

    @property
    def text(self) -> str:
        """Without its error: '2.13 mg/stroke', 'above 5 mg/stroke'."""
        return f"{self._number} {self.unit}"

    @property
    def for_case(self) -> str:
        """As it is written into a case: '2.13 +/- 0.04 mg/stroke', 'above 5 mg/stroke'."""
        error = f" +/- {self.error:.2g}" if self.error > 0 and not self.censored else ""
        return f"{self._number}{error} {self.unit}"

    @property
    def _number(self) -> str:
        side = f"{self.censored} " if self.censored else ""
        return f"{side}{round(self.value, self.decimals) + 0.0:.{self.decimals}f}"  # + 0.0: no minus zero


@dataclass(frozen=True)
class LogResult:
    """A log, read. `counts` has every fate that occurred, and adds up to `rows`. `odd` counts cells that hold no
    number, by column; `implausible` numbers that cannot be, by column; `first_odd` where the first of each stands;
    `empty` has the columns that are used and hold no number in any row, `zero` those that hold nothing but zeros."""

    file: str
    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    rows: int
    seconds: float
    recordings: int
    columns: tuple[LogColumnUse, ...]
    counts: tuple[RowCount, ...]
    stretches: tuple[Stretches, ...]
    statistics: tuple[LogStatistic, ...]
    readings: tuple[LogReading, ...]
    inactive_rows: int
    odd: dict[int, int]
    implausible: dict[int, int]
    first_odd: dict[int, Problem]
    empty: frozenset[int]
    zero: frozenset[int]
    trace: TraceBuckets
