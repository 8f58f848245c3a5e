"""What work that only disturbs makes of a component: one history over all versions from one renewal to the next.

Disturbing cures nothing. What was unsound stays as it is; what was sound takes a state from the `disturbed` table. So
a history is 'sound throughout', or 'fell into state s at version v and stayed so'. May import: inference, numpy.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from diag.inference import Array

__all__ = ["History"]


class History(Struct, frozen=True):
    """All histories over a number of versions: the first is 'sound throughout', then by version and unsound state.

    `prior[configuration or 1, history]`; `seen[version][history]` is the state at that version; `began[history]` the
    version at which it fell ill (-1: never), `state[history]` the state that it then has.
    """

    prior: Array
    seen: tuple[tuple[int, ...], ...]
    began: tuple[int, ...]
    state: tuple[int, ...]

    @classmethod
    def of(cls, first: Array, disturbed: Array, versions: int) -> History:
        """From the chances of the first version `[configuration or 1, state]` and of being disturbed `[state]`."""
        states = range(1, first.shape[1])
        fell = [(version, state) for version in range(versions) for state in states]
        columns = [first[:, 0] * disturbed[0] ** (versions - 1)]
        for version, state in fell:
            sound_until = first[:, 0] * disturbed[0] ** (version - 1) if version else np.ones(len(first))
            columns.append(sound_until * disturbed[state] if version else first[:, state])
        seen = tuple((0, *(state if began <= version else 0 for began, state in fell)) for version in range(versions))
        return cls(np.stack(columns, axis=1), seen, (-1, *(v for v, _ in fell)), (0, *(s for _, s in fell)))

    def fallen(self, version: int, table: Array) -> Array:
        """`[history, level]`: what those histories contribute that began at a version, others as the sound state."""
        chosen = [state if began == version else 0 for began, state in zip(self.began, self.state, strict=True)]
        return np.asarray(table[chosen])
