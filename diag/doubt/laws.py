"""How numbers are drawn again: each by its strength, that is as if it had been seen in so many cases.

- *Chances* of a row: Dirichlet with as many cases as its strength; a chance by itself: Beta, the same with two states.
  A chance too rare to be seen once in so many cases is as if seen once: its gamma has shape 1, else whoever judges
  'one in a thousand' on ten cases' strength would have said 'never, but rarely often'.
- *Life*: log-normal with the large-sample spread of the maximum-likelihood estimates of a Weibull life from so many
  failures: the shape's logarithm has the variance 0.608/n, the scale's 1.109/(n shape^2) (from the inverse of Fisher's
  information; Weibull 1951, Meeker & Escobar 1998, from memory).
- *Readings*: the middle normal with width / sqrt(n), the width log-normal with 1 / sqrt(2 n) (of a normal sample).
- *Times and prices*: log-normal; from one case to the next the logarithm has the standard deviation `SPREAD` (common
  practice, no source), and n cases settle it sqrt(n) times better.

May import: inference (its array type), numpy, and `numbers`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diag.doubt.numbers import Kind, Number, row_of
from diag.inference import Array

__all__ = ["SPREAD", "draw", "draw_row", "spread_of"]

Path = tuple[int | str, ...]

SPREAD: dict[Kind, float] = {"money": 0.3, "time": 0.4, "stretch": 0.5, "amount": 0.3}
SHAPE_VARIANCE, SCALE_VARIANCE = 0.608, 1.109
SMALLEST = 1e-12  # a chance drawn is never quite 0, so that nothing becomes impossible that was not


def draw_row(chances: Sequence[float], strength: float, random: np.random.Generator) -> Array:
    """Chances of a row that sum to 1, drawn again: normalised gammas of the mean of each and of the shape
    max(strength x chance, 1). Where all chances are seen at least once that is the Dirichlet law."""
    mean = np.asarray(chances, dtype=np.float64)
    known = mean > 0
    shape = np.maximum(strength * mean[known], 1.0)
    drawn = np.zeros(len(mean))
    drawn[known] = np.maximum(random.gamma(shape) * mean[known] / shape, SMALLEST)
    return np.asarray(drawn / drawn.sum())


def spread_of(number: Number, beside: float = 1.0) -> float:
    """The standard deviation of a number by its law: of a chance and a middle itself, of all others that of the
    logarithm times the value. `beside`: the width beside a middle, the shape beside a scale."""
    n = number.strength
    if number.kind == "chance":
        seen = max(n, 1.0 / number.value if number.value > 0 else n)
        return math.sqrt(number.value * (1.0 - number.value) / (seen + 1.0))
    if number.kind == "middle":
        return beside / math.sqrt(n)
    return abs(number.value) * _log_spread(number, beside)


def _log_spread(number: Number, shape: float) -> float:
    """Standard deviation of the logarithm; `shape` is that of the life."""
    n = number.strength
    if number.kind == "shape":
        return math.sqrt(SHAPE_VARIANCE / n)
    if number.kind == "scale":
        return math.sqrt(SCALE_VARIANCE / n) / shape
    if number.kind == "width":
        return 1.0 / math.sqrt(2.0 * n)
    return SPREAD[number.kind] / math.sqrt(n)


def draw(numbers: Sequence[Number], random: np.random.Generator) -> dict[Path, float]:
    """All numbers drawn once. Numbers of one row of chances are drawn together, all others by themselves."""
    return law_of(tuple(numbers)).draw(random)


@dataclass(frozen=True)
class _Law:
    """How some numbers are drawn, worked out once: one after the other those that stand alone, then all rows in one
    call (a generator gives the same values either way)."""

    alone: tuple[tuple[Path, Callable[[np.random.Generator], float]], ...]
    paths: tuple[Path, ...]  # of the rows' chances, in order
    shape: Array  # [entry] of the gammas, those of what is left of a row included
    mean: Array
    row: NDArray[np.intp]  # which row each entry belongs to
    drawn: NDArray[np.intp]  # the entry of each path; -1 where its chance is 0

    def draw(self, random: np.random.Generator) -> dict[Path, float]:
        """The numbers."""
        values = {path: taken(random) for path, taken in self.alone}
        gammas = np.maximum(random.gamma(self.shape) * self.mean / self.shape, SMALLEST)
        shares = gammas / np.bincount(self.row, weights=gammas)[self.row] if len(gammas) else gammas
        padded = np.append(shares, 0.0)
        return values | dict(zip(self.paths, padded[self.drawn].tolist(), strict=True))


@lru_cache(maxsize=16)
def law_of(numbers: tuple[Number, ...]) -> _Law:
    """The law of some numbers."""
    by_path = {number.path: number for number in numbers}
    rows: dict[Path, list[Number]] = {}
    alone = []
    for number in numbers:
        row = row_of(number.path)
        if number.kind == "chance" and row is not None:
            rows.setdefault(row, []).append(number)
        else:
            alone.append((number.path, _taken(number, by_path)))
    paths: list[Path] = []
    means: list[float] = []
    shapes: list[float] = []
    row_of_entry: list[int] = []
    entries: list[int] = []
    for place, members in enumerate(rows.values()):
        rest = max(0.0, 1.0 - math.fsum(number.value for number in members))
        strength = min(number.strength for number in members)
        for member, mean in [(None, rest if rest > 1e-9 else 0.0), *((each, each.value) for each in members)]:
            if member is not None:
                paths.append(member.path)
                entries.append(len(means) if mean > 0 else -1)
            if mean > 0:
                means.append(mean)
                shapes.append(max(strength * mean, 1.0))
                row_of_entry.append(place)
    return _Law(
        tuple(alone),
        tuple(paths),
        np.array(shapes),
        np.array(means),
        np.array(row_of_entry, dtype=np.intp),
        np.array(entries, dtype=np.intp),
    )


def _taken(number: Number, others: Mapping[Path, Number]) -> Callable[[np.random.Generator], float]:
    """How a number that stands alone is drawn."""
    if number.kind == "chance":
        return lambda random: float(draw_row([1.0 - number.value, number.value], number.strength, random)[1])
    return lambda random: _drawn(number, others, random)


def _drawn(number: Number, others: Mapping[Path, Number], random: np.random.Generator) -> float:
    if number.kind == "middle":
        width = others.get((*number.path[:-1], "width"))
        return number.value + random.standard_normal() * spread_of(number, width.value if width is not None else 0.0)
    shape = others.get((*number.path[:-1], "shape")) if number.kind == "scale" else None
    sigma = _log_spread(number, shape.value if shape is not None else 1.0)
    return float(number.value * math.exp(sigma * random.standard_normal() - sigma**2 / 2))
