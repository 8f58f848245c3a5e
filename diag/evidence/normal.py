"""The standard normal law, to full precision far into its tails. May import: the standard library and numpy."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "log_normal_cumulative", "log_normal_density", "normal_cumulative", "normal_quantile"]

Array = NDArray[np.float64]

_LOG_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_ROOT_TWO = math.sqrt(2.0)
_FAR = -30.0  # below this the asymptotic series is exact to 2e-14 (its next term is 10395 / z^12)
_NOTHING = 38.6  # from here on P(Z > z) is below the smallest number
_ALL = 8.3  # from here on P(Z <= z) is 1 to the last digit: P(Z > 8.3) is 5.2e-17
_inverse = np.frompyfunc(NormalDist().inv_cdf, 1, 1)


def log_normal_density(z: Array) -> Array:
    """Natural logarithm of the density of the standard normal law at `z`."""
    return np.asarray(-0.5 * z * z - _LOG_ROOT_TWO_PI, dtype=np.float64)


def log_normal_cumulative(z: Array) -> Array:
    """Natural logarithm of P(Z <= z) for a standard normal Z, to full precision on both sides of zero.

    Far below zero by the asymptotic series (Abramowitz & Stegun 1964, 26.2.12); log P(Z <= 0) is -0.693147, and far
    above zero it is -P(Z > z).
    """
    z = np.asarray(z, dtype=np.float64)
    far = z < _FAR
    upper = _tail(np.where(far, np.inf, np.abs(z)))
    result = np.empty_like(upper)
    positive = z > 0
    np.log1p(-upper, out=result, where=positive)
    np.log(upper, out=result, where=~(positive | far))
    if far.any():
        result[far] = _asymptotic(z[far])
    return result


def normal_cumulative(z: Array) -> Array:
    """P(Z <= z) for a standard normal Z, to full precision far below zero (above 8.3 it is 1 to the last digit)."""
    z = np.asarray(z, dtype=np.float64)
    tail = _tail(np.where(z >= _ALL, np.inf, np.abs(z)))
    return np.where(z > 0, 1.0 - tail, tail)


def _tail(size: Array) -> Array:
    """P(Z > size) for sizes from 0 on; the error function is asked only where something is left."""
    some = ~(size >= _NOTHING)  # what is no number stays none
    result = np.zeros_like(size)
    inside = size[some]
    result[some] = 0.5 * np.fromiter(map(math.erfc, (inside / _ROOT_TWO).tolist()), np.float64, inside.size)
    return result


def _asymptotic(z: Array) -> Array:
    inverse = 1.0 / (z * z)
    series = 1.0 + inverse * (-1.0 + inverse * (3.0 + inverse * (-15.0 + inverse * (105.0 - 945.0 * inverse))))
    return np.asarray(log_normal_density(z) - np.log(-z) + np.log(series), dtype=np.float64)


def normal_quantile(p: Array) -> Array:
    """The z with P(Z <= z) = p, for 0 < p < 1 (Wichura 1988, algorithm AS 241, of the standard library)."""
    return np.asarray(_inverse(p), dtype=np.float64)
