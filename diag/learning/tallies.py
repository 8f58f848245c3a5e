"""Counts in the making, by figure: summed over cases, or case by case. May import: `diag.casebook`, `diag.network`,
`diag.inference` for its arrays, numpy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import Answer, Measured
from diag.inference import Array
from diag.network import Alike, FigurePath

__all__ = ["Key", "Seen", "Tally", "Told"]

Key = tuple[str, Place]
Told = Mapping[int, tuple[Answer | Measured, ...]]


@dataclass(frozen=True)
class Seen:
    """A reading with the chance of each level of what it shows, times how often the case counts: `value` and `error` in
    the measure of the spreads."""

    item: str
    value: float
    error: float
    weights: Array
    case: int


class Tally:
    """`true[0 or case, figure]` and `used[0 or case, figure]`. `weight[case]` is how often each case counts in sums."""

    def __init__(self, group: Alike, index: Mapping[FigurePath, int], weights: Array, apart: bool) -> None:
        self.group, self.index, self.apart = group, index, apart
        self.weight = np.ones_like(weights) if apart else weights
        self.true: Array = np.zeros((len(weights) if apart else 1, len(index)))
        self.used: Array = np.zeros_like(self.true)

    def add(self, path: FigurePath | None, true: Array, cases: NDArray[np.int64], used: Array | float = 0.0) -> None:
        """Add what rows hold `[row]`, of these cases, to a figure, where it is one that is learned."""
        number = self.index.get(path) if path is not None else None
        if number is None:
            return
        if not self.apart:
            self.true[0, number] += true.sum()
            self.used[0, number] += np.sum(used)
            return
        np.add.at(self.true[:, number], cases, true)
        np.add.at(self.used[:, number], cases, np.broadcast_to(used, true.shape))
