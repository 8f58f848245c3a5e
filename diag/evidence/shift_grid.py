"""The nodes at which a shift that all cylinders share is integrated out, chosen for the case at hand.

Gauss's rule for the measure that all readings together, with what else is known, put on the shift (Golub & Welsch 1969,
the polynomials by the procedure of Stieltjes: Gautschi 2004, 2.2). It is worked out on an even fine grid, on which the
likelihoods are quick (repeats as one reading); what the nodes miss is measured against that grid.
May import: numpy, `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from diag.evidence.distributions import Spread
from diag.evidence.normal import Array, log_normal_density
from diag.evidence.shifts import (
    Together,
    frames_at,
    mean_density,
    noisy,
    one_of,
    ordinary_weights,
    shift_of,
    unshifted_spreads,
)
from diag.evidence.taken import Taken
from diag.knowledge_base import Engine, Reading, Shift

__all__ = ["CLOSE", "CLOSE_APART", "ShiftGrid", "log_shift_prior", "shift_grid"]

CLOSE, CLOSE_APART = 1e-4, 5e-3  # see `shift_grid`
COUNTS = (5, 6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40)  # of nodes that are tried
_FINE = 420  # places of the fine grid
_FLAT = 0.04  # share of every cylinder's weights that is spread evenly over the levels
_NEGLIGIBLE = 25.0  # in logarithms


class ShiftGrid(Struct, frozen=True):
    """Nodes of the shift (in the reading's unit; of a common factor, its logarithm) and logarithms of their weights.

    `chance[node]`: how likely each is now. `error`: the largest change of any cylinder's chance of any level that a
    much finer grid makes, cylinders taken one by one; `apart`: the same once all that is known otherwise of any one
    cylinder is forgotten (a stand-in for what may still be heard of it).
    """

    nodes: Array
    log_weights: Array
    chance: Array
    error: float
    apart: float


def shift_grid(
    reading: Reading,
    engine: Engine,
    levels: Sequence[str],
    seen: Together,
    weights: Mapping[int, Array],
    counts: Sequence[int] = COUNTS,
) -> ShiftGrid:
    """Nodes and weights for the shift of one stage of a case; `weights[cylinder][level]`: what else is known of it.

    The measure is that of all readings with these weights (a little flattened), so the nodes lie where the likelihood
    of the shift does. The fewest nodes are taken whose `error` and `apart` are below 1e-4 and 5e-3, else the most.
    """
    laws = unshifted_spreads(reading, engine, levels)
    shift, readings = shift_of(reading), seen.all_readings()
    belief = {cylinder: weights.get(cylinder, ordinary_weights(shift, len(laws))) for cylinder in readings}
    soft = {cylinder: (1 - _FLAT) * mine + _FLAT / len(laws) for cylinder, mine in belief.items()}
    absent = [weights.get(cylinder, ordinary_weights(shift, len(laws))) for cylinder in seen.absent]
    prior = _Prior(reading, laws, seen, absent, list(soft.values()))
    places, step = _fine_places(shift, laws, readings, soft, prior)
    likelihood, top = _quick(shift, laws, readings, places)
    base = np.exp(prior.log(places)) * step
    measure = base * _product(likelihood, list(soft.values()))
    highest = float(measure.max())
    for count in counts:
        nodes, gauss = _gauss(places, measure / highest, count)
        near, near_top = _quick(shift, laws, readings, nodes)
        weight = gauss / _product(near, list(soft.values()))
        error, apart = _errors(list(belief.values()), (likelihood, base), (near, weight))
        if error <= CLOSE and apart <= CLOSE_APART:
            break
    now = weight * _product(near, list(belief.values()))
    log_weights = np.log(weight) + math.log(highest) + top - near_top
    return ShiftGrid(nodes, log_weights, now / now.sum(), error, apart)


def log_shift_prior(
    reading: Reading, engine: Engine, levels: Sequence[str], seen: Together, weights: Mapping[int, Array]
) -> Callable[[Array], Array]:
    """Natural logarithm, but for a constant, of what is known of the shift of a stage before its readings."""
    laws, shift = unshifted_spreads(reading, engine, levels), shift_of(reading)

    def of(cylinders: Iterable[int]) -> list[Array]:
        return [weights.get(cylinder, ordinary_weights(shift, len(laws))) for cylinder in cylinders]

    return _Prior(reading, laws, seen, of(seen.absent), of(seen.all_readings())).log


class _Prior:
    """What is known of the shift before the readings (but for a constant factor).

    A common factor is normal. With all cylinders shown, or one implied, the measure on c is plain. With several absent
    their mean is c - total / absent, so that c is spread as the mean of as many cylinders of which nothing was read;
    where a bound hides the total, or nothing but bounds was shown, as the mean of all cylinders.
    """

    def __init__(
        self,
        reading: Reading,
        laws: Sequence[Spread],
        seen: Together,
        absent: Sequence[Array],
        present: Sequence[Array],
    ) -> None:
        shift = shift_of(reading)
        self.width = shift.width.value if shift.kind == "common factor" else 0.0
        self.mean: tuple[Array, Array] | None = None
        self.offset = 0.0
        plain = any(not each.censored for readings in seen.shown.values() for each in readings)
        if self.width or (not absent and plain):
            return
        if absent and seen.total is not None:
            self.mean, self.offset = mean_density(laws, absent), seen.total / len(absent)
        else:
            self.mean = mean_density(laws, [*absent, *present])

    def log(self, places: Array) -> Array:
        """Natural logarithm of the density at each place."""
        if self.width:
            return log_normal_density(places / self.width)
        if self.mean is None:
            return np.zeros_like(places)
        grid, logs = self.mean
        return np.interp(places - self.offset, grid, logs, left=-800.0, right=-800.0)

    def reach(self) -> tuple[float, float] | None:
        """Where the shift may lie, where that is known before the readings."""
        if self.width:
            return -9 * self.width, 9 * self.width
        return None if self.mean is None else (self.mean[0][0] + self.offset, self.mean[0][-1] + self.offset)


def _fine_places(
    shift: Shift,
    laws: Sequence[Spread],
    readings: Mapping[int, tuple[Taken, ...]],
    soft: Mapping[int, Array],
    prior: _Prior,
) -> tuple[Array, float]:
    """An even grid over all shifts that are not negligible, and its step."""
    reach = prior.reach()
    if reach is None:
        values = [one_of(each).value for each in readings.values()]
        wide = 25 * max(law.width for law in laws)
        middles = [each.middle for law in laws for each in law.laws]
        reach = min(middles) - max(values) - wide, max(middles) - min(values) + wide
    low, high = reach
    for _ in range(3):
        places = np.linspace(low, high, _FINE // 3)
        with np.errstate(divide="ignore"):
            likelihood, _ = _quick(shift, laws, readings, places)
            logs = prior.log(places) + np.log(_product(likelihood, list(soft.values())))
        near = np.flatnonzero(logs > logs.max() - _NEGLIGIBLE)
        step = places[1] - places[0]
        low, high = max(low, places[near[0]] - step), min(high, places[near[-1]] + step)
    places = np.linspace(low, high, _FINE)
    return places, float(places[1] - places[0])


def _quick(
    shift: Shift, laws: Sequence[Spread], readings: Mapping[int, tuple[Taken, ...]], places: Array
) -> tuple[Array, float]:
    """Likelihood `[cylinder, level, place]`, repeats being one reading, each cylinder's greatest being 1; and the
    logarithm of what they were divided by together."""
    scales, offsets = frames_at(shift, places)
    rows, logs = [], 0.0
    for told in readings.values():
        plain = [each for each in told if not each.censored]
        parts = [*([one_of(plain)] if plain else []), *(each for each in told if each.censored)]
        row = np.stack([math.prod((noisy(law, each, scales, offsets) for each in parts), start=1.0) for law in laws])
        logs += math.log(row.max())
        rows.append(row / row.max())
    return np.maximum(np.stack(rows), 1e-280), logs


def _product(likelihood: Array, weights: Sequence[Array]) -> Array:
    """`[place]`: product over cylinders of the likelihood averaged over levels."""
    return np.asarray(np.prod(np.einsum("kl,klp->kp", np.stack(weights), likelihood), axis=0))


def _gauss(places: Array, measure: Array, count: int) -> tuple[Array, Array]:
    """Gauss's rule for a measure that lies on places: the procedure of Stieltjes, then Golub & Welsch (1969)."""
    held = measure > 0
    x, w = places[held], measure[held]
    total = w.sum()
    basis = [np.ones_like(x) / math.sqrt(total)]
    diagonal, beside = [], []
    for number in range(min(count, len(x) - 1)):
        new = x * basis[-1]
        diagonal.append(float(w @ (new * basis[-1])))
        for _ in range(2):  # twice is enough to keep them orthogonal
            for known in basis:
                new = new - (w @ (new * known)) * known
        norm = math.sqrt(float(w @ (new * new)))
        if number + 1 < count and norm > 0:
            beside.append(norm)
            basis.append(new / norm)
        else:
            break
    off = beside[: len(diagonal) - 1]
    nodes, vectors = np.linalg.eigh(np.diag(diagonal) + np.diag(off, 1) + np.diag(off, -1))
    return np.asarray(nodes), np.asarray(np.maximum(total * vectors[0] ** 2, 1e-290))


def _errors(belief: Sequence[Array], fine: tuple[Array, Array], coarse: tuple[Array, Array]) -> tuple[float, float]:
    """Largest difference of any level's chance between two grids: as believed, and with each cylinder flattened."""
    even = np.full_like(belief[0], 1.0 / len(belief[0]))
    told = [list(belief), *([*belief[:k], even, *belief[k + 1 :]] for k in range(len(belief)))]
    off = [float(np.abs(_levels(weights, *fine) - _levels(weights, *coarse)).max()) for weights in told]
    return off[0], max(off)


def _levels(weights: Sequence[Array], likelihood: Array, base: Array) -> Array:
    """`[cylinder, level]`: chances of the levels, cylinders independent but for the shift."""
    averaged = np.einsum("kl,klp->kp", np.stack(weights), likelihood)
    logs = np.log(averaged)
    total = base * np.exp(logs.sum(axis=0) - logs.sum(axis=0).max())
    joint = np.stack(weights)[:, :, None] * likelihood / averaged[:, None, :] * total
    chances = joint.sum(axis=2)
    return np.asarray(chances / chances.sum(axis=1, keepdims=True))
