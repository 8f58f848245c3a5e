"""Weibull lives with censoring: maximum likelihood, or the most probable values under a prior; intervals by profile.

The logarithm of the likelihood of shape b and scale c, with d = 1 where it failed and 0 where it still lives at t, each
counted from its entry e (Nelson 1982, ch. 8; entries as in Turnbull 1976):

    sum of d (log b - b log c + (b - 1) log t) - (t/c)^b + (e/c)^b

May import: numpy, `diag.basics`, `diag.inference` for its arrays.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from diag.basics import UsageError
from diag.inference import Array

__all__ = ["SCALE_VARIANCE", "SHAPE_VARIANCE", "LifePrior", "Lives", "WeibullFit", "fit_weibull", "log_likelihood"]

NORMAL_90 = 1.6448536269514722  # 95 % quantile of the normal law
SHAPE_VARIANCE, SCALE_VARIANCE = 0.608, 1.109  # of their logarithms, for one complete life; the scale's by shape^2
CHI_90 = 2.705543454095404  # its square: 90 % quantile of chi-square with one degree


@dataclass(frozen=True)
class Lives:
    """`times[life]` in use, whether each `failed` then (else it still lives), `entered`: since when it was watched, and
    `weights`, how many lives (or what share of one) each stands for."""

    times: Array
    failed: Array
    entered: Array | None = None
    weights: Array | None = None


@dataclass(frozen=True)
class LifePrior:
    """Normal laws of log(shape) and log(scale), as if `strength` complete lives had been seen: their standard
    deviations are sqrt(0.608 / n) and sqrt(1.109 / n) / shape (expected information of a complete Weibull sample,
    Lawless 2003, sec. 5.2)."""

    shape: float
    scale: float
    strength: float


@dataclass(frozen=True)
class WeibullFit:
    """Shape and scale with 90 % intervals, and how many failures and how many lives they stand on."""

    shape: float
    scale: float
    shape_interval: tuple[float, float]
    scale_interval: tuple[float, float]
    failures: float
    lives: float


def log_likelihood(lives: Lives, shape: float, scale: float, prior: LifePrior | None = None) -> float:
    """As at the top of this module, with the prior's logarithm (but for a constant)."""
    weights = np.ones_like(lives.times) if lives.weights is None else lives.weights
    entered = np.zeros_like(lives.times) if lives.entered is None else lives.entered
    hazard = (lives.times / scale) ** shape - (entered / scale) ** shape
    log_rate = math.log(shape) - shape * math.log(scale) + (shape - 1.0) * np.log(lives.times)
    value = float(np.sum(weights * (lives.failed * log_rate - hazard)))
    if prior is not None:
        far = math.log(shape / prior.shape) ** 2 / SHAPE_VARIANCE
        far += (prior.shape * math.log(scale / prior.scale)) ** 2 / SCALE_VARIANCE
        value -= 0.5 * prior.strength * far
    return value


def fit_weibull(lives: Lives, prior: LifePrior | None = None) -> WeibullFit:
    """The best shape and scale. Raises UsageError where there are too few lives to tell, or times that cannot be."""
    if len(lives.times) and float(np.min(lives.times)) <= 0:
        raise UsageError("a life of no time at all cannot be fitted; leave it out, or count it among bad new parts")
    weights = np.ones_like(lives.times) if lives.weights is None else lives.weights
    failures = float(np.sum(weights * lives.failed))
    if prior is None and (failures <= 0 or len(np.unique(lives.times[lives.failed > 0])) < 2):
        raise UsageError("a life needs failures at two different times at least; give a prior for fewer")
    shape = _peak(lambda log_b: _profile(lives, math.exp(log_b), prior)[0], _start(lives, prior))
    best, scale = _profile(lives, math.exp(shape), prior)

    def shape_drop(log_b: float) -> float:
        return 2.0 * (best - _profile(lives, math.exp(log_b), prior)[0]) - CHI_90

    def scale_drop(log_c: float) -> float:
        inner = _peak(lambda log_b: log_likelihood(lives, math.exp(log_b), math.exp(log_c), prior), shape)
        return 2.0 * (best - log_likelihood(lives, math.exp(inner), math.exp(log_c), prior)) - CHI_90

    at, log_scale = shape, math.log(scale)
    return WeibullFit(
        math.exp(at),
        scale,
        (math.exp(_crossing(shape_drop, at, -1.0)), math.exp(_crossing(shape_drop, at, 1.0))),
        (math.exp(_crossing(scale_drop, log_scale, -1.0)), math.exp(_crossing(scale_drop, log_scale, 1.0))),
        failures,
        float(np.sum(weights)),
    )


