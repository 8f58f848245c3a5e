"""Smooth functions of one number, from few exact evaluations: what each work costs as the number moves.

With the way of acting later fixed, the cost of a work is linear in every price, and in a number of the knowledge a
ratio of polynomials over the probability of what was told: of degree 1 for a number used once (Castillo, Gutiérrez &
Hadi 1997; Coupé & van der Gaag 2002), of degree K for one that serves K cylinders. So cost times probability and the
probability are interpolated at Chebyshev's extreme points, on 3, 5, 9, ... of them, until what lies between agrees.
May import: numpy, basics.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from diag.inference import Array

__all__ = ["EXACT", "Curve", "Piece", "Sample", "trace"]

EXACT = 1e-9  # relative error of an interpolated cost at points between
GOOD_ENOUGH = 1e-5  # where many nodes are not exact (a life), so much will do
COUNTS = (2, 3, 5, 9, 17)
MORE = (*COUNTS, 33)  # over a logarithm, where one long smooth piece needs fewer than many short ones
FEW = 9  # nodes at most, once a stretch was halved
HALVINGS = 6
ROUNDING = 1e-13  # relative size of a coefficient below which it is none
SAME_PLACE = 1e-12  # share of the range within which two values are one
REAL = 1e-7  # imaginary part below which a root counts as real


@dataclass(frozen=True)
class Sample:
    """What was reckoned at one value: `costs[function]`, not a number where it has none, and `weight`: the probability
    of what was told, but for a constant factor."""

    costs: Array
    weight: float


@dataclass(frozen=True)
class Piece:
    """One stretch: Chebyshev coefficients `[coefficient, function]` of cost times weight, and of the weight."""

    low: float
    high: float
    product: Array
    weight: Array

    def at(self, value: float) -> Array:
        """`[function]`: the costs at a value."""
        place = self._place(value)
        return np.asarray(chebyshev.chebval(place, self.product) / chebyshev.chebval(place, self.weight))

    def slope(self, value: float) -> Array:
        """`[function]`: the derivatives of the costs at a value, by the rule for a quotient."""
        place, stretch = self._place(value), 2.0 / (self.high - self.low)
        weight = chebyshev.chebval(place, self.weight)
        rise = stretch * chebyshev.chebval(place, chebyshev.chebder(self.product))
        weight_rise = stretch * chebyshev.chebval(place, chebyshev.chebder(self.weight))
        return np.asarray((rise - self.at(value) * weight_rise) / weight)

    def meets(self, one: int, other: int) -> list[float]:
        """All values within the stretch at which two functions are equal."""
        apart = self.product[:, one] - self.product[:, other]
        counts = np.flatnonzero(np.abs(apart) > ROUNDING * np.abs(self.product[:, [one, other]]).max())
        if not len(counts) or counts[-1] == 0:
            return []
        if abs(apart[0]) > (1.0 + REAL) * np.abs(apart[1 : counts[-1] + 1]).sum():
            return []  # the polynomials lie between -1 and 1, so the first of them outweighs all others
        found = chebyshev.chebroots(apart[: counts[-1] + 1])
        real = [float(root.real) for root in found if abs(root.imag) < REAL and abs(root.real) <= 1.0 + REAL]
        return sorted(self.low + (min(max(root, -1.0), 1.0) + 1.0) / 2.0 * (self.high - self.low) for root in real)

    def _place(self, value: float) -> float:
        return 2.0 * (value - self.low) / (self.high - self.low) - 1.0


@dataclass(frozen=True)
class Curve:
    """Functions of one number over a range. `error`: the largest relative error seen between the nodes; `evaluations`:
    how often everything was reckoned anew. `bent`: the pieces are over the number's logarithm."""

    pieces: tuple[Piece, ...]
    error: float
    evaluations: int
    bent: bool = False

    @property
    def low(self) -> float:
        """Where it begins."""
        return self._number(self.pieces[0].low)

    @property
    def high(self) -> float:
        """Where it ends."""
        return self._number(self.pieces[-1].high)

    def at(self, value: float) -> Array:
        """`[function]`: the costs at a value."""
        place = self._place(value)
        return self._piece(place).at(place)

    def slope(self, value: float) -> Array:
        """`[function]`: the derivatives of the costs at a value."""
        place = self._place(value)
        slope = self._piece(place).slope(place)
        return np.asarray(slope / value) if self.bent else slope

    def meets(self, one: int, other: int) -> list[float]:
        """All values at which two functions are equal."""
        found = sorted(self._number(place) for piece in self.pieces for place in piece.meets(one, other))
        apart = SAME_PLACE * (self.high - self.low)  # where two stretches join, both may find it
        return [value for place, value in enumerate(found) if not place or value - found[place - 1] > apart]

    def _piece(self, place: float) -> Piece:
        return next((each for each in self.pieces if place <= each.high), self.pieces[-1])

    def _place(self, value: float) -> float:
        return math.log(value) if self.bent else value

    def _number(self, place: float) -> float:
        return math.exp(place) if self.bent else place


