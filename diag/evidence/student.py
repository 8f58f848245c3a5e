"""Student's t law: density, cumulative and quantile. May import: the standard library, numpy and `normal`."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from diag.evidence.normal import Array, normal_quantile

__all__ = ["log_student_density", "student_cumulative", "student_quantile"]

_TINY, _LARGE = 1e-300, 1e100
_MOST_TERMS = 2000
_LAST_PART = 5e-16  # change of the whole by two more parts, at which they end
_MOST_STEPS = 60
_LAST_STEP = 1e-8  # each step squares the error
_LEAST_LOG = -40.0  # p is 0.5 within rounding


def log_student_density(t: Array, freedom: float | Array) -> Array:
    """Natural logarithm of the density of Student's t law with `freedom` degrees at `t`."""
    if isinstance(freedom, float):
        return _log_constant(freedom) - (0.5 * (freedom + 1)) * _log_one_plus_square(t / math.sqrt(freedom))
    freedom = np.asarray(freedom, dtype=np.float64)
    constant = _log_gamma((freedom + 1) / 2) - _log_gamma(freedom / 2) - 0.5 * np.log(freedom * math.pi)
    return np.asarray(constant - 0.5 * (freedom + 1) * _log_one_plus_square(t / np.sqrt(freedom)), dtype=np.float64)


@lru_cache(maxsize=256)
def _log_constant(freedom: float) -> float:
    half = freedom / 2
    return math.lgamma(half + 0.5) - math.lgamma(half) - 0.5 * math.log(freedom * math.pi)


def student_cumulative(t: Array, freedom: float) -> Array:
    """P(T <= t) for Student's t law: half the regularised incomplete beta function I_x(freedom / 2, 1 / 2) with
    x = freedom / (freedom + t^2) (Abramowitz & Stegun 1964, 26.7.1). With 1 degree, P(T <= 1) is 0.75."""
    t = np.asarray(t, dtype=np.float64)
    tail = 0.5 * _incomplete_beta(np.abs(t).ravel() / math.sqrt(freedom), freedom).reshape(t.shape)
    return np.where(t < 0, tail, 1.0 - tail)


def student_quantile(p: Array, freedom: float) -> Array:
    """The t with P(T <= t) = p, for 0 < p < 1: Newton's steps upon the logarithm of the tail, concave in log t."""
    p = np.asarray(p, dtype=np.float64)
    tail = np.minimum(p, 1.0 - p)
    log_t = np.log(_first_guess(tail, freedom))
    for _ in range(_MOST_STEPS):
        t = np.exp(log_t)
        reached = student_cumulative(-t, freedom)
        step = np.log(tail / reached) * reached / (t * np.exp(log_student_density(t, freedom)))
        log_t = log_t - step
        if np.all((np.abs(step) < _LAST_STEP) | (log_t < _LEAST_LOG)):
            break
    size = np.where(tail >= 0.5, 0.0, np.exp(log_t))
    return np.where(p < 0.5, -size, size)


def _first_guess(tail: Array, freedom: float) -> Array:
    """A t near the one which leaves `tail` above it: by the normal law (Gaver & Kafadar 1984), or by the asymptote."""
    half = (freedom + 1) / 2
    far = np.exp((_log_constant(freedom) + (half - 1) * math.log(freedom) - np.log(tail)) / freedom)
    if freedom <= 2:
        return far
    z = normal_quantile(tail)
    near = np.sqrt(freedom * np.expm1(z * z * (freedom - 1.5) / (freedom - 1) ** 2))
    return np.maximum(np.minimum(near, far), math.exp(_LEAST_LOG))


def _incomplete_beta(ratio: Array, freedom: float) -> Array:
    """I_x(freedom / 2, 1 / 2) at x = 1 / (1 + ratio^2) `[place]`, by the continued fraction on the side where it is
    quick."""
    a, b = freedom / 2, 0.5
    log_x = -_log_one_plus_square(ratio)
    with np.errstate(divide="ignore"):
        log_rest = 2 * np.log(ratio) + log_x  # log(1 - x), without subtraction
    log_beta = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    front = np.exp(a * log_x + b * log_rest - log_beta)
    x = np.exp(log_x)
    direct = x < (a + 1) / (a + b + 2)
    result = np.empty_like(x)
    result[direct] = front[direct] * _fraction(x[direct], a, b) / a
    result[~direct] = 1.0 - front[~direct] * _fraction(np.exp(log_rest[~direct]), b, a) / b
    return result


def _fraction(x: Array, a: float, b: float) -> Array:
    """Continued fraction of the incomplete beta function (Abramowitz & Stegun 1964, 26.5.8) for x up to
    (a + 1) / (a + b + 2), from its far end, with as many parts as the largest of these needs."""
    value = np.ones_like(x)
    for part in _parts(a, b):
        np.divide(x, value, out=value)
        value *= part
        value += 1.0
    return 1.0 / value


@lru_cache(maxsize=256)
def _parts(a: float, b: float) -> tuple[float, ...]:
    """The numerators of the parts that matter, by x, the last first: by Lentz's method at the largest x."""
    x = (a + 1) / (a + b + 2)
    found: list[float] = []
    value, c, d = 1.0, 1.0, 0.0
    for m in range(_MOST_TERMS):
        odd = -(a + m) * (a + b + m) / ((a + 2 * m) * (a + 2 * m + 1))
        even = (m + 1) * (b - m - 1) / ((a + 2 * m + 1) * (a + 2 * m + 2))
        before = value
        for part in (odd, even):
            d = 1.0 / _away_from_zero(1.0 + part * x * d)
            c = _away_from_zero(1.0 + part * x / c)
            value *= c * d
            found.append(part)
        if abs(value - before) <= _LAST_PART * abs(value):
            break
    return tuple(reversed(found))


def _away_from_zero(value: float) -> float:
    return _TINY if abs(value) < _TINY else value


def _log_one_plus_square(ratio: Array) -> Array:
    """log(1 + ratio^2), without overflow."""
    size = np.abs(ratio)
    if size.size and not size.max() > _LARGE:
        return np.asarray(np.log1p(size * size))
    capped = np.minimum(size, _LARGE)
    return np.where(size > _LARGE, 2 * np.log(np.maximum(size, 1.0)), np.log1p(capped * capped))


def _log_gamma(values: Array) -> Array:
    return np.asarray(np.frompyfunc(math.lgamma, 1, 1)(values), dtype=np.float64)
