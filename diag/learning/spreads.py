"""A step towards the best middle and width of a reading's spread, its true values being hidden.

May import: `diag.inference` for its arrays, `diag.knowledge_base` records, numpy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from diag.inference import Array
from diag.knowledge_base import Distribution

__all__ = ["Taken", "next_spread", "spread_scores"]

FINE = 0.1  # an instrument's error below this share of the value is as good as normal on the logarithm
_GRID = np.linspace(-7.0, 7.0, 421)


@dataclass(frozen=True)
class Taken:
    """Readings `value[n]` with the instrument's `error[n]`, and `weights[n]`: the chance that they belong here."""

    value: Array
    error: Array
    weights: Array


def next_spread(
    law: Distribution, old: tuple[float, float], start: tuple[float, float, float], taken: Taken
) -> tuple[float, float]:
    """Middle and width after one expectation-maximisation step from `old`; `start` is the prior: middle, width, and as
    if seen in so many cases.

    The hidden true value is expected given the reading and the law: in closed form for the normal law, on the logarithm
    for the log-normal (on a grid where the instrument is coarse), and for a Student t each value weighs
    (f + 1) / (f + z^2) with z its distance in widths (Lange, Little & Taylor 1989; the instrument's error is added to
    the width there, which is exact only where it is small beside it).
    """
    (middle, width), (first, wide, strength) = old, start
    if width <= 0 or not len(taken.value):
        return middle, width
    mean, spare, pull = _hidden(law, middle, width, taken)
    first = math.log(first) if law.shape == "log-normal" else first
    pull = pull * taken.weights
    new = (strength * first + float(np.sum(pull * mean))) / (strength + float(np.sum(pull)))
    squares = float(np.sum(pull * (spare + (mean - new) ** 2)))
    variance = (strength * (wide**2 + (new - first) ** 2) + squares) / (strength + float(np.sum(taken.weights)))
    return (math.exp(new) if law.shape == "log-normal" else new), math.sqrt(variance)


def spread_scores(law: Distribution, middle: float, width: float, taken: Taken) -> tuple[Array, Array]:
    """`[n]`: derivatives of the logarithm of the likelihood by the middle, in widths, and by the width's logarithm.

    They are those expected of the hidden true value (Fisher's identity)."""
    mean, spare, pull = _hidden(law, middle, width, taken)
    centre = math.log(middle) if law.shape == "log-normal" else middle
    by_middle = taken.weights * pull * (mean - centre) / width
    by_width = taken.weights * (pull * (spare + (mean - centre) ** 2) / width**2 - 1.0)
    return by_middle, by_width


def _hidden(law: Distribution, middle: float, width: float, taken: Taken) -> tuple[Array, Array, Array]:
    """Mean and variance of the true value (log-normal: of its logarithm) given what was read, and how it weighs."""
    if law.shape == "log-normal":
        mean, spare = _hidden_logarithm(middle, width, taken)
        return mean, spare, np.ones_like(mean)
    total = width**2 + taken.error**2
    mean = (middle * taken.error**2 + taken.value * width**2) / total
    spare = taken.error**2 * width**2 / total
    pull = np.ones_like(mean)
    if law.shape == "student t":
        pull = (law.freedom + 1.0) / (law.freedom + (taken.value - middle) ** 2 / total)
    return mean, spare, pull


def _hidden_logarithm(middle: float, width: float, taken: Taken) -> tuple[Array, Array]:
    """Mean and variance of the logarithm of the true value, given what was read."""
    fine = taken.error < FINE * taken.value
    value = np.where(fine, taken.value, 1.0)
    error = taken.error / value
    mean = (math.log(middle) * error**2 + np.log(value) * width**2) / (width**2 + error**2)
    spare = error**2 * width**2 / (width**2 + error**2)
    for place in np.flatnonzero(~fine):
        logs = math.log(middle) + width * _GRID
        far = (taken.value[place] - np.exp(logs)) / taken.error[place]
        log_weight = -0.5 * (_GRID**2 + far**2)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        mean[place] = float(weight @ logs)
        spare[place] = float(weight @ (logs - mean[place]) ** 2)
    return mean, spare
