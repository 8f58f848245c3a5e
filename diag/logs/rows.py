"""Rows of a log in the units of their channels: made plausible, slow channels held, inactive corrections taken out.

May import: numpy, `diag.basics`, `diag.knowledge_base` (records), and within the room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.knowledge_base import LogColumn
from diag.logs.cells import Array
from diag.logs.clock import Timed
from diag.logs.columns import LogColumnUse
from diag.logs.rules import Rules

__all__ = ["Channel", "Rows", "Shaper"]

_HELD = ("speed", "load", "rail_wanted", "boost_wanted")
_TEMPERATURES = ("coolant", "fuel_temperature")


@dataclass(frozen=True, order=True)
class Channel:
    """One quantity of a log: its name, and the cylinder that it belongs to."""

    name: str
    place: Place = None


@dataclass(frozen=True)
class Rows:
    """Rows in time: `elapsed[row]` in seconds, `recording[row]`, `lasts[row]` seconds that each stands for, and
    `values[channel][row]`, nan where there is none."""

    elapsed: Array
    recording: NDArray[np.int64]
    lasts: Array
    values: Mapping[Channel, Array]

    def __len__(self) -> int:
        return len(self.elapsed)

    def of(self, name: str) -> Array:
        """A channel of the whole engine; nan everywhere where the log has none."""
        found = self.values.get(Channel(name))
        return found if found is not None else np.full(len(self), np.nan)

    def part(self, chosen: slice) -> Rows:
        """Some of the rows."""
        values = {channel: each[chosen] for channel, each in self.values.items()}
        return Rows(self.elapsed[chosen], self.recording[chosen], self.lasts[chosen], values)

    def then(self, later: Rows) -> Rows:
        """These rows and later ones."""
        if not len(self):
            return later
        return Rows(
            np.concatenate([self.elapsed, later.elapsed]),
            np.concatenate([self.recording, later.recording]),
            np.concatenate([self.lasts, later.lasts]),
            {channel: np.concatenate([each, later.values[channel]]) for channel, each in self.values.items()},
        )


class Shaper:
    """Turns portions into rows; remembers across portions what is held."""

    def __init__(self, uses: Sequence[LogColumnUse], columns: Mapping[str, LogColumn], rules: Rules) -> None:
        self.uses = [use for use in uses if use.used and use.channel != "time"]
        self.columns = columns
        self.rules = rules
        self.implausible: dict[int, int] = {}
        self.inactive_rows = 0
        self._last: dict[Channel, tuple[float, float, int]] = {}  # value, elapsed, recording
        self._before = (-np.inf, -1)

    def shape(self, timed: Timed, raw: Mapping[int, Array]) -> Rows:
        """The kept rows of a portion, in channels. `raw[position][row]` as logged."""
        values = {
            Channel(str(use.channel), use.place): self._scaled(use, raw[use.position][timed.kept]) for use in self.uses
        }
        self._without_inactive(values)
        for channel in values:
            longest = self._holds(channel)
            if longest:
                values[channel] = self._held(channel, values[channel], timed, longest)
        self._add_deviation(values, "rail")
        self._add_deviation(values, "boost")
        return Rows(timed.elapsed, timed.recording, self._lasts(timed), values)

    def _scaled(self, use: LogColumnUse, raw: Array) -> Array:
        assert use.scale is not None
        assert use.channel is not None
        column = self.columns[use.channel]
        values = raw * use.scale.factor + use.scale.offset
        if use.reversed:
            values = -values
        wrong = (values < column.lowest) | (values > column.highest)
        if wrong.any():
            self.implausible[use.position] = self.implausible.get(use.position, 0) + int(wrong.sum())
            values[wrong] = np.nan
        return values

    def _without_inactive(self, values: dict[Channel, Array]) -> None:
        """All corrections exactly zero at once: the controller is not at work, and says nothing."""
        channels = [channel for channel in values if channel.name == "correction"]
        if len(channels) < 2:
            return
        zero = np.all([values[channel] == 0 for channel in channels], axis=0)
        if zero.any():
            self.inactive_rows += int(zero.sum())
            for channel in channels:
                values[channel] = np.where(zero, np.nan, values[channel])

    def _holds(self, channel: Channel) -> float:
        if channel.name in _TEMPERATURES:
            return self.rules.hold_temperature
        return self.rules.hold if channel.name in _HELD else 0.0

    def _held(self, channel: Channel, values: Array, timed: Timed, longest: float) -> Array:
        """Each empty row takes the last value before it, where that is not older than `longest` seconds."""
        rows = len(values)
        if not rows:
            return values
        known = ~np.isnan(values)
        last = np.maximum.accumulate(np.where(known, np.arange(rows), -1))
        earlier = self._last.get(channel, (np.nan, -np.inf, -1))
        value = np.where(last >= 0, values[last], earlier[0])
        since = np.where(last >= 0, timed.elapsed[last], earlier[1])
        recording = np.where(last >= 0, timed.recording[last], earlier[2])
        if last[-1] >= 0:
            at = int(last[-1])
            self._last[channel] = (float(values[at]), float(timed.elapsed[at]), int(timed.recording[at]))
        fresh = (timed.elapsed - since <= longest) & (recording == timed.recording)
        return np.where(fresh, value, np.nan)

    def _add_deviation(self, values: dict[Channel, Array], of: str) -> None:
        """Actual less wanted; none where a column stands at exactly zero, as one does that the control unit does not
        fill: no engine runs without rail pressure, and none pulls with no boost asked for."""
        wanted, actual = values.get(Channel(f"{of}_wanted")), values.get(Channel(f"{of}_actual"))
        if wanted is not None and actual is not None:
            asked = (wanted != 0) & ((actual != 0) | (of != "rail"))
            values[Channel(f"{of}_deviation")] = np.where(asked, actual - wanted, np.nan)

    def _lasts(self, timed: Timed) -> Array:
        """Seconds since the row before, at most `bridge`; none for the first of a recording."""
        before = np.concatenate([[self._before[0]], timed.elapsed[:-1]]) if len(timed.elapsed) else np.zeros(0)
        recording = np.concatenate([[self._before[1]], timed.recording[:-1]]) if len(timed.elapsed) else np.zeros(0)
        lasts = np.where(recording == timed.recording, np.minimum(timed.elapsed - before, self.rules.bridge), 0.0)
        if len(timed.elapsed):
            self._before = (float(timed.elapsed[-1]), int(timed.recording[-1]))
        return lasts
