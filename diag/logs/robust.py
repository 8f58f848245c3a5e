"""Robust means with an error that knows the autocorrelation. May import: numpy, and within the room `cells`.

Rows are taken together in blocks. The middle of a block is one Huber step from its median (Huber 1964); the blocks'
middles are one series in time, and its location is the full Huber estimate. Its error comes from batch means: the
influences of the blocks are averaged over batches of 1, 2, 4, ... blocks, each error widened by Student's quantile for
its few batches. Batches cannot see noise that is as slow as a short log, so the error of a first-order autoregression
stands beside them, its correlation corrected for short series (Kendall 1954; cited from memory). The largest counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array

__all__ = ["Estimate", "Series", "block_middles", "estimate", "student_975"]

MADN = 1.4826  # makes the median absolute deviation of normal noise its standard deviation
NORMAL_975 = 1.959964
MOST_BLOCKS = 4096
LEAST_BLOCKS = 4
FEW_BLOCKS = 16
LEAST_BATCHES = 8


@dataclass(frozen=True)
class Estimate:
    """A location with its error (so that it lies within 1.96 errors in 95 of 100 logs), the spread of single rows
    about it (standard deviation), the rows behind it, and how many independent ones they are worth."""

    mean: float
    error: float
    spread: float
    rows: int
    effective: float
    blocks: int


@dataclass(frozen=True)
class Middles:
    """`middle[block]` and `spread[block]` of the blocks that hold enough rows; `rows` in all of them."""

    middle: Array
    spread: Array
    rows: int


def student_975(freedom: float) -> float:
    """The 97.5 % point of Student's t, by its expansion about the normal (Abramowitz & Stegun 26.7.5).

    `student_975(10)` is 2.228. Good to 0.5 % from 3 degrees of freedom on.
    """
    z, v = NORMAL_975, freedom
    terms = (
        (z**3 + z) / 4 / v,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96 / v**2,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384 / v**3,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160 / v**4,
    )
    return z + sum(terms)


def block_middles(values: Array, block: NDArray[np.int64], bend: float, least: float) -> Middles:
    """The robust middle of every block: `values[row]` with `block[row]` not falling; nan rows do not count.

    A block needs `least` of the rows of the fullest one, and then one step from its median:
    median + mean of the differences, none counted as more than `bend` standard deviations.
    """
    known = ~np.isnan(values)
    x, blocks = values[known], block[known]
    if len(x) == 0:
        return Middles(np.zeros(0), np.zeros(0), 0)
    starts = np.flatnonzero(np.concatenate([[True], blocks[1:] != blocks[:-1]]))
    counts = np.diff(np.append(starts, len(x)))
    owner = np.repeat(np.arange(len(starts)), counts)
    median = _medians(x, starts, counts)
    away = x - median[owner]
    spread = MADN * _medians(np.abs(away), starts, counts)
    plain = np.sqrt(np.add.reduceat(away**2, starts) / counts)
    reach = bend * np.where(spread > 0, spread, plain)[owner]
    step = np.add.reduceat(np.clip(away, -reach, reach), starts) / counts
    good = counts >= max(1.0, least * float(np.max(counts)))
    return Middles((median + step)[good], np.where(spread > 0, spread, 0.0)[good], int(counts[good].sum()))


def block_quantiles(values: Array, starts: NDArray[np.int64], counts: NDArray[np.int64], share: float) -> Array:
    """The value in each block below which a share of its rows lies; `values` have no nan."""
    places = np.floor(share * (counts - 1) + 0.5).astype(np.int64)
    return _ordered(values, starts, counts, (places,))[0]


def _medians(x: Array, starts: NDArray[np.int64], counts: NDArray[np.int64]) -> Array:
    lower, upper = _ordered(x, starts, counts, ((counts - 1) // 2, counts // 2))
    return np.asarray(0.5 * (lower + upper), dtype=np.float64)


def _ordered(
    x: Array, starts: NDArray[np.int64], counts: NDArray[np.int64], places: Sequence[NDArray[np.int64]]
) -> tuple[Array, ...]:
    """The values at some places of each block, once it is sorted: `places[block]` count from 0.

    Blocks of like size are sorted as the rows of one table, which is quick; of very unlike size, all in one.
    """
    longest = int(counts.max())
    if longest * len(counts) <= 4 * len(x):
        table = np.full((len(counts), longest), np.inf)
        owner = np.repeat(np.arange(len(counts)), counts)
        table[owner, np.arange(len(x)) - starts[owner]] = x
        table.sort(axis=1)
        return tuple(table[np.arange(len(counts)), place] for place in places)
    ordered = x[np.lexsort((x, np.repeat(np.arange(len(counts)), counts)))]
    return tuple(ordered[starts + place] for place in places)


class Series:
    """The middles of the blocks of one channel, in time. Never more than `MOST_BLOCKS`: when they are full, neighbours
    are averaged in pairs, so that memory stays bounded however long the log is."""

    def __init__(self) -> None:
        self.rows = 0
        self.merged = 1  # blocks of the log in each that is kept
        self._middles = np.zeros(0)
        self._spreads = np.zeros(0)
        self._waiting: tuple[Array, Array] = (np.zeros(0), np.zeros(0))

    def add(self, found: Middles) -> None:
        """More blocks, later than all before."""
        self.rows += found.rows
        middles = np.concatenate([self._waiting[0], found.middle])
        spreads = np.concatenate([self._waiting[1], found.spread])
        whole = len(middles) // self.merged * self.merged
        self._waiting = (middles[whole:], spreads[whole:])
        shape = (-1, self.merged)
        self._middles = np.concatenate([self._middles, middles[:whole].reshape(shape).mean(axis=1)])
        self._spreads = np.concatenate([self._spreads, spreads[:whole].reshape(shape).mean(axis=1)])
        while len(self._middles) > MOST_BLOCKS:
            self._halve()

    def _halve(self) -> None:
        odd = len(self._middles) % 2
        if odd:
            last = (np.repeat(self._middles[-1:], self.merged), np.repeat(self._spreads[-1:], self.merged))
            self._waiting = (np.concatenate([last[0], self._waiting[0]]), np.concatenate([last[1], self._waiting[1]]))
            self._middles, self._spreads = self._middles[:-1], self._spreads[:-1]
        self._middles = self._middles.reshape(-1, 2).mean(axis=1)
        self._spreads = self._spreads.reshape(-1, 2).mean(axis=1)
        self.merged *= 2

    @property
    def middles(self) -> Array:
        """The kept middles; those that wait to be merged stand in only where there is nothing else."""
        return self._middles if len(self._middles) else self._waiting[0]

    @property
    def within(self) -> float:
        """The usual spread of rows within a block."""
        spreads = self._spreads if len(self._spreads) else self._waiting[1]
        return float(np.median(spreads)) if len(spreads) else 0.0


def estimate(series: Series, bend: float, resolution: float = 0.0) -> Estimate | None:
    """Location, error and spread of a series; none where it has too few blocks to tell its error.

    `resolution` is the step of the logger's numbers: where noise does not blur it, half a step cannot be told.
    """
    b = series.middles
    if len(b) < LEAST_BLOCKS:
        return None
    mean, between = _huber(b, bend)
    influence = _influence(b, mean, between, bend)
    error = max(_batch_error(influence), _first_order_error(influence))
    spread = math.hypot(series.within, between)
    if spread < resolution / 2:
        error = math.hypot(error, resolution / math.sqrt(12))
    effective = min(float(series.rows), (spread / error) ** 2) if error > 0 else float(series.rows)
    return Estimate(mean, error, spread, series.rows, effective, len(b))


def _huber(b: Array, bend: float) -> tuple[float, float]:
    """Huber's location of the blocks' middles, its scale fixed at their MADN; and that scale."""
    mean = float(np.median(b))
    scale = MADN * float(np.median(np.abs(b - mean)))
    if scale == 0.0:
        scale = float(np.std(b))
    if scale == 0.0:
        return mean, 0.0
    for _ in range(100):
        away = np.clip((b - mean) / scale, -bend, bend)
        inside = float(np.mean(np.abs(b - mean) < bend * scale))
        step = scale * float(np.mean(away)) / max(inside, 0.1)
        mean += step
        if abs(step) < 1e-10 * scale:
            break
    return mean, scale


def _influence(b: Array, mean: float, scale: float, bend: float) -> Array:
    """What each block pulls at the location, so that their mean has the location's variance.

    Of few blocks the scale is not known well enough to bend by: then their plain differences, which are rather too
    large than too small.
    """
    if scale == 0.0 or len(b) < FEW_BLOCKS:
        return b - mean
    inside = float(np.mean(np.abs(b - mean) < bend * scale))
    return np.clip(b - mean, -bend * scale, bend * scale) / max(inside, 0.1)


def _batch_error(influence: Array) -> float:
    """The largest standard error by batch means, over batches of 1, 2, 4, ... blocks."""
    largest, size = 0.0, 1
    while size == 1 or len(influence) // size >= LEAST_BATCHES:
        count = len(influence) // size
        means = influence[: count * size].reshape(count, size).mean(axis=1)
        wider = student_975(count - 1) / NORMAL_975
        largest = max(largest, wider * float(np.std(means, ddof=1)) / math.sqrt(count))
        size *= 2
    return largest


def _first_order_error(influence: Array) -> float:
    """Standard error if the blocks follow a first-order autoregression with correlation r: their variance over their
    number times (1 + r) / (1 - r), with so many fewer degrees of freedom. r is biased by -(1 + 3 r) / n."""
    n = len(influence)
    away = influence - float(np.mean(influence))
    variance = float(np.sum(away**2)) / (n - 1)
    if variance <= 0.0:
        return 0.0
    r = float(np.sum(away[1:] * away[:-1])) / float(np.sum(away**2))
    r = min(max(r + (1 + 3 * max(r, 0.0)) / n, 0.0), 0.9)
    longer = (1 + r) / (1 - r)
    wider = student_975(max(n / longer - 1, 2.0)) / NORMAL_975
    return wider * math.sqrt(variance * longer / n)
