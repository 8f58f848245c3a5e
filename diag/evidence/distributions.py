"""The laws that a reading's true value may follow: normal, log-normal and Student t, with location and scale.

May import: numpy, `diag.knowledge_base` records, and the laws beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diag.evidence.normal import Array, log_normal_cumulative, log_normal_density, normal_quantile
from diag.evidence.student import log_student_density, student_cumulative, student_quantile
from diag.knowledge_base import Distribution

__all__ = ["Spread", "cumulative", "density", "log_density", "quantile", "spread_of"]


@dataclass(frozen=True)
class Spread:
    """How true values spread between engines, in the reading's unit.

    normal: mean `middle`, standard deviation `width`. log-normal: median `middle`, standard deviation of the logarithm
    `width`. student t: centre `middle`, scale `width`, `freedom` degrees. A width of 0 is one value, always.
    """

    shape: Literal["normal", "log-normal", "student t"]
    middle: float
    width: float
    freedom: float = 4.0


def spread_of(distribution: Distribution, multiple: float = 1.0) -> Spread:
    """A distribution of the knowledge, in multiples of `multiple` (a limit of the engine, or 1)."""
    width = distribution.width.value
    if distribution.shape != "log-normal":
        width *= abs(multiple)
    return Spread(distribution.shape, distribution.middle.value * multiple, width, distribution.freedom)


def log_density(spread: Spread, x: Array) -> Array:
    """Natural logarithm of the density at `x`; -inf where a log-normal cannot be. The width must not be 0."""
    x = np.asarray(x, dtype=np.float64)
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
    if spread.width == 0:
        return np.asarray(x >= spread.middle, dtype=np.float64)
    if spread.shape == "normal":
        return np.exp(log_normal_cumulative((x - spread.middle) / spread.width))
    if spread.shape == "student t":
        return student_cumulative((x - spread.middle) / spread.width, spread.freedom)
    positive = np.where(x > 0, x, 1.0)
    below = np.exp(log_normal_cumulative(np.log(positive / spread.middle) / spread.width))
    return np.where(x > 0, below, 0.0)


def quantile(spread: Spread, p: Array) -> Array:
    """The value below which a share `p` of the true values lies, for 0 < p < 1."""
    p = np.asarray(p, dtype=np.float64)
    if spread.shape == "student t":
        return np.asarray(spread.middle + spread.width * student_quantile(p, spread.freedom), dtype=np.float64)
    z = normal_quantile(p)
    if spread.shape == "normal":
        return np.asarray(spread.middle + spread.width * z, dtype=np.float64)
    return np.asarray(spread.middle * np.exp(spread.width * z), dtype=np.float64)
