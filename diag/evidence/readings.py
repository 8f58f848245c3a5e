"""What readings say about a level: one hidden true value, a spread between engines, an error of the instrument.

May import: numpy, `diag.casebook` and `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.casebook import Measured, convert
from diag.evidence.distributions import Spread, spread_of
from diag.evidence.hidden_value import Shown, log_marginals
from diag.evidence.normal import Array
from diag.knowledge_base import Engine, Reading

__all__ = ["ReadingLikelihood", "instrument_error", "reading_likelihood", "spreads", "without_limit"]


@dataclass(frozen=True)
class ReadingLikelihood:
    """Natural logarithms of a likelihood, `log_likelihood[level]`, in the order of `levels`.

    Per unit of the reading for each plain value, a pure probability for bounds. `note` says why it has no effect,
    where it has none.
    """

    levels: tuple[str, ...]
    log_likelihood: Array
    note: str = ""

    @property
    def log_factor(self) -> float:
        """Natural logarithm of what `scaled` was divided by."""
        return float(np.max(self.log_likelihood))

    @property
    def scaled(self) -> Array:
        """The likelihood `[level]`, divided so that the greatest is 1."""
        return np.exp(self.log_likelihood - self.log_factor)


def reading_likelihood(
    reading: Reading, engine: Engine, measured: Sequence[Measured], levels: Sequence[str]
) -> ReadingLikelihood:
    """Likelihood of all readings that were taken of one thing, for each level of what it shows.

    They share one hidden true value: repeats shrink the instrument's error, never the spread between engines.
    With true value x: integral over x of spread(x | level) times the product of normal(reading; x, error), or of the
    normal chance beyond the bound where only a bound was read. A reading in multiples of a limit that only the
    maker knows has no effect.
    """
    if note := without_limit(reading, engine):
        return ReadingLikelihood(tuple(levels), np.zeros(len(levels)), note)
    shown = Shown(
        error=instrument_error(reading),
        values=tuple(each.value for each in measured if not each.censored),
        above=tuple(each.value for each in measured if each.censored == "above"),
        below=tuple(each.value for each in measured if each.censored == "below"),
    )
    laws = spreads(reading, engine, levels)
    return ReadingLikelihood(tuple(levels), log_marginals(laws, [shown] * len(laws)))


def without_limit(reading: Reading, engine: Engine) -> str:
    """A sentence saying that the reading has no effect on this engine, or nothing where it has one."""
    if reading.relative_to is None:
        return ""
    limit = engine.limits.get(reading.relative_to)
    if limit is not None and limit.value is not None:
        return ""
    return (
        f"{reading.name} has no effect: it is judged against the limit '{reading.relative_to}', which is not in the "
        "engine's file (maker's value ____)"
    )


def spreads(reading: Reading, engine: Engine, levels: Sequence[str]) -> tuple[Spread, ...]:
    """The spread of true values between engines for each level, in the reading's unit."""
    multiple = 1.0
    if reading.relative_to is not None:
        limit = engine.limits[reading.relative_to]
        if limit.value is None:
            raise ValueError(without_limit(reading, engine))
        multiple = convert(limit.value, limit.unit, reading.unit)
    return tuple(spread_of(reading.spread[level], multiple) for level in levels)


def instrument_error(reading: Reading) -> float:
    """Standard deviation of the instrument, in the reading's unit; no finer than its last figure lets one read.

    A figure rounded to steps of h is off by a standard deviation of h / sqrt(12).
    """
    return max(reading.instrument_error.value, 10.0**-reading.decimals / math.sqrt(12))
