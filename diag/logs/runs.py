"""Runs of rows that belong to one stretch, and the blocks that they are cut into.

May import: numpy, and within the room `cells`, `rows`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.logs.cells import Array
from diag.logs.rows import Rows

__all__ = ["Carry", "Runs", "find_runs"]


@dataclass(frozen=True)
class Carry:
    """The run that was under way at the end of the last portion: when it began, its last row."""

    begun: float = float("nan")
    elapsed: float = float("-inf")
    recording: int = -1


@dataclass(frozen=True)
class Runs:
    """The rows of a mask, in runs: `index[row]`, `begun[row]` when its run began, `settled[row]`, `block[row]` counting
    within the portion. `open_from`: index of the first row of a block that may go on, none where all are whole."""

    index: NDArray[np.int64]
    begun: Array
    settled: NDArray[np.bool_]
    block: NDArray[np.int64]
    open_from: int | None

    def carry(self, rows: Rows, count: int, before: Carry) -> Carry:
        """The run under way after the first `count` rows."""
        inside = np.flatnonzero(self.index < count)
        if not len(inside):
            return before
        at = int(inside[-1])
        row = int(self.index[at])
        return Carry(float(self.begun[at]), float(rows.elapsed[row]), int(rows.recording[row]))


def find_runs(
    mask: NDArray[np.bool_], rows: Rows, before: Carry, bridge: float, settles: float, block: float, final: bool
) -> Runs:
    """Cut the rows of a mask into runs, ended by interruptions longer than `bridge`, and these into blocks."""
    index = np.flatnonzero(mask)
    elapsed, recording = rows.elapsed[index], rows.recording[index]
    if not len(index):
        return Runs(index, elapsed, np.zeros(0, dtype=np.bool_), index, None)
    since = elapsed - np.concatenate([[before.elapsed], elapsed[:-1]])
    same = recording == np.concatenate([[before.recording], recording[:-1]])
    new = ~(same & (since <= bridge))
    first = np.maximum.accumulate(np.where(new, np.arange(len(index)), -1))
    begun = np.where(first >= 0, elapsed[first], before.begun)
    age = elapsed - begun - settles
    settled = age >= 0
    number = np.where(settled, np.floor(age / block), -1.0)
    changes = new | np.concatenate([[True], number[1:] != number[:-1]])
    count = np.cumsum(changes)
    open_from = None
    still = rows.recording[-1] == recording[-1] and rows.elapsed[-1] - elapsed[-1] <= bridge
    if settled[-1] and not final and still:
        open_from = int(index[np.flatnonzero(count == count[-1])[0]])
    return Runs(index, begun, settled, count, open_from)
