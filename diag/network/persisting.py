"""A reading taken before and after a repair: the true value keeps its place among engines.

Where the level stays, the true value stays; where it changes, the value moves to the same quantile of the new level's
spread. With one variable z, standard normal, the true value of an engine at level l is x_l(z), and

    likelihood(level of version 0, of version 1, ...) = E over z of product over versions v of shown_v(x_{l_v}(z))

so a number seen again after work that changed nothing tells hardly more than the instrument's error. A mixture has its
quantiles like any law, and one that stays at its level stays in its part. Gauss-Legendre
pieces (Abramowitz & Stegun 1964, 25.4.29) are laid around each thing that was shown. May import: evidence, numpy.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import product

import numpy as np

from diag.evidence import Spread, Taken, beyond, cumulative, log_marginals, mixture_quantile, quantile, shown_by
from diag.inference import Array

__all__ = ["reading_pattern"]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(20)
_BASE = (-12.0, -8.0, -5.0, -3.0, -1.5, 0.0, 1.5, 3.0, 5.0, 8.0, 12.0)
_FARTHEST, _FARTHEST_STUDENT = 37.0, 20.0  # P(Z > 20) is 3e-89, where a Student t of 4 degrees is beyond 1e21 widths
_AROUND = np.array([-12.0, -6.0, -3.0, -1.0, 0.0, 1.0, 3.0, 6.0, 12.0])
_STANDARD = Spread("normal", 0.0, 1.0)
_SMALLEST = 1e-90


def reading_pattern(laws: Sequence[Spread], told: Sequence[Sequence[Taken]]) -> Array:
    """Natural logarithms of the likelihood of readings of several versions: `[level of version 0, of version 1, ...]`.

    `laws[level]` is the spread of true values, `told[version]` what was read (plain values and bounds), with its
    standard deviation, all in the reading's unit.
    """
    shape = (len(laws),) * len(told)
    result = np.empty(shape)
    for levels in product(range(len(laws)), repeat=len(told)):
        if laws[levels[0]].shares and len(set(levels)) == 1:  # one true value, whatever its place
            every = shown_by([reading for shown in told for reading in shown])
            result[levels] = log_marginals([laws[levels[0]]], [every])[0]
            continue
        z, log_weight = _grid(laws, told, levels)
        total = log_weight - 0.5 * z * z - 0.5 * np.log(2 * np.pi)
        for level, shown in zip(levels, told, strict=True):
            total = total + _log_shown(_true_value(laws[level], z), shown)
        result[levels] = np.logaddexp.reduce(total)
    return result


def _grid(laws: Sequence[Spread], told: Sequence[Sequence[Taken]], levels: tuple[int, ...]) -> tuple[Array, Array]:
    """Places z and logarithms of their weights."""
    student = any(law.shape == "student t" for level in levels for law in laws[level].laws)
    farthest = _FARTHEST_STUDENT if student else _FARTHEST
    marks = [np.array([-farthest, *_BASE, farthest])]
    for level, shown in zip(levels, told, strict=True):
        values = {(reading.value, reading.error) for reading in shown}
        marks += [_place(laws[level], value + error * _AROUND) for value, error in values]
        if laws[level].shares:  # where one law of a mixture hands over to another, the true value runs fast
            marks += [
                _place(laws[level], law.middle + law.width * _AROUND)
                if law.shape != "log-normal"
                else _place(laws[level], law.middle * np.exp(law.width * _AROUND))
                for law in laws[level].laws
            ]
    edges = np.unique(np.clip(np.concatenate(marks), -farthest, farthest))
    half = 0.5 * np.diff(edges)[:, np.newaxis]
    middle = 0.5 * (edges[1:] + edges[:-1])[:, np.newaxis]
    return (middle + half * _NODES).ravel(), np.log(half * _WEIGHTS).ravel()


def _true_value(law: Spread, z: Array) -> Array:
    """The true value of an engine whose place is z."""
    if law.shares:
        return mixture_quantile(law, *(np.maximum(cumulative(_STANDARD, side), _SMALLEST) for side in (z, -z)))
    if law.shape == "normal":
        return law.middle + law.width * z
    if law.shape == "log-normal":
        return np.asarray(law.middle * np.exp(law.width * z))
    return np.asarray(law.middle + law.width * np.where(z < 0, 1.0, -1.0) * _student(tuple(-np.abs(z)), law.freedom))


@lru_cache(maxsize=64)
def _student(z: tuple[float, ...], freedom: float) -> Array:
    """The t with P(T <= t) = P(Z <= z), for z below zero, where nothing cancels."""
    return quantile(Spread("student t", 0.0, 1.0, freedom), np.maximum(cumulative(_STANDARD, np.array(z)), _SMALLEST))


def _place(law: Spread, x: Array) -> Array:
    """The z whose true value is x; where there is none, beyond the grid."""
    if law.width == 0:
        return np.zeros(0)
    if law.shares:
        below, above = cumulative(law, x), beyond(law, x)
        tail = quantile(_STANDARD, np.minimum(np.maximum(np.minimum(below, above), _SMALLEST), 0.5))
        return np.where(below <= above, tail, -tail)
    if law.shape == "normal":
        return (x - law.middle) / law.width
    if law.shape == "log-normal":
        positive = np.where(x > 0, x, 1.0)
        return np.where(x > 0, np.log(positive / law.middle) / law.width, -_FARTHEST)
    t = (x - law.middle) / law.width
    below = np.maximum(cumulative(Spread("student t", 0.0, 1.0, law.freedom), -np.abs(t)), _SMALLEST)
    return np.where(t < 0, 1.0, -1.0) * quantile(_STANDARD, np.minimum(below, 0.5))


def _log_shown(x: Array, shown: Sequence[Taken]) -> Array:
    """Logarithm of the chance (density) of what the instrument showed of the true values x."""
    total = np.zeros_like(x)
    for reading in shown:
        off = (reading.value - x) / reading.error
        if not reading.censored:
            total = total - 0.5 * off * off - np.log(reading.error) - 0.5 * np.log(2 * np.pi)
        else:
            side = off if reading.censored == "below" else -off
            with np.errstate(divide="ignore"):
                total = total + np.log(cumulative(_STANDARD, side))
    return total
