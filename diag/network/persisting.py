"""A reading taken before and after a repair: the true value stays while its level stays.

Where the level changes, the value is another one, drawn from the new level's spread: how far a cylinder lay from the
middle before says nothing of where it lies with another fault. With S(l) the versions that are at level l,

    likelihood(level of version 0, of version 1, ...) = product over levels l of
        integral over x of spread_l(x) times what was shown in all versions of S(l), given x

so a number seen again after work that changed nothing tells hardly more than the instrument's error. May import:
evidence, inference, numpy.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

from diag.evidence import Spread, Taken, log_marginals, shown_by
from diag.inference import Array

__all__ = ["reading_pattern"]


def reading_pattern(laws: Sequence[Spread], told: Sequence[Sequence[Taken]]) -> Array:
    """Natural logarithms of the likelihood of readings of several versions: `[level of version 0, of version 1, ...]`.

    `laws[level]` is the spread of true values, `told[version]` what was read (plain values and bounds), with its
    standard deviation, all in the reading's unit.
    """
    shape = (len(laws),) * len(told)
    groups = [np.array(mask, dtype=bool) for mask in product((False, True), repeat=len(told)) if any(mask)]
    shown = [
        shown_by([each for here, read in zip(group, told, strict=True) if here for each in read]) for group in groups
    ]
    logs = log_marginals(list(laws) * len(groups), [each for each in shown for _ in laws]).reshape(len(groups), -1)
    at = np.indices(shape)
    result = np.zeros(shape)
    for group, by_level in zip(groups, logs, strict=True):
        for level, log in enumerate(by_level):
            result[np.all((at == level) == group.reshape(-1, *[1] * len(told)), axis=0)] += log
    return result
