"""How long things last: Weibull lives, renewals within a horizon, replacing in time, fix or replace.

Time is in any one unit; survival arrays end with an axis `step`, the ends of equal steps over the horizon.
May import: numpy, `diag.basics`, `diag.inference` (its array type).
"""

from __future__ import annotations

from functools import cached_property, lru_cache

import numpy as np
from msgspec import Struct

from diag.basics import UsageError
from diag.inference import Array

__all__ = [
    "Steps",
    "best_replacement_time",
    "failure_within",
    "replacement_rate",
    "replacing_pays",
    "survival",
    "visits_expected",
    "visits_of_new",
]

QUADRATURE_NODES = 200


class Steps(Struct, frozen=True, dict=True):
    """Equal steps over the horizon: a failure is paid in the middle of its step, discounted to today.

    `months` is the length of a step; `discount_per_year` the rate at which later money counts less.
    """

    count: int
    months: float
    discount_per_year: float

    @cached_property
    def ends(self) -> Array:
        """`[step]`: the end of each step, in months from now."""
        return np.asarray(self.months * np.arange(1, self.count + 1), dtype=np.float64)

    @cached_property
    def middle_factor(self) -> Array:
        """`[step]`: what one unit of money in the middle of each step is worth today."""
        return np.asarray((1.0 + self.discount_per_year) ** (-(self.ends - self.months / 2) / 12.0))

    @cached_property
    def end_factor(self) -> Array:
        """`[step]`: what one unit of money at the end of each step is worth today."""
        return np.asarray((1.0 + self.discount_per_year) ** (-self.ends / 12.0))


def survival(further: Array | float, shape: float, scale: Array | float, used: float = 0.0) -> Array:
    """Chance that what is sound now, in use for `used`, still is after `further`: all in one unit.

    Weibull (1951), conditional: exp((t/scale)^shape - ((t+h)/scale)^shape). Broadcasts `further` against `scale`.
    NIST/SEMATECH e-Handbook 8.4.1.3: scale 606.5280 h, shape 1.7208, new: S(500 h) = 0.488103.
    """
    before = (used / np.asarray(scale)) ** shape
    after = ((used + np.asarray(further)) / np.asarray(scale)) ** shape
    return np.asarray(np.exp(before - after))


def failure_within(further: float, shape: float, scale: float, used: float = 0.0) -> float:
    """Chance to fail within `further`, sound now and in use for `used`: 1 - exp((t/scale)^shape - ((t+h)/scale)^shape).

    With the NIST lives: within 100 h after 500 h 0.232274, when new 0.043969.
    """
    return -float(np.expm1((used / scale) ** shape - ((used + further) / scale) ** shape))


def visits_expected(first: Array, new: Array, steps: Steps) -> Array:
    """Discounted expected number of failures over the horizon, each followed by renewal; `[...]`.

    `first[..., step]` is the survival of what is there now, `new[..., step]` of a new one. The delayed renewal
    equation (Cox 1962) on the grid of steps: a failure in step m is paid in its middle, the new one starts at its end.
    """
    first, new = (np.ascontiguousarray(each, dtype=np.float64) for each in (first, new))
    return _visits_expected(first.tobytes(), first.shape, new.tobytes(), new.shape, steps)


@lru_cache(maxsize=512)  # cylinders have one life, mostly, and it is asked for with every way of acting later
def _visits_expected(
    first_bytes: bytes, shape: tuple[int, ...], new_bytes: bytes, new_shape: tuple[int, ...], steps: Steps
) -> Array:
    first, after = np.frombuffer(first_bytes).reshape(shape), _visits_of_new(new_bytes, new_shape, steps)
    failing = -np.diff(np.concatenate([np.ones((*shape[:-1], 1)), first], axis=-1), axis=-1)
    left = after[..., steps.count - 1 :: -1]  # [step]: visits of a new one over the steps left after each step
    visits = np.asarray((failing * (steps.middle_factor + steps.end_factor * left)).sum(axis=-1))
    visits.setflags(write=False)
    return visits


