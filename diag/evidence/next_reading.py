"""The chance that the next reading stays below a number, given the level and what instruments showed so far.

Where a law is smooth over what an instrument's error leaves open, every integral has a normal density as one factor
and something smooth as the other: evenly spaced nodes, the same for all numbers, are exact then to 1e-10 and better
(the error of the trapezoidal rule falls exponentially in their distance: Trefethen & Weideman, SIAM Review 2014; cited
from memory). A log-normal law that comes near 0 there is smooth on its logarithm. Elsewhere each chance is a ratio of
two integrals by adaptive quadrature (`hidden_value`). May import: numpy, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from diag.evidence.distributions import Spread, cumulatives, log_density
from diag.evidence.hidden_value import Mark, Shown, log_likelihoods, log_marginals, summed
from diag.evidence.normal import Array, log_normal_density, normal_cumulative

__all__ = ["chance_below"]

_REACH = 12.0  # standard deviations from a number, beyond which nothing is left
_STEP = 0.375  # distance of the nodes, in standard deviations
_MOST = 4096  # nodes
_SMOOTH = 2.0  # standard deviations to the nearest number at which a law is not smooth
_NOTHING = 1e-17  # share of the largest term, below which what stands beyond the nodes is nothing
_NODES = _STEP * np.arange(-32, 33)
_WEIGHTS = np.exp(-0.5 * _NODES**2) / np.exp(-0.5 * _NODES**2).sum()


def chance_below(laws: Sequence[Spread], known: Shown, edges: Sequence[Mark]) -> Array:
    """P(next reading below each edge | law, what is known): `[edge, law]`; an edge's error is the instrument's."""
    if not edges:
        return np.empty((0, len(laws)))
    result, hard = _of_laws(laws, edges) if known == Shown() else _of_known(laws, known, edges)
    for number in tuple(hard):
        own = _on_its_own_scale(laws[number], known, edges) if laws[number].shape == "log-normal" else None
        if own is not None:
            result[:, number] = own
            hard.remove(number)
    if hard:
        some = [laws[number] for number in hard]
        shown = [replace(known, below=(*known.below, edge)) for edge in edges for _ in some]
        joint = log_marginals([*some] * len(edges), shown).reshape(len(edges), len(some))
        result[:, hard] = np.exp(joint - log_marginals(some, [known] * len(some)))
    return result


def _of_laws(laws: Sequence[Spread], edges: Sequence[Mark]) -> tuple[Array, list[int]]:
    """`[edge, law]` where nothing was read, and for which laws it is not known: an edge, moved by the instrument."""
    at, error = np.array(edges).T
    x = at[:, None] - error[:, None] * _NODES
    result, lowest, most = np.empty((len(edges), len(laws))), float(x.min()), float(error.max())
    smooth = [number for number, law in enumerate(laws) if _is_smooth(law, lowest, most)]
    result[:, smooth] = (cumulatives([laws[number] for number in smooth], x) @ _WEIGHTS).T
    return result, [number for number in range(len(laws)) if number not in smooth]


def _of_known(laws: Sequence[Spread], known: Shown, edges: Sequence[Mark]) -> tuple[Array, list[int]]:
    """The same by nodes wherever what is known, and the edges, leave something; those laws are hard that are not smooth
    there, or not nothing where the nodes end."""
    result, everything = np.empty((len(edges), len(laws))), list(range(len(laws)))
    x, bounded = _places(known, edges)
    if not len(x):
        return result, everything
    likelihood = log_likelihoods(known, x)
    below = _below(edges, x)
    smooth = [number for number in everything if _is_smooth(laws[number], float(x[0]), (x[1] - x[0]) / _STEP)]
    whole = np.zeros(len(smooth))
    if smooth and not bounded:  # the nodes do not hold all that is known
        whole = log_marginals([laws[number] for number in smooth], [known] * len(smooth))
    easy: list[int] = []
    for place, number in enumerate(smooth):
        logs = log_density(laws[number], x) + likelihood
        top = float(logs.max())
        chances = np.exp(logs - top)
        end = 1.0 if bounded else float(below[:, -1].max())
        if np.isfinite(top) and max(chances[0], chances[-1] * end) <= _NOTHING:
            total = chances.sum() if bounded else np.exp(whole[place] - top) / (x[1] - x[0])
            result[:, number] = below @ chances / total
            easy.append(number)
    return result, [number for number in everything if number not in easy]


def _on_its_own_scale(law: Spread, known: Shown, edges: Sequence[Mark]) -> Array | None:
    """`[edge]` of a log-normal law by nodes on its logarithm, where numbers near 0 matter; None where that needs too
    many, or is not nothing at its ends, or where bounds from below alone are known."""
    high = _upper_end(known)
    top = max(mark.at + _REACH * mark.error for mark in edges) if high is None else high
    if law.width == 0 or top <= 0 or (high is None and known != Shown()):
        return None
    end = min(_REACH, math.log(top / law.middle) / law.width)
    finest = min(mark.error for mark in (*_plain(known), *known.above, *known.below, *edges))
    step = _STEP * min(1.0, finest / (law.width * law.middle * math.exp(law.width * end)))
    if not step < end + _REACH <= _MOST * step:
        return None
    w = np.arange(-_REACH, end + step, step)
    x = law.middle * np.exp(law.width * w)
    logs = log_normal_density(w) + log_likelihoods(known, x)
    top_log = float(logs.max())
    chances = np.exp(logs - top_log)
    below = _below(edges, x)
    last = chances[-1] * (1.0 if high is not None else float(below[:, -1].max()))
    if not max(chances[0], last) <= _NOTHING:
        return None
    total = chances.sum() if high is not None else math.exp(-top_log) / step
    return np.asarray(below @ chances / total, dtype=np.float64)


def _below(edges: Sequence[Mark], x: Array) -> Array:
    """`[edge, place]`: the chance that a true value there is read below each edge."""
    at, error = np.array(edges).T
    return normal_cumulative((at[:, None] - x) / error[:, None])


def _plain(known: Shown) -> list[Mark]:
    """All plain readings as one."""
    mean, root, _ = summed(known.values)
    return [Mark(mean, 1.0 / root)] if known.values else []


def _upper_end(known: Shown) -> float | None:
    """Above which what is known leaves nothing."""
    return min((mark.at + _REACH * mark.error for mark in (*_plain(known), *known.below)), default=None)


def _places(known: Shown, edges: Sequence[Mark]) -> tuple[Array, bool]:
    """Evenly spaced true values that what is known, with any of the edges, leaves open; none where they have no lower
    end, or are too many. And whether what is known by itself has an upper end."""
    plain, high = _plain(known), _upper_end(known)
    low = max((mark.at - _REACH * mark.error for mark in (*plain, *known.above)), default=None)
    end = max(mark.at + _REACH * mark.error for mark in edges) if high is None else high
    step = _STEP * min(mark.error for mark in (*plain, *known.above, *known.below, *edges))
    if low is None or not step < end - low <= _MOST * step:
        return np.empty(0), False
    return np.arange(low, end + step, step), high is not None


def _is_smooth(spread: Spread, lowest: float, error: float) -> bool:
    """Whether every law of a spread is, from this value upwards, over distances of an error."""
    return all(_reach(law, lowest) >= _SMOOTH * error for law in spread.laws)


def _reach(law: Spread, lowest: float) -> float:
    if law.shape == "student t":
        return law.width * math.sqrt(min(law.freedom, 4.0))  # where its density has a pole, beside the middle
    if law.shape == "log-normal":
        return min(lowest, law.width * lowest)  # it begins at 0, and is narrower the nearer
    return law.width
