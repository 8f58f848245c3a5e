"""Components that are held in one state each: what is taken there need not be multiplied.

May import: numpy, `model`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diag.inference.model import Array

__all__ = ["at_states", "states_held"]


def states_held(factors: Sequence[Array | None]) -> list[int] | None:
    """The state in which each option holds a component; none where one does not, or there is but one state."""
    chosen = []
    for factor in factors:
        if factor is None or len(factor) > 1 or factor.shape[1] == 1 or np.count_nonzero(factor) != 1:
            return None
        state = int(np.argmax(factor[0]))
        if factor[0, state] != 1.0:
            return None
        chosen.append(state)
    return chosen


def at_states(leaf: Array, axes: tuple[int, ...], held: Mapping[int, list[int]]) -> Array:
    """A leaf of one plate, its state axis (the last) taken at the state that each option holds: far less to join."""
    if not axes or axes[-1] not in held:
        return leaf
    taken = np.moveaxis(np.take(leaf[0], held[axes[-1]], axis=-1), -1, 0)
    return taken[..., np.newaxis]
