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

__all__ = ["reading_pattern", "reading_patterns"]


def reading_pattern(laws: Sequence[Spread], told: Sequence[Sequence[Taken]]) -> Array:
    """Natural logarithms of the likelihood of readings of several versions: `[level of version 0, of version 1, ...]`.

    `laws[level]` is the spread of true values, `told[version]` what was read (plain values and bounds), with its
    standard deviation, all in the reading's unit.
    """
    return np.asarray(reading_patterns(laws, [told])[0])


def reading_patterns(laws: Sequence[Spread], several: Sequence[Sequence[Sequence[Taken]]]) -> Array:
    """The same for several of `told`, of as many versions each: `[which, level of version 0, ...]`."""
    versions = len(several[0])
    shape = (len(laws),) * versions
    groups = [np.array(mask, dtype=bool) for mask in product((False, True), repeat=versions) if any(mask)]
    shown = [
        shown_by([each for here, read in zip(group, told, strict=True) if here for each in read])
        for told in several
        for group in groups
    ]
    logs = log_marginals(list(laws) * len(shown), [each for each in shown for _ in laws])
    at = np.indices(shape)
    result = np.zeros((len(several), *shape))
    for group, by_level in zip(groups, np.moveaxis(logs.reshape(len(several), len(groups), -1), 0, 2), strict=True):
        for level, log in enumerate(by_level):
            here = np.all((at == level) == group.reshape(-1, *[1] * versions), axis=0)
            result[:, here] += log[:, np.newaxis]
    return result