def visits_of_new(new: Array, steps: Steps) -> Array:
    """`[..., n]`: discounted expected failures of a new one over n steps, n from 0 to one less than all."""
    return _visits_of_new(np.ascontiguousarray(new, dtype=np.float64).tobytes(), new.shape, steps)


@lru_cache(maxsize=512)
def _visits_of_new(survival_bytes: bytes, shape: tuple[int, ...], steps: Steps) -> Array:
    new = np.frombuffer(survival_bytes).reshape(shape)
    failing = -np.diff(np.concatenate([np.ones((*shape[:-1], 1)), new], axis=-1), axis=-1)
    visits = np.zeros((*shape[:-1], steps.count))
    for horizon in range(1, steps.count):
        within = failing[..., :horizon]
        left = visits[..., horizon - 1 :: -1][..., :horizon]
        visits[..., horizon] = (within * (steps.middle_factor[:horizon] + steps.end_factor[:horizon] * left)).sum(-1)
    visits.setflags(write=False)
    return visits


@lru_cache(maxsize=1)
def _nodes() -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(QUADRATURE_NODES)
    return np.asarray(nodes, dtype=np.float64), np.asarray(weights, dtype=np.float64)


def _survival_until(time: float, shape: float, scale: float) -> float:
    """Integral of a new one's survival from 0 to `time`, by Gauss-Legendre quadrature."""
    nodes, weights = _nodes()
    points = time * (nodes + 1) / 2
    return float((weights * survival(points, shape, scale)).sum() * time / 2)


def replacement_rate(time: float, shape: float, scale: float, planned: float, failed: float) -> float:
    """Cost for each unit of time when renewing at age `time` (cost `planned`) or at failure (cost `failed`).

    Barlow & Proschan (1965), age replacement: [c_p S(T) + c_f (1 - S(T))] / integral of S to T.
    """
    alive = float(survival(time, shape, scale))
    return (planned * alive + failed * (1 - alive)) / _survival_until(time, shape, scale)


def best_replacement_time(shape: float, scale: float, planned: float, failed: float) -> float | None:
    """The age at which renewing in time is cheapest; none where waiting for the failure is.

    Barlow & Proschan (1965): the T with h(T) * integral of S to T - F(T) = c_p / (c_f - c_p), h the failure rate; for a
    rate that does not rise (shape <= 1), or where failing costs no more than planning, there is none.
    Shape 2.5, scale 1000 h, costs 1 and 5: T 493.047 h.
    """
    if min(planned, failed, scale, shape) <= 0:
        raise UsageError("costs, scale and shape of a life must be above zero")
    if shape <= 1 or failed <= planned:
        return None
    wanted, low, high = planned / (failed - planned), 0.0, scale
    while _gain(high, shape, scale) < wanted:
        low, high = high, 2 * high
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if _gain(middle, shape, scale) < wanted else (low, middle)
    return (low + high) / 2


def _gain(time: float, shape: float, scale: float) -> float:
    rate = shape / scale * (time / scale) ** (shape - 1)
    return float(rate * _survival_until(time, shape, scale) - 1 + survival(time, shape, scale))


def replacing_pays(replace: float, fix: float, overhead: float, holds_new: float, holds_fixed: float) -> bool:
    """Whether replacing is no dearer than fixing, once the come-back is counted.

    Hasidi & Kalech, Appl. Sci. 11:995 (2021), rule DR1: replace exactly when
    C_R + (1 - S_new)(C_R + C_oh) <= C_F + (1 - S_fixed)(C_R + C_oh).
    Costs 400 to replace, 150 to fix, 100 overhead, S_new 0.9: with S_fixed 0.5 fix (450 > 400), with 0.3 replace.
    """
    again = replace + overhead
    return replace + (1 - holds_new) * again <= fix + (1 - holds_fixed) * again
