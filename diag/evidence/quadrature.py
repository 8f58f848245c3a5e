"""Many one-dimensional integrals at once, in logarithms: Gauss-Legendre pieces, halved until they agree.

May import: numpy.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from diag.evidence.normal import Array

__all__ = ["Owners", "log_integrals"]

Owners = NDArray[np.intp]
LogIntegrand = Callable[[Array, Owners], Array]

_ROUNDS = 60


def log_integrals(log_integrand: LogIntegrand, pieces: Sequence[Array], tolerance: float = 1e-13) -> Array:
    """Natural logarithm of the integral of exp(log_integrand) for each of several integrals: `[integral]`.

    `log_integrand(w, owner)` gets points `[piece, node]` and which integral each piece belongs to, `[piece, 1]`.
    `pieces[integral]` are ascending end points of its first pieces; they must hold every place where something
    happens (a peak may still lie between them). A piece is halved as long as it and its halves differ by more than
    `tolerance` of the whole; so is the neighbour of such a piece, because a peak may hide just beyond the border.
    """
    low = np.concatenate([ends[:-1] for ends in pieces])
    high = np.concatenate([ends[1:] for ends in pieces])
    owner = np.repeat(np.arange(len(pieces)), [len(ends) - 1 for ends in pieces])
    done = np.full(len(pieces), -np.inf)
    whole = _piece_logs(log_integrand, low, high, owner)
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        halves_low, halves_high = _interleave(low, middle), _interleave(middle, high)
        halves = _piece_logs(log_integrand, halves_low, halves_high, np.repeat(owner, 2))
        both = np.logaddexp(halves[0::2], halves[1::2])
        total = done.copy()
        np.logaddexp.at(total, owner, both)
        again = _unsettled(whole, both, total[owner], tolerance)
        again = _with_neighbours(again, low, high, owner)
        np.logaddexp.at(done, owner[~again], both[~again])
        if not np.any(again):
            break
        keep = np.repeat(again, 2)
        low, high, whole, owner = halves_low[keep], halves_high[keep], halves[keep], np.repeat(owner, 2)[keep]
    else:
        np.logaddexp.at(done, owner, whole)
    return done


@lru_cache(maxsize=1)
def _rule() -> tuple[Array, Array]:
    """Nodes on -1 to 1 and the logarithms of their weights; made when first needed, for a start may need none."""
    nodes, weights = np.polynomial.legendre.leggauss(15)
    return nodes, np.log(weights)


def _piece_logs(log_integrand: LogIntegrand, low: Array, high: Array, owner: Owners) -> Array:
    """Logarithm of each piece's integral by one Gauss-Legendre rule: `[piece]`."""
    half = 0.5 * (high - low)
    points = (0.5 * (low + high))[:, None] + half[:, None] * _rule()[0]
    logs = log_integrand(points, owner[:, None]) + _rule()[1]
    top = np.max(logs, axis=1)
    shift = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(shift + np.log(half * np.sum(np.exp(logs - shift[:, None]), axis=1)), dtype=np.float64)


def _unsettled(whole: Array, both: Array, total: Array, tolerance: float) -> NDArray[np.bool_]:
    """Pieces whose halves do not add up to them; logarithms of size L carry a rounding error of L times 2e-16."""
    shift = np.where(np.isfinite(total), total, 0.0)
    error = np.abs(np.exp(both - shift) - np.exp(np.minimum(whole - shift, 50.0)))
    return np.asarray(error > tolerance + 2e-15 * np.abs(shift), dtype=np.bool_)


def _with_neighbours(again: NDArray[np.bool_], low: Array, high: Array, owner: Owners) -> NDArray[np.bool_]:
    touching = (high[:-1] == low[1:]) & (owner[:-1] == owner[1:])
    result = again.copy()
    result[:-1] |= again[1:] & touching
    result[1:] |= again[:-1] & touching
    return result


def _interleave(first: Array, second: Array) -> Array:
    return np.stack([first, second], axis=1).ravel()
