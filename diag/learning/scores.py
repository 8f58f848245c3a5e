"""Scores of predictions that came true or did not: Brier with its parts, logarithmic, reliability, ranks, drift.

May import: numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.inference import Array

__all__ = [
    "BrierParts",
    "Drift",
    "ReliabilityBin",
    "beta_interval",
    "brier",
    "brier_two_class",
    "drift",
    "log_score",
    "murphy",
    "reliability",
    "wilson",
]

LEAST = 1e-12


@dataclass(frozen=True)
class BrierParts:
    """Murphy (1973): reliability - resolution + uncertainty, where forecasts are told apart as `groups`; `within`, what
    grouping unlike forecasts leaves over (Stephenson, Coelho & Jolliffe 2008), makes the sum the score itself."""

    reliability: float
    resolution: float
    uncertainty: float
    within: float
    groups: int

    @property
    def total(self) -> float:
        """The Brier score."""
        return self.reliability - self.resolution + self.uncertainty + self.within


@dataclass(frozen=True)
class ReliabilityBin:
    """Forecasts alike: how many, their mean, how often it came true, and a 90 % interval of that (Wilson 1927)."""

    count: int
    forecast: float
    frequency: float
    low: float
    high: float


@dataclass(frozen=True)
class Drift:
    """A two-sided cumulative sum (Page 1954) of the forecasts' standardised errors, after each of them.

    `high[step]` rises where things come true oftener than foretold, `low[step]` where more rarely. `alarm`: the first
    step at which one passed `threshold`; none where neither did. `false_alarm`: the chance that a run of calibrated
    forecasts of this length raises one, found by simulation of these very forecasts with a fixed seed.
    """

    high: Array
    low: Array
    threshold: float
    alarm: int | None
    false_alarm: float


def brier(forecast: Array, came: Array) -> float:
    """Mean of (p - y)^2, as scikit-learn has it. `came` is 1 or 0."""
    return float(np.mean((forecast - came) ** 2))


def brier_two_class(forecast: Array, came: Array) -> float:
    """Brier's own (1950), the sum over both classes: twice `brier`."""
    return 2.0 * brier(forecast, came)


def log_score(forecast: Array, came: Array) -> float:
    """Mean of -log of the chance given to what came (natural logarithm); a chance of 0 counts as 1e-12."""
    given = np.where(came > 0, forecast, 1.0 - forecast)
    return float(np.mean(-np.log(np.maximum(given, LEAST))))


def murphy(forecast: Array, came: Array, groups: int | None = None) -> BrierParts:
    """The parts of the Brier score; forecasts are one group where equal, or where `groups` is given, in as many groups
    of like numbers."""
    _, which = np.unique(forecast, return_inverse=True)
    if groups is not None and which.max(initial=0) >= groups:
        order = np.argsort(forecast, kind="stable")
        which = np.empty(len(forecast), dtype=np.intp)
        which[order] = np.arange(len(forecast)) * groups // len(forecast)
    overall, count = float(np.mean(came)), len(came)
    reliability = resolution = 0.0
    for group in range(which.max(initial=0) + 1):
        inside = which == group
        share, mean, rate = inside.sum() / count, float(np.mean(forecast[inside])), float(np.mean(came[inside]))
        reliability += share * (mean - rate) ** 2
        resolution += share * (rate - overall) ** 2
    uncertainty = overall * (1.0 - overall)
    within = brier(forecast, came) - (reliability - resolution + uncertainty)
    return BrierParts(reliability, resolution, uncertainty, within, int(which.max(initial=0)) + 1)


def reliability(forecast: Array, came: Array, bins: int = 10) -> tuple[ReliabilityBin, ...]:
    """The reliability diagram's points: equal widths of the forecast, empty ones left out."""
    which = np.minimum((forecast * bins).astype(np.intp), bins - 1)
    found = []
    for each in np.unique(which):
        inside = which == each
        count, hits = int(inside.sum()), float(came[inside].sum())
        found.append(ReliabilityBin(count, float(forecast[inside].mean()), hits / count, *wilson(hits, count)))
    return tuple(found)


def wilson(hits: float, count: int, z: float = 1.6448536269514722) -> tuple[float, float]:
    """Interval of a proportion (Wilson 1927); 0 of 10 at 95 % (z = 1.96) gives 0 to 0.2775."""
    rate, square = hits / count, z * z / count
    middle = (rate + square / 2) / (1 + square)
    half = z * math.sqrt(rate * (1 - rate) / count + square / (4 * count)) / (1 + square)
    return max(0.0, middle - half), min(1.0, middle + half)


def drift(
    forecast: Array, came: Array, false_alarm: float = 0.05, slack: float = 0.25, runs: int = 2000, seed: int = 20
) -> Drift:
    """Watch forecasts over time, in their order, with an alarm that calibrated ones raise with chance `false_alarm`.

    Errors are (y - p) / sqrt(p (1 - p)), p held within 1 to 99 %; `slack` is what each step forgives.
    """
    p = np.clip(forecast, 0.01, 0.99)
    high, low = _sums((came - p) / np.sqrt(p * (1 - p)), slack)
    random = np.random.default_rng(seed)
    made = (random.random((runs, len(p))) < p).astype(np.float64)
    tops = np.array(
        [max(np.max(each, initial=0.0) for each in _sums(row, slack)) for row in (made - p) / np.sqrt(p * (1 - p))]
    )
    threshold = float(np.quantile(tops, 1.0 - false_alarm, method="higher"))
    over = np.flatnonzero(np.maximum(high, low) > threshold)
    alarm = int(over[0]) if len(over) else None
    return Drift(high, low, threshold, alarm, float(np.mean(tops > threshold)))


def _sums(errors: Array, slack: float) -> tuple[Array, Array]:
    """max(0, S + e - slack) step by step, upwards and downwards: the sum less its lowest so far."""
    found = []
    for signed in (errors, -errors):
        walk = np.concatenate([[0.0], np.cumsum(signed - slack)])
        found.append((walk - np.minimum.accumulate(walk))[1:])
    return found[0], found[1]


def ranks(order: Sequence[object], wanted: object) -> int:
    """The place of what is wanted, from 1; one more than there are where it is not among them."""
    return next((place for place, each in enumerate(order, start=1) if each == wanted), len(order) + 1)


def beta_interval(true: float, false: float) -> tuple[float, float]:
    """From the 5 % to the 95 % quantile of the beta law of `true` against `false` cases, its density summed on a grid
    of log-odds."""
    odds = np.linspace(-60.0, 30.0, 90_001)
    log_density = -true * np.logaddexp(0.0, -odds) - false * np.logaddexp(0.0, odds)
    summed = np.cumsum(np.exp(log_density - log_density.max()))
    at = np.interp([0.05 * summed[-1], 0.95 * summed[-1]], summed, odds)
    low, high = 1.0 / (1.0 + np.exp(-at))
    return float(low), float(high)