def trace(
    evaluate: Callable[[float], Sample], low: float, high: float, exact: float = EXACT, bent: bool = False
) -> Curve:
    """The functions over a range, from as few evaluations as agree between the nodes to `exact`, relatively. `bent`:
    over the logarithm, in which a life's chances change evenly."""
    known: dict[float, Sample] = {}

    def at(place: float) -> Sample:
        if place not in known:
            known[place] = evaluate(min(max(math.exp(place), low), high) if bent else place)
        return known[place]

    ends = (math.log(low), math.log(high)) if bent else (low, high)
    pieces, error = _traced(at, ends, HALVINGS, exact, MORE if bent else COUNTS)
    return Curve(tuple(pieces), error, len(known), bent)


def _traced(
    at: Callable[[float], Sample], ends: tuple[float, float], halvings: int, exact: float, counts: tuple[int, ...]
) -> tuple[list[Piece], float]:
    low, high = ends
    error, before, piece = np.inf, np.inf, None
    for count, following in zip(counts, (*counts[1:], 0), strict=True):
        if not following or (following > FEW and halvings < HALVINGS):
            break
        piece = _fitted(at, low, high, count)
        error, before = max(_error(piece, at(value), value) for value in _nodes(low, high, following)), error
        if error <= exact or (following >= FEW and (error <= GOOD_ENOUGH or _settles(error, before, exact))):
            return [_fitted(at, low, high, following)], error
    assert piece is not None
    if halvings == 0:
        return [piece], error
    middle = (low + high) / 2.0
    left, right = (_traced(at, half, halvings - 1, exact, counts) for half in ((low, middle), (middle, high)))
    return [*left[0], *right[0]], max(left[1], right[1])


def _settles(error: float, before: float, exact: float) -> bool:
    """Whether twice the nodes surely do, by the error with these and `before`, with half of them: that of a smooth
    function falls at least geometrically (Trefethen 2013, chapter 8), so that twice the nodes square what remains."""
    return error < before < np.inf and error * error <= exact * before


def _nodes(low: float, high: float, count: int) -> list[float]:
    """Chebyshev's extreme points from low to high; those of 2, 3, 5, 9, ... contain one another exactly."""
    places = [-np.cos(np.pi * number / (count - 1)) for number in range(count)]
    return [low + (high - low) * (round(float(place), 14) + 1.0) / 2.0 for place in places]


def _fitted(at: Callable[[float], Sample], low: float, high: float, count: int) -> Piece:
    nodes = _nodes(low, high, count)
    samples = [at(node) for node in nodes]
    weight = np.array([sample.weight for sample in samples])
    product = np.array([sample.costs for sample in samples]) * weight[:, None]
    places = [2.0 * (node - low) / (high - low) - 1.0 for node in nodes]
    return Piece(low, high, chebyshev.chebfit(places, product, count - 1), chebyshev.chebfit(places, weight, count - 1))


def _error(piece: Piece, sample: Sample, value: float) -> float:
    """Largest error of a cost, relative to the dearest."""
    scale = float(np.nanmax(np.abs(sample.costs))) or 1.0
    return float(np.nanmax(np.abs(piece.at(value) - sample.costs))) / scale
