"""The laws that a reading's true value may follow: normal, log-normal, Student t, and mixtures of these.

May import: numpy, `diag.knowledge_base` records, and the laws beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

import numpy as np
from msgspec import Struct

from diag.evidence.normal import Array, log_normal_density, normal_cumulative, normal_quantile
from diag.evidence.student import log_student_density, student_cumulative, student_quantile
from diag.knowledge_base import Distribution, Mixture

__all__ = [
    "Share",
    "Spread",
    "beyond",
    "cumulative",
    "cumulatives",
    "density",
    "even_quantiles",
    "log_density",
    "mixed",
    "mixture_quantile",
    "quantile",
    "spread_of",
]

_MOST_STEPS = 200


class Spread(Struct, frozen=True):
    """How true values spread between engines, in the reading's unit.

    normal: mean `middle`, standard deviation `width`. log-normal: median `middle`, standard deviation of the logarithm
    `width`. student t: centre `middle`, scale `width`, `freedom` degrees. A width of 0 is one value, always.
    mixture: of the laws in `shares`; `middle` is the mean of their middles, `width` the largest of their widths.
    """

    shape: Literal["normal", "log-normal", "student t", "mixture"]
    middle: float
    width: float
    freedom: float = 4.0
    shares: tuple[Share, ...] = ()

    @property
    def laws(self) -> tuple[Spread, ...]:
        """The laws that it is made of: itself, where it is no mixture."""
        return tuple(share.law for share in self.shares) or (self,)

    @property
    def finest(self) -> float:
        """The smallest width of its laws."""
        return min(law.width for law in self.laws)


class Share(NamedTuple):
    """A law of a mixture, and the share of engines that follow it."""

    weight: float
    law: Spread


def mixed(shares: Sequence[Share]) -> Spread:
    """A mixture; the weights are divided by their sum."""
    total = math.fsum(share.weight for share in shares)
    parts = tuple(Share(share.weight / total, share.law) for share in shares)
    middle = math.fsum(share.weight * share.law.middle for share in parts)
    return Spread("mixture", middle, max(share.law.width for share in parts), shares=parts)


def spread_of(distribution: Distribution | Mixture, multiple: float = 1.0) -> Spread:
    """A distribution of the knowledge, in multiples of `multiple` (a limit of the engine, or 1)."""
    if isinstance(distribution, Mixture):
        return mixed([Share(part.weight.value, spread_of(part, multiple)) for part in distribution.parts])
    width = distribution.width.value
    if distribution.shape != "log-normal":
        width *= abs(multiple)
    return Spread(distribution.shape, distribution.middle.value * multiple, width, distribution.freedom)


def log_density(spread: Spread, x: Array) -> Array:
    """Natural logarithm of the density at `x`; -inf where a log-normal cannot be. The width must not be 0."""
    x = np.asarray(x, dtype=np.float64)
    if spread.shares:
        logs = [math.log(share.weight) + log_density(share.law, x) for share in spread.shares]
        return np.asarray(np.logaddexp.reduce(logs, axis=0))
    if spread.shape == "normal":
        return log_normal_density((x - spread.middle) / spread.width) - math.log(spread.width)
    if spread.shape == "student t":
        return log_student_density((x - spread.middle) / spread.width, spread.freedom) - math.log(spread.width)
    positive = np.where(x > 0, x, 1.0)
    z = np.log(positive / spread.middle) / spread.width
    return np.where(x > 0, log_normal_density(z) - np.log(positive * spread.width), -np.inf)


def density(spread: Spread, x: Array) -> Array:
    """The density at `x`, per unit of the reading."""
    return np.exp(log_density(spread, x))


def cumulative(spread: Spread, x: Array) -> Array:
    """P(true value <= x)."""
    x = np.asarray(x, dtype=np.float64)
    if spread.shares:
        return np.asarray(sum(share.weight * cumulative(share.law, x) for share in spread.shares))
    if spread.width == 0:
        return np.asarray(x >= spread.middle, dtype=np.float64)
    return _cumulative_of(spread.shape, spread.freedom, spread.middle, spread.width, x)


def cumulatives(spreads: Sequence[Spread], x: Array) -> Array:
    """P(true value <= x) for each of several spreads: `[spread, ...]`; laws of one shape (and freedom) go together."""
    x = np.asarray(x, dtype=np.float64)
    result = np.empty((len(spreads), *x.shape))
    alike: dict[tuple[str, float], list[int]] = {}
    for number, spread in enumerate(spreads):
        if spread.shares or spread.width == 0:
            result[number] = cumulative(spread, x)
        else:
            alike.setdefault((spread.shape, spread.freedom if spread.shape == "student t" else 0.0), []).append(number)
    for (shape, freedom), numbers in alike.items():
        middle, width = np.array([(spreads[number].middle, spreads[number].width) for number in numbers]).T
        along = (len(numbers), *(1,) * x.ndim)
        result[numbers] = _cumulative_of(shape, freedom, middle.reshape(along), width.reshape(along), x)
    return result


def _cumulative_of(shape: str, freedom: float, middle: float | Array, width: float | Array, x: Array) -> Array:
    """P(true value <= x) of a law, or of several along the axes of `middle` and `width`; no width is 0."""
    if shape == "normal":
        return normal_cumulative((x - middle) / width)
    if shape == "student t":
        return student_cumulative((x - middle) / width, freedom)
    positive = np.where(x > 0, x, 1.0)
    return np.where(x > 0, normal_cumulative(np.log(positive / middle) / width), 0.0)


def beyond(spread: Spread, x: Array) -> Array:
    """P(true value > x), to full precision far above the middle."""
    x = np.asarray(x, dtype=np.float64)
    if spread.shares:
        return np.asarray(sum(share.weight * beyond(share.law, x) for share in spread.shares))
    if spread.width == 0:
        return 1.0 - cumulative(spread, x)
    if spread.shape == "normal":
        return normal_cumulative((spread.middle - x) / spread.width)
    if spread.shape == "student t":
        return student_cumulative((spread.middle - x) / spread.width, spread.freedom)
    positive = np.where(x > 0, x, 1.0)
    above = normal_cumulative(np.log(spread.middle / positive) / spread.width)
    return np.where(x > 0, above, 1.0)


def mixture_quantile(spread: Spread, below: Array, above: Array) -> Array:
    """The value of a mixture that leaves a share `below` under it and `above` over it (they sum to 1; both are given so
    that the smaller keeps its digits): Newton's steps on the logarithm of the smaller tail, halving where one would
    leave the bracket. It lies between the quantiles of its laws."""
    ends = np.stack([_tail_quantile(law, below, above) for law in spread.laws])
    low, high = ends.min(axis=0), ends.max(axis=0)
    lower = below <= above
    wanted = np.log(np.where(lower, below, above))
    x = 0.5 * (low + high)
    for _ in range(_MOST_STEPS):
        tail = np.where(lower, cumulative(spread, x), beyond(spread, x))
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            off = np.where(lower, 1.0, -1.0) * (np.log(tail) - wanted)  # rises with x
            low, high = np.where(off < 0, x, low), np.where(off >= 0, x, high)
            new = x - off * tail / density(spread, x)
        new = np.where((new > low) & (new < high), new, 0.5 * (low + high))
        settled = np.abs(new - x) <= 1e-15 * np.abs(x)
        x = new
        if np.all(settled | (high - low <= 4e-16 * np.maximum(np.abs(low), np.abs(high)))):
            break
    return np.asarray(x)


def _tail_quantile(law: Spread, below: Array, above: Array) -> Array:
    """The quantile by the smaller tail: normal and Student t are symmetrical, log-normal on its logarithm."""
    lower = below <= above
    tail = np.minimum(np.where(lower, below, above), 0.5)
    at = quantile(law, tail)
    if law.shape == "log-normal":
        return np.where(lower, at, law.middle * (law.middle / at))
    return np.where(lower, at, 2.0 * law.middle - at)


def quantile(spread: Spread, p: Array) -> Array:
    """The value below which a share `p` of the true values lies, for 0 < p < 1."""
    p = np.asarray(p, dtype=np.float64)
    if spread.shares:
        return mixture_quantile(spread, p, 1.0 - p)
    if spread.shape == "student t":
        return _at_standard(spread, student_quantile(p, spread.freedom))
    return _at_standard(spread, normal_quantile(p))


def even_quantiles(spread: Spread, count: int) -> Array:
    """The quantiles of `spread` in the middles of `count` equal shares: `[share]`."""
    if spread.shares:
        return quantile(spread, _middles(count))
    return _at_standard(spread, _standard(spread.freedom if spread.shape == "student t" else None, count))


def _at_standard(spread: Spread, standard: Array) -> Array:
    """Values of a law, no mixture, from those of the law of its shape with the middle 0 and the width 1."""
    if spread.shape == "log-normal":
        return np.asarray(spread.middle * np.exp(spread.width * standard), dtype=np.float64)
    return np.asarray(spread.middle + spread.width * standard, dtype=np.float64)


@lru_cache(maxsize=256)
def _standard(freedom: float | None, count: int) -> Array:
    """Even quantiles of the standard Student t law, or of the standard normal law where there is no freedom."""
    p = _middles(count)
    found = normal_quantile(p) if freedom is None else student_quantile(p, freedom)
    found.setflags(write=False)
    return found


def _middles(count: int) -> Array:
    return (np.arange(count) + 0.5) / count
