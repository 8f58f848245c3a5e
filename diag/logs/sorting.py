"""Sorts the rows of a log into stretches that count, and keeps what those say.

May import: numpy, and within the room.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array
from diag.logs.cranking import Attempt, Before, find_attempts, last_of
from diag.logs.fates import USED, Fate, Zone
from diag.logs.robust import MADN, Series, block_middles, block_quantiles
from diag.logs.rows import Channel, Rows
from diag.logs.rules import Rules
from diag.logs.runs import Carry, Runs, find_runs
from diag.logs.trace import Trace

__all__ = ["Extremes", "Sorter", "Start"]

MOST_HELD = 300_000  # rows that wait for their block to end; more are cut off where they stand
LEAST_OF_BLOCK = 0.5
_LOW, _HIGH = 0.1, 0.9  # between these shares of its rows a steady block may swing


@dataclass
class Extremes:
    """How often a channel stood at its greatest and its least value, and the step between its values."""

    highest: float = -np.inf
    at_highest: int = 0
    lowest: float = np.inf
    at_lowest: int = 0
    rows: int = 0
    step: float = np.inf

    def add(self, values: Array) -> None:
        """More values, without nan."""
        if not len(values):
            return
        self.rows += len(values)
        high, low = float(values.max()), float(values.min())
        if high > self.highest:
            self.highest, self.at_highest = high, 0
        if low < self.lowest:
            self.lowest, self.at_lowest = low, 0
        self.at_highest += int(np.count_nonzero(values == self.highest))
        self.at_lowest += int(np.count_nonzero(values == self.lowest))
        distinct = np.unique(values[:20_000])
        if len(distinct) > 1:
            self.step = min(self.step, float(np.diff(distinct).min()))


@dataclass
class Start:
    """The longest attempt of the starter: how long, and the rail pressure at its end (median, spread, rows)."""

    attempts: int = 0
    seconds: float = 0.0
    rail: float = np.nan
    rail_spread: float = np.nan
    rail_rows: int = 0


@dataclass
class Sorter:
    """Takes rows in portions; `finish` ends the last stretch. Afterwards `counts[fate]` and `seconds[fate]` add up to
    all rows, `series[zone, channel]` and `extremes[channel]` hold what the stretches say, `stretches[zone]` how many
    there were. `warm_said`: the engine was warm, though no column says it."""

    rules: Rules
    trace: Trace
    has_coolant: bool
    has_load: bool
    warm_said: bool = False
    counts: NDArray[np.int64] = field(default_factory=lambda: np.zeros(len(Fate), dtype=np.int64))
    seconds: Array = field(default_factory=lambda: np.zeros(len(Fate)))
    series: dict[tuple[Zone, Channel], Series] = field(default_factory=dict)
    extremes: dict[Channel, Extremes] = field(default_factory=dict)
    stretches: dict[Zone, int] = field(default_factory=lambda: dict.fromkeys(Zone, 0))
    start: Start = field(default_factory=Start)

    def __post_init__(self) -> None:
        self._held: Rows | None = None
        self._before = Before()
        self._idle = self._load = Carry()
        self._seen: dict[Zone, float] = dict.fromkeys(Zone, np.nan)

    def add(self, rows: Rows) -> None:
        """More rows, later than all before."""
        rows = rows if self._held is None else self._held.then(rows)
        if len(rows):
            self._take(rows, final=False)

    def finish(self) -> None:
        """No more rows will come."""
        if self._held is not None and len(self._held):
            self._take(self._held, final=True)
        self._held = None

    def _take(self, rows: Rows, final: bool) -> None:
        """Give every row its fate but those at the end whose stretch goes on: these wait."""
        rules = self.rules
        fate, warm_idle, load = self._zones(rows)
        attempts = find_attempts(rows, rules, self._before, final)
        idle_runs = find_runs(warm_idle, rows, self._idle, rules.bridge, rules.idle_settles, rules.block, final)
        load_runs = find_runs(load, rows, self._load, rules.bridge, rules.load_settles, rules.load_block, final)
        waits = [runs.open_from for runs in (idle_runs, load_runs) if runs.open_from is not None]
        waits += [int(each.index[0]) for each in attempts if each.open and each.fate is not Fate.CRANKING_LONG]
        cut = min(waits, default=len(rows))
        if len(rows) - cut > MOST_HELD:
            cut = len(rows)
        for attempt in attempts:
            self._attempt(rows, attempt, fate, cut)
        self._idle_blocks(rows, idle_runs, fate, cut)
        self._load_blocks(rows, load_runs, fate, cut)
        self._before = last_of(rows, cut, self._before)
        self._idle, self._load = idle_runs.carry(rows, cut, self._idle), load_runs.carry(rows, cut, self._load)
        done = fate[:cut]
        self.counts += np.bincount(done, minlength=len(Fate))
        self.seconds += np.bincount(done, weights=rows.lasts[:cut], minlength=len(Fate))
        self.trace.add(rows.part(slice(0, cut)), done)
        self._held = rows.part(slice(cut, None))

    def _zones(self, rows: Rows) -> tuple[NDArray[np.int64], NDArray[np.bool_], NDArray[np.bool_]]:
        """The fate of each row by itself, and which rows are warm idle or load as far as one row can tell."""
        rules, speed, coolant = self.rules, rows.of("speed"), rows.of("coolant")
        fate = np.full(len(rows), int(Fate.NEITHER), dtype=np.int64)
        idle = (speed >= rules.idle_from) & (speed <= rules.idle_to)
        warm = (
            np.ones(len(rows), dtype=np.bool_)
            if self.warm_said and not self.has_coolant
            else coolant >= rules.warm_from
        )
        fate[idle & ~warm] = Fate.COLD
        if not (self.warm_said and not self.has_coolant):
            fate[idle & np.isnan(coolant)] = Fate.WARMTH_UNKNOWN
        if self.has_load:
            pulls = rows.of("load") >= rules.load_share
        else:
            pulls = np.fmax(rows.of("rail_wanted"), rows.of("rail_actual")) >= rules.load_rail
        fate[speed < rules.cranking_from] = Fate.STANDING
        fate[np.isnan(speed)] = Fate.NO_SPEED
        return fate, idle & warm, (speed >= rules.load_from) & pulls

    def _attempt(self, rows: Rows, attempt: Attempt, fate: NDArray[np.int64], cut: int) -> None:
        index = attempt.index[attempt.index < cut]
        fate[index] = attempt.fate
        if attempt.fate is not Fate.CRANKING_USED or not len(index):
            return
        age = rows.elapsed[index] - rows.elapsed[index[0]]
        fate[index[age < self.rules.cranking_inrush]] = Fate.CRANKING_INRUSH
        used = index[age >= self.rules.cranking_inrush]
        if not len(used):
            return
        self.stretches[Zone.CRANKING] += 1
        block = np.floor(rows.elapsed[used] / (self.rules.cranking_tail / 2)).astype(np.int64)
        for name in ("speed", "battery"):
            self._keep(Zone.CRANKING, Channel(name), rows.of(name)[used], block)
        self._keep_start(rows, used, float(age[-1]))

    def _keep_start(self, rows: Rows, used: NDArray[np.int64], seconds: float) -> None:
        self.start.attempts += 1
        tail = used[rows.elapsed[used] >= rows.elapsed[used[-1]] - self.rules.cranking_tail]
        rail = rows.of("rail_actual")[tail]
        rail = rail[~np.isnan(rail)]
        if seconds <= self.start.seconds or len(rail) < 3:
            return
        middle = float(np.median(rail))
        spread = MADN * float(np.median(np.abs(rail - middle)))
        self.start.seconds, self.start.rail, self.start.rail_rows = seconds, middle, len(rail)
        self.start.rail_spread = max(spread, float(np.std(rail, ddof=1)))

    def _idle_blocks(self, rows: Rows, runs: Runs, fate: NDArray[np.int64], cut: int) -> None:
        keep = runs.index < cut
        index, settled, block, begun = runs.index[keep], runs.settled[keep], runs.block[keep], runs.begun[keep]
        fate[index[~settled]] = Fate.IDLE_SETTLING
        index, block, begun = index[settled], block[settled], begun[settled]
        if not len(index):
            return
        starts = np.flatnonzero(np.concatenate([[True], block[1:] != block[:-1]]))
        counts = np.diff(np.append(starts, len(block)))
        speed = rows.of("speed")[index]
        swing = block_quantiles(speed, starts, counts, _HIGH) - block_quantiles(speed, starts, counts, _LOW)
        steady = np.repeat(swing <= self.rules.idle_swing, counts)
        whole = np.repeat(counts >= LEAST_OF_BLOCK * counts.max(), counts)
        fate[index] = np.where(~steady, Fate.IDLE_UNSTEADY, np.where(whole, Fate.IDLE_USED, Fate.IDLE_FRAGMENT))
        used = steady & whole
        self._keep_zone(Zone.IDLE, rows, index[used], block[used], begun[used])
        for channel in rows.values:
            values = rows.values[channel][index[used]]
            self.extremes.setdefault(channel, Extremes()).add(values[~np.isnan(values)])

    def _load_blocks(self, rows: Rows, runs: Runs, fate: NDArray[np.int64], cut: int) -> None:
        keep = runs.index < cut
        index, settled, block, begun = runs.index[keep], runs.settled[keep], runs.block[keep], runs.begun[keep]
        fate[index[~settled]] = Fate.LOAD_SETTLING
        index, block, begun = index[settled], block[settled], begun[settled]
        if not len(index):
            return
        starts = np.flatnonzero(np.concatenate([[True], block[1:] != block[:-1]]))
        counts = np.diff(np.append(starts, len(block)))
        whole = np.repeat(counts >= LEAST_OF_BLOCK * counts.max(), counts)
        fate[index] = np.where(whole, Fate.LOAD_USED, Fate.LOAD_FRAGMENT)
        self._keep_zone(Zone.LOAD, rows, index[whole], block[whole], begun[whole])

    def _keep_zone(
        self, zone: Zone, rows: Rows, index: NDArray[np.int64], block: NDArray[np.int64], begun: Array
    ) -> None:
        if not len(index):
            return
        runs = np.unique(begun)
        self.stretches[zone] += len(runs) - int(runs[0] == self._seen[zone])
        self._seen[zone] = float(runs[-1])
        for channel, values in rows.values.items():
            self._keep(zone, channel, values[index], block)

    def _keep(self, zone: Zone, channel: Channel, values: Array, block: NDArray[np.int64]) -> None:
        middles = block_middles(values, block, self.rules.huber_bend, LEAST_OF_BLOCK)
        if len(middles.middle):
            self.series.setdefault((zone, channel), Series()).add(middles)

    def used_seconds(self, zone: Zone) -> float:
        """How long the stretches of a zone are together."""
        return float(self.seconds[USED[zone]])
