"""What readings say about a level: one hidden true value, a spread between engines, an error of the instrument.

May import: numpy, `diag.casebook` and `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from diag.casebook import Measured
from diag.evidence.distributions import Spread, spread_of
from diag.evidence.hidden_value import log_marginals
from diag.evidence.normal import Array
from diag.evidence.taken import multiple_of, shown_by, taken, without_limit
from diag.knowledge_base import Engine, Reading

__all__ = ["ReadingLikelihood", "reading_likelihood", "spreads"]


class ReadingLikelihood(Struct, frozen=True):
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
    maker knows has no effect. What all cylinders share (`reading.shift`) is not looked at here: see `shifts`.
    """
    if note := without_limit(reading, engine):
        return ReadingLikelihood(tuple(levels), np.zeros(len(levels)), note)
    shown = shown_by(taken(reading, engine, measured))
    laws = spreads(reading, engine, levels)
    return ReadingLikelihood(tuple(levels), log_marginals(laws, [shown] * len(laws)))


def spreads(reading: Reading, engine: Engine, levels: Sequence[str]) -> tuple[Spread, ...]:
    """The spread of true values between engines for each level, in the reading's unit."""
    multiple = multiple_of(reading, engine)
    return tuple(spread_of(reading.spread[level], multiple) for level in levels)
