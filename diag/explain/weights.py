"""Weights of evidence: what each finding adds to the log-odds of a claim, in the order told and by its own removal.

May import: inference (its array type), numpy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diag.inference import Array

__all__ = [
    "DECIBANS",
    "Weights",
    "chance_of",
    "difference",
    "log_odds",
    "parts_in_order",
    "weigh_in_order",
    "weights_of",
]

DECIBANS = 10.0 / np.log(10.0)
"""Decibans in one unit of the natural logarithm (Good 1985: ten times the logarithm to base ten)."""

LogJoint = Callable[[NDArray[np.bool_]], Array]


@dataclass(frozen=True)
class Weights:
    """Weights of evidence for a claim against its counter-claim, all in decibans (Good 1985).

    `odds[number of findings told]`: log-odds from the prior to the posterior. `told[finding]`: what each added when
    its turn came; their sum is `posterior` less `prior`. `own[finding]`: by how much the log-odds fall when that one
    alone is taken back and all else stays; these need not add up. A claim that is ruled out, or certain, has infinite
    log-odds, and the finding that does it an infinite weight.
    """

    odds: Array
    told: Array
    own: Array

    @property
    def prior(self) -> float:
        """Log-odds before anything was told."""
        return float(self.odds[0])

    @property
    def posterior(self) -> float:
        """Log-odds after everything was told."""
        return float(self.odds[-1])


def weigh_in_order(log_joint: LogJoint, findings: int) -> Weights:
    """Weights of findings for a claim.

    `log_joint(told[part, finding])` gives `[part, 2]`: logarithms of P(claim, what was told) and P(counter-claim, what
    was told), but for a factor common to both. Asked once, of all `parts_in_order`.
    Burglary (Pearl 1988): John's call has 12.184 decibans for it, John's and Mary's together 25.983.
    """
    return weights_of(log_odds(log_joint(parts_in_order(findings))))


def parts_in_order(findings: int) -> NDArray[np.bool_]:
    """`told[part, finding]`: every beginning of what was told, the empty one first, then every one without a single
    finding."""
    beginnings = np.tril(np.ones((findings + 1, findings), dtype=np.bool_), -1)
    return np.concatenate([beginnings, ~np.eye(findings, dtype=np.bool_)])


def weights_of(odds: Array) -> Weights:
    """The weights from the log-odds in decibans of all `parts_in_order`."""
    findings = len(odds) // 2
    in_order, without = odds[: findings + 1], odds[findings + 1 :]
    told = [difference(after, before) for before, after in pairwise(in_order)]
    own = [difference(in_order[-1], each) for each in without]
    return Weights(in_order, np.array(told, dtype=np.float64), np.array(own, dtype=np.float64))


def log_odds(logs: Array) -> Array:
    """Log-odds in decibans from `[part, 2]` logarithms; certain either way is infinite."""
    return np.array([DECIBANS * difference(float(claim), float(counter)) for claim, counter in logs])


def difference(after: float, before: float) -> float:
    """after - before; between two infinities of one sign nothing changes."""
    return 0.0 if after == before else after - before


def chance_of(odds: float) -> float:
    """Probability from log-odds in decibans."""
    return float(1.0 / (1.0 + 10.0 ** (-odds / 10.0))) if odds > -3000.0 else 0.0
