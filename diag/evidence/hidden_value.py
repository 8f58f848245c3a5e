"""Integrals over the hidden true value of a reading: its spread between engines times what the instrument showed.

Each integral belongs to one spread and one set of readings. It is taken over a variable w in which the spread is
tame: x = middle + width w (normal), middle exp(width w) (log-normal), middle + width sinh w (Student t). Where plain
readings are far finer than the spread it is u = (x - mean) / error instead: in w the digits of x would not do for u.
May import: numpy, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct

from diag.evidence.distributions import Share, Spread, log_density
from diag.evidence.normal import Array, log_normal_cumulative, log_normal_density
from diag.evidence.quadrature import Owners, log_integrals
from diag.evidence.student import log_student_density

__all__ = ["Mark", "Shown", "log_likelihoods", "log_marginals", "summed"]

_GAUSSIAN_REACH = 39.0  # exp(-39^2 / 2) is 1e-330
_SINH_REACH = 690.0
_FARTHEST = 1e150  # its square is still a number
_SHARP = 1e-3  # error of readings, in widths that the spread has there, below which u is integrated over
_AROUND = np.array([-39.0, -8.0, -3.0, -1.0, 0.0, 1.0, 3.0, 8.0, 39.0])
_FIRST = np.array([-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0])


class Mark(NamedTuple):
    """A number on the scale, and the standard deviation of what showed it."""

    at: float
    error: float


class Shown(Struct, frozen=True):
    """What instruments showed of one true value.

    `values` are plain readings; `above` and `below` are bounds: the reading would have been above, or below, them.
    """

    values: tuple[Mark, ...] = ()
    above: tuple[Mark, ...] = ()
    below: tuple[Mark, ...] = ()

    @property
    def finest(self) -> float:
        """The smallest standard deviation."""
        return min((mark.error for mark in (*self.values, *self.above, *self.below)), default=1.0)

    def landmarks(self) -> Array:
        """True values around which the likelihood changes."""
        points = [bound.at + bound.error * _AROUND for bound in (*self.above, *self.below)]
        if self.values:
            precision = sum(mark.error**-2 for mark in self.values)
            mean = sum(mark.at * mark.error**-2 for mark in self.values) / precision
            points.append(mean + precision**-0.5 * _AROUND)
        return np.concatenate(points) if points else np.zeros(0)


def log_marginals(spreads: Sequence[Spread], shown: Sequence[Shown]) -> Array:
    """Natural logarithm of the integral over x of spread(x) times likelihood(shown | x), pair by pair: `[pair]`.

    Equal numbers of both; a width of 0 is one true value. In the unit of the reading, per unit for each plain value.
    A mixture is one of the true value: all that was shown belongs to one law, so the integrals of its laws add up.
    """
    if any(spread.shares for spread in spreads):
        return _of_mixtures(spreads, shown)
    result = np.zeros(len(spreads))
    groups: dict[str, list[int]] = {}
    for index, (spread, seen) in enumerate(zip(spreads, shown, strict=True)):
        if spread.width == 0:
            result[index] = _Stack([seen]).log_likelihood(np.array([spread.middle]), np.zeros(1, dtype=np.intp))[0]
        elif spread.shape == "normal" and (closed := _closed_form(spread, seen)) is not None:
            result[index] = closed
        elif _is_sharp(spread, seen):
            result[index] = _over_error(spread, seen)
        else:
            groups.setdefault(spread.shape, []).append(index)
    for indices in groups.values():
        result[indices] = _by_quadrature([spreads[index] for index in indices], [shown[index] for index in indices])
    return result


def _of_mixtures(spreads: Sequence[Spread], shown: Sequence[Shown]) -> Array:
    """The same where some spreads are mixtures: log of the sum over their laws of weight times integral."""
    laws = [law for spread in spreads for law in spread.laws]
    each = log_marginals(laws, [seen for spread, seen in zip(spreads, shown, strict=True) for _ in spread.laws])
    weights = [share.weight for spread in spreads for share in (spread.shares or (Share(1.0, spread),))]
    firsts = np.cumsum([0, *(len(spread.laws) for spread in spreads[:-1])])
    return np.asarray(np.logaddexp.reduceat(each + np.log(weights), firsts))


def _closed_form(spread: Spread, shown: Shown) -> float | None:
    """Normal spread and at most one bound: normal density of the values, one after the other, then the bound.

    Each value is normal about the mean so far with the variance so far plus the instrument's (a Kalman step).
    """
    if len(shown.above) + len(shown.below) > 1:
        return None
    mean, variance = spread.middle, spread.width**2
    log_result = 0.0
    for value, error in shown.values:
        noise = error**2
        total = variance + noise
        log_result += float(log_normal_density(np.array((value - mean) / total**0.5))) - 0.5 * float(np.log(total))
        mean, variance = (mean * noise + value * variance) / total, variance * noise / total
    for bound, error in shown.above:
        log_result += float(log_normal_cumulative(np.array((mean - bound) / (variance + error**2) ** 0.5)))
    for bound, error in shown.below:
        log_result += float(log_normal_cumulative(np.array((bound - mean) / (variance + error**2) ** 0.5)))
    return log_result


def _by_quadrature(spreads: Sequence[Spread], shown: Sequence[Shown]) -> Array:
    """The same for spreads of one shape, by quadrature."""
    shape = spreads[0].shape
    middle = np.array([spread.middle for spread in spreads])
    width = np.array([spread.width for spread in spreads])
    freedom = np.array([spread.freedom for spread in spreads])
    seen = _Stack(shown)

    def integrand(w: Array, owner: Owners) -> Array:
        if shape == "normal":
            return log_normal_density(w) + seen.log_likelihood(middle[owner] + width[owner] * w, owner)
        if shape == "log-normal":
            x = middle[owner] * np.exp(np.minimum(width[owner] * w, 300.0))
            return log_normal_density(w) + seen.log_likelihood(x, owner)
        log_cosh = np.abs(w) + np.log1p(np.exp(-2 * np.abs(w))) - np.log(2.0)
        density = log_student_density(np.sinh(w), freedom[owner]) + log_cosh
        likelihood = seen.log_likelihood(middle[owner] + width[owner] * np.sinh(w), owner)
        return np.asarray(density + likelihood, dtype=np.float64)

    pieces = [_pieces(spread, each) for spread, each in zip(spreads, shown, strict=True)]
    return log_integrals(integrand, pieces)


def _is_sharp(spread: Spread, shown: Shown) -> bool:
    """Whether the spread is smooth over all that plain readings leave open."""
    mean, root, _ = summed(shown.values)
    there = spread.width * (mean if spread.shape == "log-normal" else 1.0)
    return bool(shown.values) and not (shown.above or shown.below) and _SHARP * there * root > 1.0


def _over_error(spread: Spread, shown: Shown) -> float:
    """One integral over what sharp readings may be off by: x = mean + u / root of their precision."""
    mean, root, constant = summed(shown.values)

    def integrand(u: Array, _: Owners) -> Array:
        return log_density(spread, mean + u / root) + (constant - math.log(root) - 0.5 * u * u)

    return float(log_integrals(integrand, [np.concatenate([2.0 * _AROUND[:1], _AROUND, 2.0 * _AROUND[-1:]])])[0])


class _Stack:
    """Several `Shown` side by side: row `owner` holds its values and bounds, missing ones are of no effect."""

    def __init__(self, shown: Sequence[Shown]) -> None:
        each_summed = [summed(each.values) for each in shown]
        self.mean, self.scale, self.constant = (np.array(column) for column in zip(*each_summed, strict=True))
        self.above = _padded([each.above for each in shown], Mark(-np.inf, 1.0))
        self.below = _padded([each.below for each in shown], Mark(np.inf, 1.0))

    def log_likelihood(self, x: Array, owner: Owners) -> Array:
        x = np.clip(x, -_FARTHEST, _FARTHEST)
        z = (x - self.mean[owner]) * self.scale[owner]
        result = self.constant[owner] - 0.5 * z * z
        for bound, error in self.above:
            result = result + log_normal_cumulative((x - bound[owner]) / error[owner])
        for bound, error in self.below:
            result = result + log_normal_cumulative((bound[owner] - x) / error[owner])
        return np.asarray(result, dtype=np.float64)


def summed(values: Sequence[Mark]) -> tuple[float, float, float]:
    """Several readings as one: their mean (weighted by precision), the root of the precision, and a constant.

    The product of their densities at x is exp(constant - ((x - mean) * root)^2 / 2).
    """
    if not values:
        return 0.0, 0.0, 0.0
    weights = [mark.error**-2 for mark in values]
    precision = math.fsum(weights)
    mean = math.fsum(weight * mark.at for weight, mark in zip(weights, values, strict=True)) / precision
    squares = math.fsum(((mark.at - mean) / mark.error) ** 2 for mark in values)
    constant = -0.5 * squares - math.fsum(0.5 * math.log(2 * math.pi) + math.log(mark.error) for mark in values)
    return mean, precision**0.5, constant


def log_likelihoods(shown: Shown, x: Array) -> Array:
    """Natural logarithm of the likelihood of each true value, given all that was shown."""
    return _Stack([shown]).log_likelihood(x, np.zeros(1, dtype=np.intp))


def _padded(bounds: Sequence[tuple[Mark, ...]], missing: Mark) -> list[tuple[Array, Array]]:
    """The first, second, ... bound of each `[owner]`, with its standard deviation."""
    longest = max(len(each) for each in bounds)
    filled = [[*each, *([missing] * (longest - len(each)))] for each in bounds]
    return [
        (np.array([each[k].at for each in filled]), np.array([each[k].error for each in filled]))
        for k in range(longest)
    ]


def _pieces(spread: Spread, shown: Shown) -> Array:
    """Ascending end points in w: where the spread lives, where the likelihood changes, and far beyond both."""
    x = shown.landmarks()
    if spread.shape == "log-normal":
        closest = shown.finest**2 / (shown.finest + np.max(np.abs(x), initial=0.0))
        marks = np.log(np.append(x[x > 0], closest) / spread.middle) / spread.width
    elif spread.shape == "student t":
        marks = np.arcsinh((x - spread.middle) / spread.width)
    else:
        marks = (x - spread.middle) / spread.width
    points = np.concatenate([_FIRST, marks])
    reach = _GAUSSIAN_REACH
    if spread.shape == "student t":
        reach = max(reach / min(1.0, spread.freedom), 4.0)
    ends = np.array([np.min(points) - reach, np.max(points) + reach])
    points = np.concatenate([points, ends])
    if spread.shape == "student t":
        points = np.clip(points, -_SINH_REACH, _SINH_REACH)
    points = np.sort(points)
    return np.asarray(points[np.append(True, points[1:] > points[:-1])])  # np.unique would load masked arrays first
