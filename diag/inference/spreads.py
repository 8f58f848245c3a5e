"""Which rows of a factor the configurations see: most factors of a plate tell only a few of them apart.

A *spread* says for each configuration (or class of these) which row of a table it sees. Numbers follow the first that
sees a row, or the rows of what was paired, so that factors of one build have equal spreads. May import: numpy, `model`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference.model import Array

__all__ = ["Paired", "Spread", "distinct", "in_order", "paired", "same", "seen_in_order", "summed_by"]

Spread = NDArray[np.intp]
_NEAR = 1 << 15  # numbers that stay near the processor
_MIXED = 0x9E3779B97F4A7C15  # the golden ratio in 64 bits: odd, and its multiples lie evenly


class Paired(Struct, frozen=True, eq=False):
    """Two spreads as one: `spread`, and which row of either each of its rows is."""

    spread: Spread
    first: Spread
    second: Spread

    def __len__(self) -> int:
        return len(self.first)


def distinct(table: Array) -> tuple[Spread, NDArray[np.intp]]:
    """The spread of the rows of a table `[row, ...]`, and the first place of each row that is unlike the others."""
    flat = np.ascontiguousarray(table).reshape(len(table), -1)
    name = _names(flat.view(np.uint64))
    _, first, spread = np.unique(name, return_index=True, return_inverse=True)
    if not np.array_equal(flat[first][spread], flat):  # two rows of one name: never seen, and one in 10^19
        rows = flat.view(np.dtype((np.void, flat.shape[1] * flat.itemsize))).ravel()
        _, first, spread = np.unique(rows, return_index=True, return_inverse=True)
    return in_order(spread.reshape(-1))


def _names(bits: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A number for each row that is hardly ever that of another; a few rows at once, so that they stay near."""
    factors = (2 * np.arange(1, bits.shape[1] + 1, dtype=np.uint64) + np.uint64(1)) * np.uint64(_MIXED)
    result = np.empty(len(bits), dtype=np.uint64)
    step = max(1, _NEAR // bits.shape[1])
    for start in range(0, len(bits), step):
        some = bits[start : start + step]
        mixed = some >> np.uint64(29)
        mixed ^= some
        mixed *= np.uint64(_MIXED)
        mixed ^= mixed >> np.uint64(32)
        mixed *= factors
        np.sum(mixed, axis=1, dtype=np.uint64, out=result[start : start + step])
    return result


def in_order(spread: Spread) -> tuple[Spread, NDArray[np.intp]]:
    """The rows numbered by who sees them first, and who that is."""
    first = np.empty(int(spread.max()) + 1, dtype=np.intp)
    first[spread[::-1]] = np.arange(len(spread) - 1, -1, -1)
    order = np.argsort(first)
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    return number[spread], first[order]


def seen_in_order(spread: Spread) -> tuple[Spread, NDArray[np.intp]]:
    """The same of a spread that need not see every row."""
    seen = np.zeros(int(spread.max()) + 1, dtype=np.bool_)
    seen[spread] = True
    return in_order((np.cumsum(seen) - 1)[spread])


def paired(one: Spread, other: Spread) -> Paired:
    """What two spreads over the same things tell apart together."""
    wide = int(other.max()) + 1
    code = one * wide + other
    most = (int(one.max()) + 1) * wide
    if most <= 8 * len(code):
        seen = np.zeros(most, dtype=np.bool_)
        seen[code] = True
        rows = np.flatnonzero(seen)
        number = np.cumsum(seen) - 1
        spread = number[code]
    else:
        rows, spread = np.unique(code, return_inverse=True)
        spread = spread.reshape(-1)
    first, second = np.divmod(rows, wide)
    return Paired(spread, first, second)


def same(spread: Spread) -> bool:
    """Whether everything sees the row of its own number."""
    return bool(spread[-1] == len(spread) - 1) and np.array_equal(spread, np.arange(len(spread)))


def summed_by(array: Array, spread: Sequence[int] | Spread, axis: int, count: int | None = None) -> Array:
    """The sums of `array` along an axis over all places that see the same row; `count` rows, if not all are seen."""
    rows = np.asarray(spread, dtype=np.intp)
    if count in (None, len(rows)) and same(rows):
        return array
    order = np.argsort(rows, kind="stable")
    starts = np.flatnonzero(np.diff(rows[order], prepend=-1))
    sums = np.add.reduceat(np.take(array, order, axis=axis), starts, axis=axis)
    if count in (None, len(starts)):
        return np.asarray(sums)
    shape = list(array.shape)
    shape[axis] = count or 0
    result = np.zeros(shape)
    result[(slice(None),) * (axis % array.ndim) + (rows[order[starts]],)] = sums
    return result
