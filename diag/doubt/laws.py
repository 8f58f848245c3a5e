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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from diag.doubt.numbers import Kind, Number, row_of
from diag.inference import Array

__all__ = ["SPREAD", "draw", "draw_row", "law_of", "spread_of"]

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
    return law_of(tuple(numbers)).draws([random])[0]


@dataclass(frozen=True)
class _Law:
    """How some numbers are drawn, worked out once. First come those that stand alone, in their order, then all rows of
    chances; `runs`: so many normals one after the other, or gammas of these shapes. What one generator gives stands in
    one line, `raw[draw, drawn]`, and all draws are finished together."""

    runs: tuple[int | Array, ...]
    paths: tuple[Path, ...]  # first of the normals, then of the chances
    normal: NDArray[np.intp]  # where in the line each stands
    middle: Array
    spread: Array
    logarithmic: NDArray[np.bool_]  # else the middle itself is drawn
    gamma: NDArray[np.intp]  # where in the line each entry of a row stands, what is left of a row included
    shape: Array
    mean: Array
    first: NDArray[np.intp]  # the first entry of each row
    length: NDArray[np.intp]  # and how many it has
    entry: NDArray[np.intp]  # of each chance; -1 where it is 0

    def draws(self, generators: Sequence[np.random.Generator]) -> list[dict[Path, float]]:
        """The numbers, once from each generator."""
        raw = np.array([self._raw(random) for random in generators])
        steps = raw[:, self.normal] * self.spread
        grown = self.middle * np.exp(np.where(self.logarithmic, steps - self.spread**2 / 2, 0.0))
        normals = np.where(self.logarithmic, grown, self.middle + steps)
        gammas = np.maximum(raw[:, self.gamma] * self.mean / self.shape, SMALLEST)
        if len(self.first):
            gammas = gammas / np.repeat(np.add.reduceat(gammas, self.first, axis=1), self.length, axis=1)
        shares = np.concatenate([gammas, np.zeros((len(raw), 1))], axis=1)[:, self.entry]
        return [dict(zip(self.paths, each, strict=True)) for each in np.hstack([normals, shares]).tolist()]

    def _raw(self, random: np.random.Generator) -> Array:
        parts = [
            random.standard_normal(run) if isinstance(run, int) else random.standard_gamma(run) for run in self.runs
        ]
        return np.concatenate([*parts, np.zeros(0)])


@lru_cache(maxsize=16)
def law_of(numbers: tuple[Number, ...]) -> _Law:
    """The law of some numbers; for many draws it is asked for once."""
    by_path = {number.path: number for number in numbers}
    rows: dict[Path, list[Number]] = {}
    alone: list[Number] = []
    for number in numbers:
        row = row_of(number.path)
        if number.kind == "chance" and row is not None:
            rows.setdefault(row, []).append(number)
        else:
            alone.append(number)
    normals = [number for number in alone if number.kind != "chance"]
    entries = _Entries()
    runs: list[int | Array] = []
    normal: list[int] = []
    gamma: list[int] = []
    for chance, some in groupby(alone, lambda number: number.kind == "chance"):
        start = len(normal) + len(gamma)
        members = list(some)
        if chance:
            shape = entries.added([[each] for each in members], least=0.0)
            runs.append(shape)
            gamma += range(start, start + len(shape))
        else:
            runs.append(len(members))
            normal += range(start, start + len(members))
    runs.append(entries.added(list(rows.values()), least=1e-9))
    return _Law(
        runs=tuple(runs),
        paths=(*(number.path for number in normals), *entries.paths),
        normal=np.array(normal, dtype=np.intp),
        middle=np.array([number.value for number in normals]),
        spread=np.array([_spread_drawn(number, by_path) for number in normals]),
        logarithmic=np.array([number.kind != "middle" for number in normals], dtype=np.bool_),
        gamma=np.array([*gamma, *range(len(normal) + len(gamma), len(normal) + len(entries.mean))], dtype=np.intp),
        shape=np.array(entries.shape),
        mean=np.array(entries.mean),
        first=np.array(entries.first, dtype=np.intp),
        length=np.array([*entries.first[1:], len(entries.mean)], dtype=np.intp)
        - np.array(entries.first, dtype=np.intp),
        entry=np.array(entries.entry, dtype=np.intp),
    )


@dataclass
class _Entries:
    """The entries of rows of chances one after the other, as in `_Law`."""

    paths: list[Path] = field(default_factory=list)
    shape: list[float] = field(default_factory=list)
    mean: list[float] = field(default_factory=list)
    first: list[int] = field(default_factory=list)
    entry: list[int] = field(default_factory=list)

    def added(self, rows: Sequence[Sequence[Number]], least: float) -> Array:
        """Add rows, and give the shapes of their entries. What is left of a row counts from `least` on."""
        start = len(self.mean)
        for members in rows:
            self.first.append(len(self.mean))
            rest = max(0.0, 1.0 - math.fsum(number.value for number in members))
            strength = min(number.strength for number in members)
            self._add(rest if rest > least else 0.0, strength)
            for member in members:
                self.paths.append(member.path)
                self.entry.append(self._add(member.value, strength))
        return np.array(self.shape[start:])

    def _add(self, mean: float, strength: float) -> int:
        """Its place, or -1 where nothing is drawn."""
        if not mean > 0:
            return -1
        self.mean.append(mean)
        self.shape.append(max(strength * mean, 1.0))
        return len(self.mean) - 1


def _spread_drawn(number: Number, others: Mapping[Path, Number]) -> float:
    """The standard deviation with which a number that stands alone is drawn: of itself, or of its logarithm."""
    if number.kind == "middle":
        width = others.get((*number.path[:-1], "width"))
        return spread_of(number, width.value if width is not None else 0.0)
    shape = others.get((*number.path[:-1], "shape")) if number.kind == "scale" else None
    return _log_spread(number, shape.value if shape is not None else 1.0)
