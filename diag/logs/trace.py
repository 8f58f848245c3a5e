"""A log small enough to draw: never more than so many buckets, each with the least and greatest value of a channel.

May import: numpy, and within the room `cells`, `fates`, `rows`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array
from diag.logs.fates import USED, Zone
from diag.logs.rows import Channel, Rows

__all__ = ["Trace", "TraceBuckets"]

MOST_BUCKETS = 1600


@dataclass(frozen=True)
class TraceBuckets:
    """`begin[bucket]` and `end[bucket]` in seconds; `low`, `middle` and `high` `[channel][bucket]` (nan: none), the
    middle being the median of the rows (of joined buckets the mean of their medians); and `used[zone][bucket]`: the
    share of its rows that counted."""

    begin: Array
    end: Array
    low: dict[Channel, Array]
    middle: dict[Channel, Array]
    high: dict[Channel, Array]
    used: dict[Zone, Array]


class Trace:
    """Takes rows in portions. When the buckets are full, neighbours are joined in pairs, so that memory is bounded."""

    def __init__(self, channels: Sequence[Channel]) -> None:
        self.channels = tuple(channels)
        self.rows_in_bucket = 1
        width = 1 + len(self.channels)
        self._low, self._middle, self._high = np.zeros((0, width)), np.zeros((0, width)), np.zeros((0, width))
        self._used = np.zeros((0, len(Zone)))
        self._rest: tuple[Array, Array] = (np.zeros((0, width)), np.zeros((0, len(Zone))))

    def add(self, rows: Rows, fate: NDArray[np.int64]) -> None:
        """More rows with their fates."""
        if not len(rows):
            return
        table = np.column_stack([rows.elapsed, *(rows.values[channel] for channel in self.channels)])
        used = np.column_stack([fate == USED[zone] for zone in Zone]).astype(np.float64)
        table, used = np.concatenate([self._rest[0], table]), np.concatenate([self._rest[1], used])
        size = self.rows_in_bucket
        while len(self._low) + len(table) // size > MOST_BUCKETS:
            self._join()
            size = self.rows_in_bucket
        whole = len(table) // size * size
        self._append(table[:whole].reshape(-1, size, table.shape[1]), used[:whole].reshape(-1, size, len(Zone)))
        self._rest = (table[whole:], used[whole:])

    def _append(self, table: Array, used: Array) -> None:
        if len(table):
            self._low = np.concatenate([self._low, np.fmin.reduce(table, axis=1)])
            self._middle = np.concatenate([self._middle, _median(table)])
            self._high = np.concatenate([self._high, np.fmax.reduce(table, axis=1)])
            self._used = np.concatenate([self._used, used.mean(axis=1)])

    def _join(self) -> None:
        """Buckets in pairs; an odd one out stays as it is, and so holds fewer rows than the others."""
        even = len(self._low) // 2 * 2
        shape = (-1, 2, self._low.shape[1])
        low = np.fmin.reduce(self._low[:even].reshape(shape), axis=1)
        high = np.fmax.reduce(self._high[:even].reshape(shape), axis=1)
        pairs = self._middle[:even].reshape(shape)
        count = np.maximum((~np.isnan(pairs)).sum(axis=1), 1)
        middle = np.where(np.isnan(pairs).all(axis=1), np.nan, np.nansum(pairs, axis=1) / count)
        self._middle = np.concatenate([middle, self._middle[even:]])
        used = self._used[:even].reshape(-1, 2, len(Zone)).mean(axis=1)
        self._low = np.concatenate([low, self._low[even:]])
        self._high = np.concatenate([high, self._high[even:]])
        self._used = np.concatenate([used, self._used[even:]])
        self.rows_in_bucket *= 2

    def buckets(self) -> TraceBuckets:
        """The whole log, the rest that fills no bucket included."""
        low, middle, high, used = self._low, self._middle, self._high, self._used
        if len(self._rest[0]):
            low = np.concatenate([low, np.fmin.reduce(self._rest[0], axis=0)[None]])
            middle = np.concatenate([middle, _median(self._rest[0][None])])
            high = np.concatenate([high, np.fmax.reduce(self._rest[0], axis=0)[None]])
            used = np.concatenate([used, self._rest[1].mean(axis=0)[None]])
        lows, middles, highs = (
            {channel: each[:, column + 1] for column, channel in enumerate(self.channels)}
            for each in (low, middle, high)
        )
        return TraceBuckets(low[:, 0], high[:, 0], lows, middles, highs, {zone: used[:, zone] for zone in Zone})


def _median(table: Array) -> Array:
    """The median over the rows of each bucket, `table[bucket, row, column]`, nan where a column has none."""
    ordered = np.sort(table, axis=1)  # nan last
    count = (~np.isnan(table)).sum(axis=1)[:, None, :]
    lower = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=1)
    upper = np.take_along_axis(ordered, np.minimum(count // 2, table.shape[1] - 1), axis=1)
    return np.asarray(np.where(count > 0, 0.5 * (lower + upper), np.nan)[:, 0, :], dtype=np.float64)
