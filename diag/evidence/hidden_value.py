"""Integrals over the hidden true value of a reading: its spread between engines times what the instrument showed.

Each integral belongs to one spread and one set of readings. It is taken over a variable w in which the spread is
tame: x = middle + width w (normal), middle exp(width w) (log-normal), middle + width sinh w (Student t).
May import: numpy, and the modules beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.evidence.distributions import Spread
from diag.evidence.normal import Array, log_normal_cumulative, log_normal_density
from diag.evidence.quadrature import Owners, log_integrals
from diag.evidence.student import log_student_density

__all__ = ["Shown", "log_marginals"]

_GAUSSIAN_REACH = 39.0  # exp(-39^2 / 2) is 1e-330
_SINH_REACH = 690.0
_FARTHEST = 1e150  # its square is still a number
_AROUND = np.array([-39.0, -8.0, -3.0, -1.0, 0.0, 1.0, 3.0, 8.0, 39.0])
_FIRST = np.array([-8.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 8.0])


@dataclass(frozen=True)
class Shown:
    """What an instrument of standard deviation `error` showed of one true value.

    `values` are plain readings; `above` and `below` are bounds: the reading would have been above, or below, them.
    """

    error: float
    values: tuple[float, ...] = ()
    above: tuple[float, ...] = ()
    below: tuple[float, ...] = ()

    def landmarks(self) -> Array:
        """True values around which the likelihood changes."""
        points = [bound + self.error * _AROUND for bound in (*self.above, *self.below)]
        if self.values:
            points.append(np.mean(self.values) + self.error / np.sqrt(len(self.values)) * _AROUND)
        return np.concatenate(points) if points else np.zeros(0)


def log_marginals(spreads: Sequence[Spread], shown: Sequence[Shown]) -> Array:
    """Natural logarithm of the integral over x of spread(x) times likelihood(shown | x), pair by pair: `[pair]`.

    Equal numbers of both; a width of 0 is one true value. In the unit of the reading, per unit for each plain value.
    """
    result = np.zeros(len(spreads))
    groups: dict[str, list[int]] = {}
    for index, (spread, seen) in enumerate(zip(spreads, shown, strict=True)):
        if spread.width == 0:
            result[index] = _Stack([seen]).log_likelihood(np.array([spread.middle]), np.zeros(1, dtype=np.intp))[0]
        elif spread.shape == "normal" and (closed := _closed_form(spread, seen)) is not None:
            result[index] = closed
        else:
            groups.setdefault(spread.shape, []).append(index)
    for indices in groups.values():
        result[indices] = _by_quadrature([spreads[index] for index in indices], [shown[index] for index in indices])
    return result


def _closed_form(spread: Spread, shown: Shown) -> float | None:
    """Normal spread and at most one bound: normal density of the values, one after the other, then the bound.

    Each value is normal about the mean so far with the variance so far plus the instrument's (a Kalman step).
    """
    if len(shown.above) + len(shown.below) > 1:
        return None
    mean, variance, noise = spread.middle, spread.width**2, shown.error**2
    log_result = 0.0
    for value in shown.values:
        total = variance + noise
        log_result += float(log_normal_density(np.array((value - mean) / total**0.5))) - 0.5 * float(np.log(total))
        mean, variance = (mean * noise + value * variance) / total, variance * noise / total
    wide = (variance + noise) ** 0.5
    for bound in shown.above:
        log_result += float(log_normal_cumulative(np.array((mean - bound) / wide)))
    for bound in shown.below:
        log_result += float(log_normal_cumulative(np.array((bound - mean) / wide)))
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


class _Stack:
    """Several `Shown` side by side: row `owner` holds its values and bounds, missing ones are of no effect."""

    def __init__(self, shown: Sequence[Shown]) -> None:
        self.error = np.array([each.error for each in shown])
        self.count = np.array([float(len(each.values)) for each in shown])
        self.mean = np.array([float(np.mean(each.values)) if each.values else 0.0 for each in shown])
        squares = np.array([sum((value - mean) ** 2 for value in each.values) for each, mean in self._pairs(shown)])
        self.constant = -0.5 * squares / self.error**2 - self.count * (0.5 * np.log(2 * np.pi) + np.log(self.error))
        self.above = _padded([each.above for each in shown], -np.inf)
        self.below = _padded([each.below for each in shown], np.inf)

    def _pairs(self, shown: Sequence[Shown]) -> list[tuple[Shown, float]]:
        return list(zip(shown, self.mean.tolist(), strict=True))

    def log_likelihood(self, x: Array, owner: Owners) -> Array:
        error, x = self.error[owner], np.clip(x, -_FARTHEST, _FARTHEST)
        z = (x - self.mean[owner]) / error
        result = self.constant[owner] - 0.5 * self.count[owner] * z * z
        for bound in self.above:
            result = result + log_normal_cumulative((x - bound[owner]) / error)
        for bound in self.below:
            result = result + log_normal_cumulative((bound[owner] - x) / error)
        return np.asarray(result, dtype=np.float64)


def _padded(bounds: Sequence[tuple[float, ...]], missing: float) -> list[Array]:
    longest = max(len(each) for each in bounds)
    return [np.array([each[k] if k < len(each) else missing for each in bounds]) for k in range(longest)]


def _pieces(spread: Spread, shown: Shown) -> Array:
    """Ascending end points in w: where the spread lives, where the likelihood changes, and far beyond both."""
    x = shown.landmarks()
    if spread.shape == "log-normal":
        closest = shown.error**2 / (shown.error + np.max(np.abs(x), initial=0.0))
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
    return np.unique(points)
