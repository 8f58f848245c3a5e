"""Which configurations a case leaves possible: looked at without the shared evidence, which costs a fraction.

Most joint states of shared causes, exchanged parts and shifts are hardly possible once a case is told, and the pass
over all terms costs as much for each of them as for the likely ones. For a configuration c

    P(c, all evidence) <= P(c, evidence on plates) x M,    M = product of the largest likelihoods of the shared evidence

so what is left out is bounded by a forward pass without terms, and the bound is held against the answer itself.
May import: numpy, and the modules of this room below it.
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.inference.blocks import blocks
from diag.inference.model import Array, Evidence, Model
from diag.inference.passes import exact_pass
from diag.inference.restriction import with_configurations
from diag.inference.terms import grid, terms

__all__ = ["LEFT_OUT", "MANY", "largest_shared", "local_chances", "of_these"]

MANY = 1024  # configurations from which a case is scouted first
LEFT_OUT = 1e-13  # share of the probability of all evidence that what is left out may have at most
_AT_ONCE = 1 << 16  # configurations looked at together, for the memory


def local_chances(model: Model, evidence: Evidence) -> Array:
    """`[case, configuration]`: P(configuration, evidence on plates), nothing shared counted in."""
    local = replace(evidence, shared=())
    found = []
    for first in range(0, len(model.configurations), _AT_ONCE):
        window = np.arange(first, min(first + _AT_ONCE, len(model.configurations)), dtype=np.intp)
        share = float(model.configurations[window].sum())
        if share == 0:
            found.append(np.zeros((evidence.cases, len(window))))
            continue
        part, told = with_configurations(model, local, window)
        parts = blocks(part, told, frozenset())
        answer = exact_pass(part, parts, terms(()), grid(()), evidence.cases, gradient=False)
        whole = len(window) == len(model.configurations)
        found.append(np.maximum(answer.configurations, 0.0) * (1.0 if whole else share))
    return np.concatenate(found, axis=1)


def of_these(chances: Array, left_out: float) -> NDArray[np.intp]:
    """The configurations without which at most such a share would be missing in any of the cases, `chances[case,
    configuration]`; all, where none has a chance."""
    total = chances.sum(axis=1, keepdims=True)
    share = (chances / np.where(total > 0, total, 1.0)).max(axis=0)
    order = np.argsort(share, kind="stable")
    out = int(np.searchsorted(np.cumsum(share[order]), left_out, side="right"))
    return np.sort(order[out:]) if out < len(order) else np.arange(len(order), dtype=np.intp)


def largest_shared(evidence: Evidence) -> float:
    """M: the largest likelihood that the shared evidence can have."""
    return float(np.prod([likelihood.max() for _, likelihood in evidence.shared])) if evidence.shared else 1.0