def _start(lives: Lives, prior: LifePrior | None) -> float:
    if prior is not None:
        return math.log(prior.shape)
    logs = np.log(lives.times[lives.failed > 0])
    return -math.log(max(float(np.std(logs)), 0.05) * math.sqrt(6.0) / math.pi)


def _profile(lives: Lives, shape: float, prior: LifePrior | None) -> tuple[float, float]:
    """The largest log-likelihood for a shape, and its scale: c^b = sum (t^b - e^b) / failures without a prior."""
    weights = np.ones_like(lives.times) if lives.weights is None else lives.weights
    entered = np.zeros_like(lives.times) if lives.entered is None else lives.entered
    failures, unit = float(np.sum(weights * lives.failed)), float(np.max(lives.times, initial=1.0))
    total = float(np.sum(weights * ((lives.times / unit) ** shape - (entered / unit) ** shape)))
    if prior is None:
        scale = unit * (total / failures) ** (1.0 / shape)
    else:
        start = math.log(prior.scale)
        scale = math.exp(_peak(lambda log_c: log_likelihood(lives, shape, math.exp(log_c), prior), start))
    return log_likelihood(lives, shape, scale, prior), scale


def _peak(value: Callable[[float], float], start: float) -> float:
    """Where a function with one peak has it: a bracket, then golden sections and parabolas cut down to rounding."""
    step, middle = 0.5, start
    left, right = middle - step, middle + step
    at, low, high = value(middle), value(left), value(right)
    while low > at or high > at:
        step *= 1.6
        if low > high:
            middle, at, right, high = left, low, middle, at
            left = middle - step
            low = value(left)
        else:
            middle, at, left, low = right, high, middle, at
            right = middle + step
            high = value(right)
    golden = 0.5 * (3.0 - math.sqrt(5.0))
    for _ in range(200):
        if right - left < 1e-11 * (1.0 + abs(middle)):
            break
        wide_left = middle - left > right - middle
        trial = middle - golden * (middle - left) if wide_left else middle + golden * (right - middle)
        new = value(trial)
        if new > at:
            left, right = (left, middle) if wide_left else (middle, right)
            middle, at = trial, new
        elif wide_left:
            left = trial
        else:
            right = trial
    return _newton(value, middle)


def _newton(value: Callable[[float], float], at: float) -> float:
    """Differences of a smooth function see its peak sharper than its values do, which are flat there."""
    step = 1e-4
    for _ in range(3):
        up, here, down = value(at + step), value(at), value(at - step)
        curve = (up - 2.0 * here + down) / step**2
        if curve >= 0:
            return at
        move = (up - down) / (2.0 * step) / curve
        if abs(move) > step:
            return at
        at -= move
    return at


def _crossing(drop: Callable[[float], float], start: float, direction: float) -> float:
    """Where the drop passes zero on one side, by halving; the far end where it never does."""
    near, step = start, 0.1
    far = start + direction * step
    while drop(far) < 0:
        near, step = far, step * 1.7
        far = far + direction * step
        if abs(far - start) > 50:
            return far
    for _ in range(60):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if drop(middle) < 0 else (near, middle)
    return 0.5 * (near + far)
