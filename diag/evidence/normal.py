"""The standard normal law, to full precision far into its tails. May import: the standard library and numpy."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "log_normal_cumulative", "log_normal_density", "normal_quantile"]

Array = NDArray[np.float64]

_LOG_ROOT_TWO_PI = 0.5 * math.log(2.0 * math.pi)
_ROOT_TWO = math.sqrt(2.0)
_FAR = -30.0  # below this the asymptotic series is exact to 2e-14 (its next term is 10395 / z^12)
_complement = np.frompyfunc(math.erfc, 1, 1)
_inverse = np.frompyfunc(NormalDist().inv_cdf, 1, 1)


def log_normal_density(z: Array) -> Array:
    """Natural logarithm of the density of the standard normal law at `z`."""
    return np.asarray(-0.5 * z * z - _LOG_ROOT_TWO_PI, dtype=np.float64)


def log_normal_cumulative(z: Array) -> Array:
    """Natural logarithm of P(Z <= z) for a standard normal Z.

    Far below zero by the asymptotic series (Abramowitz & Stegun 1964, 26.2.12); log P(Z <= 0) is -0.693147.
    """
    z = np.asarray(z, dtype=np.float64)
    near = np.maximum(z, _FAR)
    upper = 0.5 * np.asarray(_complement(np.abs(near) / _ROOT_TWO), dtype=np.float64)  # P(Z > |z|)
    with np.errstate(divide="ignore"):
        result = np.where(near > 0, np.log1p(-upper), np.log(upper))
    if np.any(z < _FAR):
        far = np.minimum(z, _FAR)
        inverse = 1.0 / (far * far)
        series = 1.0 + inverse * (-1.0 + inverse * (3.0 + inverse * (-15.0 + inverse * (105.0 - 945.0 * inverse))))
        asymptotic = log_normal_density(far) - np.log(-far) + np.log(series)
        result = np.where(z < _FAR, asymptotic, result)
    return np.asarray(result, dtype=np.float64)


def normal_quantile(p: Array) -> Array:
    """The z with P(Z <= z) = p, for 0 < p < 1 (Wichura 1988, algorithm AS 241, of the standard library)."""
    return np.asarray(_inverse(p), dtype=np.float64)
