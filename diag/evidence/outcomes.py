"""What a reading that nobody has taken yet may turn out to be: a few outcomes with their chances, level by level.

The axis of the reading is cut into bins, and an outcome is 'the reading falls into this bin'. So the chances of the
outcomes are exact and sum to one for every level, the expected posterior is the prior, and the worth of a check that
is computed from them is never more than its true worth (a coarser message cannot be worth more).
May import: numpy, `diag.basics`, `diag.casebook` and `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
from msgspec import Struct

from diag.basics import Kept
from diag.casebook import Measured
from diag.evidence.distributions import Spread, even_quantiles
from diag.evidence.hidden_value import Mark
from diag.evidence.next_reading import chance_below
from diag.evidence.normal import Array
from diag.evidence.readings import spreads
from diag.evidence.taken import Frame, Taken, instrument_error, shown_by, taken, without_limit
from diag.knowledge_base import Engine, Reading

__all__ = ["Outcomes", "reading_outcomes"]

_TRUTHS = 32  # true values, evenly spread over what a level gives
_kept: Kept[tuple[Array, Array, Array]] = Kept("outcomes", Path(__file__).parent)
_NOISES = 4  # readings of each true value
_NOISE = Spread("normal", 0.0, 1.0)


class Outcomes(Struct, frozen=True):
    """Possible outcomes of one reading, from low to high.

    `edges[outcome - 1]` divides the bins; `values[outcome]` is a typical value within each, in the reading's unit;
    `likelihood[outcome, level]` is the chance of the outcome given the level (each column sums to 1).
    """

    levels: tuple[str, ...]
    edges: Array
    values: Array
    likelihood: Array

    def chances(self, weights: Array) -> Array:
        """Chance of each outcome, `[outcome]`, where the levels have the chances `weights[level]`."""
        return np.asarray(self.likelihood @ weights, dtype=np.float64)


def reading_outcomes(
    reading: Reading,
    engine: Engine,
    levels: Sequence[str],
    count: int = 9,
    earlier: Sequence[Measured] = (),
    framed: Sequence[tuple[Frame, float]] = ((Frame(), 1.0),),
    laws: tuple[Spread, ...] | None = None,
) -> Outcomes:
    """At most `count` outcomes of taking this reading (once more, where `earlier` readings of it are in the case).

    The bins do not depend on how likely each level is, so that they are the same for every cylinder and every
    moment of a session, and rare levels keep outcomes of their own: they hold equal shares of what the levels would
    give if each were equally likely. A reading without effect has one outcome. Where what is shown is shifted,
    `framed` holds what the shift may be, with chances, and `laws` the spreads without it.
    """
    if without_limit(reading, engine):
        return Outcomes(tuple(levels), np.zeros(0), np.zeros(1), np.ones((1, len(levels))))
    laws = spreads(reading, engine, levels) if laws is None else laws
    before = taken(reading, engine, earlier)
    edges, values, likelihood = _outcomes(laws, instrument_error(reading), count, before, tuple(framed))
    shown = np.asarray(np.round(np.clip(values, reading.lowest, reading.highest), reading.decimals), dtype=np.float64)
    return Outcomes(tuple(levels), edges, shown, likelihood)


@lru_cache(maxsize=1024)
def _outcomes(
    laws: tuple[Spread, ...],
    error: float,
    count: int,
    before: tuple[Taken, ...],
    framed: tuple[tuple[Frame, float], ...],
) -> tuple[Array, Array, Array]:
    """Edges `[outcome - 1]`, values `[outcome]` and likelihood `[outcome, level]`."""
    asked = repr((laws, error, count, before, framed))
    edges, values, likelihood = _kept.of(asked, lambda: _worked_out(laws, error, count, before, framed))
    for array in (edges, values, likelihood):
        array.setflags(write=False)
    return edges, values, likelihood


def _worked_out(
    laws: tuple[Spread, ...],
    error: float,
    count: int,
    before: tuple[Taken, ...],
    framed: tuple[tuple[Frame, float], ...],
) -> tuple[Array, Array, Array]:
    usual = max(framed, key=lambda each: each[1])[0]
    pooled = np.concatenate([_typical(law, error * usual.scale) for law in laws])
    pooled = np.sort((pooled - usual.offset) / usual.scale)
    shares = np.linspace(0.0, 1.0, count + 1)[1:-1]
    edges = np.array(sorted({float(edge) for edge in _shared_out(pooled, shares)}))
    values = _medians(pooled, edges)
    below = np.zeros((len(edges) + 2, len(laws)))
    below[-1] = 1.0
    below[1:-1] = _chance_below(laws, error, edges, before, framed)
    return edges, values, np.diff(np.maximum.accumulate(np.minimum(below, 1.0), axis=0), axis=0)


def _shared_out(pooled: Array, shares: Array) -> Array:
    """What leaves each share of the readings, which ascend, below it, `[share]`: as `numpy.quantile` has it, which
    would load masked arrays first."""
    return np.interp(shares * (len(pooled) - 1), np.arange(len(pooled)), pooled)


def _medians(pooled: Array, edges: Array) -> Array:
    """The median of the readings, which ascend, in each bin, `[outcome]`; of an empty bin the edge below it."""
    ends = np.concatenate([[0], np.searchsorted(pooled, edges, side="right"), [len(pooled)]])
    first, last = ends[:-1], ends[1:] - 1
    below = np.concatenate([edges[:1], edges]) if len(edges) else pooled[:1]
    return np.where(last < first, below, np.interp(0.5 * (first + last), np.arange(len(pooled)), pooled))


@lru_cache(maxsize=1024)  # the same for every cylinder, and while a case goes on
def _typical(law: Spread, error: float) -> Array:
    """Readings spread evenly over what a level gives, instrument's error included: `[reading]`."""
    truths = np.array([law.middle]) if law.width == 0 else even_quantiles(law, _TRUTHS)
    return np.asarray((truths[:, None] + error * even_quantiles(_NOISE, _NOISES)).ravel(), dtype=np.float64)


def _chance_below(
    laws: tuple[Spread, ...],
    error: float,
    edges: Array,
    before: tuple[Taken, ...],
    framed: tuple[tuple[Frame, float], ...],
) -> Array:
    """P(the next reading is below each edge | level, what was read before): `[edge, level]`."""
    total = np.zeros((len(edges), len(laws)))
    for frame, chance in framed:
        ends = [Mark(edge, error * frame.scale) for edge in (edges * frame.scale + frame.offset).tolist()]
        known = shown_by([frame.of(each) for each in before])
        total += chance * chance_below(laws, known, ends)
    return total
