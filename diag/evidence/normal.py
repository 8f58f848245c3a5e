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
_TWICE_ROOT_HALF_PI = 2.0 * math.sqrt(0.5 * math.pi)
_FEW = 512  # numbers for which the error function, one by one, is quicker than a polynomial
_BLOCK = 4096  # numbers that are worked on at once
_FARTHEST = 40.0
# P(Z > s) = exp(-s^2 / 2) q(s) / (2 + 2 s sqrt(pi / 2)): here is q, which is between 1 and 1.2, as a polynomial in
# place = 1.3 - 13.8 / (s + 6), which is -1 at s = 0 and 1 at s = 40. Interpolated at 48 nodes of Chebyshev with 460
# digits and cut off where the rest sums to less than 1e-17; the tests work it out again. (That a factor and a quotient
# like these make it so short: Shepherd & Laframboise, Mathematics of Computation 36, 1981; cited from memory.)
_SMOOTH_PART = (
    1.124177347092652,
    -0.13953231493509113,
    0.019068425776512517,
    0.05416084900895943,
    -0.07788678117233111,
    0.0680552248944907,
    -0.04515291409655623,
    0.02383800480543957,
    -0.009969032896610363,
    0.0031384203572247097,
    -0.0006244262848800496,
    6.6489343712938275e-06,
    4.343927087623533e-05,
    -1.2499974515794389e-05,
    -4.956159171458891e-07,
    1.1621788422734042e-06,
    -1.6589868350752182e-07,
    -8.068790230540944e-08,
    2.5647374137893253e-08,
    4.9517512353039705e-09,
    -2.70006845077837e-09,
    -2.3085725141852926e-10,
    1.8034487524975183e-10,
)
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
    """P(Z > size) for sizes from 0 on; the error function is asked only for a few, and where something is left."""
    if size.size <= _FEW:
        some = ~(size >= _NOTHING)  # what is no number stays none
        result = np.zeros_like(size)
        inside = size[some]
        result[some] = 0.5 * np.fromiter(map(math.erfc, (inside / _ROOT_TWO).tolist()), np.float64, inside.size)
        return result
    flat = size.ravel()
    blocks = [_tail_of_many(flat[first : first + _BLOCK]) for first in range(0, flat.size, _BLOCK)]
    return np.concatenate(blocks).reshape(size.shape)


def _tail_of_many(size: Array) -> Array:
    """The same for many, by `_SMOOTH_PART` (below 2e-16 off, where the digits of the exponential allow it)."""
    size = np.minimum(size, _FARTHEST)
    place = 1.3 - 13.8 / (size + 6.0)
    value = np.full_like(size, _SMOOTH_PART[-1])
    for coefficient in _SMOOTH_PART[-2::-1]:
        value *= place
        value += coefficient
    value *= np.exp(-0.5 * size * size)
    return np.asarray(value / (2.0 + _TWICE_ROOT_HALF_PI * size), dtype=np.float64)


def _asymptotic(z: Array) -> Array:
    inverse = 1.0 / (z * z)
    series = 1.0 + inverse * (-1.0 + inverse * (3.0 + inverse * (-15.0 + inverse * (105.0 - 945.0 * inverse))))
    return np.asarray(log_normal_density(z) - np.log(-z) + np.log(series), dtype=np.float64)


def normal_quantile(p: Array) -> Array:
    """The z with P(Z <= z) = p, for 0 < p < 1 (Wichura 1988, algorithm AS 241, of the standard library)."""
    return np.asarray(_inverse(p), dtype=np.float64)
