"""Posteriors of the local severities of a block's plates; those that no evidence speaks of are made when asked for.

May import: numpy, and within the room `blocks`, `leaves`, `model`, `terms`.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping, Sequence
from typing import overload

import numpy as np
from msgspec import Struct, field

from diag.inference.blocks import Block, stacked
from diag.inference.leaves import plate_leaves
from diag.inference.model import Array, Evidence, Model
from diag.inference.terms import Terms

__all__ = ["AxisByAxis", "Levels", "LevelsAt", "normalised"]


class Levels(Struct, frozen=True, eq=False):
    """The posteriors of the axes of a block's plates; of those that no evidence asked for, when they are asked for."""

    model: Model
    evidence: Evidence
    part: Block
    gradient: Array
    chosen: Terms
    marginals: Mapping[int, Array]
    unseen: bool
    known: dict[int, Array] = field(default_factory=dict)

    def of(self, axis: int) -> Array:
        """`[plate, case, level]`."""
        if axis not in self.known:
            if axis in self.marginals:
                marginal = self.marginals[axis]
            elif self.unseen:
                marginal = _unseen_axis(self.model, self.evidence, self.part, self.gradient, axis, self.chosen)
            else:
                marginal = np.full((1, 1, self.part.first.plate.axes[axis].levels), np.nan)
            shape = (len(self.part.members), self.evidence.cases, marginal.shape[-1])
            self.known[axis] = normalised(np.broadcast_to(marginal, shape))
        return self.known[axis]


class AxisByAxis(Sequence[Array]):
    """Arrays of the axes of a plate, each made when it is asked for (`made`)."""

    @abstractmethod
    def made(self, axis: int) -> Array:
        """The array of an axis, counted from 0."""

    @overload
    def __getitem__(self, axis: int) -> Array: ...
    @overload
    def __getitem__(self, axis: slice) -> tuple[Array, ...]: ...
    def __getitem__(self, axis: int | slice) -> Array | tuple[Array, ...]:
        if isinstance(axis, slice):
            return tuple(self[number] for number in range(len(self))[axis])
        return self.made(range(len(self))[axis])


class LevelsAt(AxisByAxis):
    """Those of one plate: `[axis][case, level]`."""

    def __init__(self, levels: Levels, place: int) -> None:
        self._levels, self._place = levels, place

    def __len__(self) -> int:
        return len(self._levels.part.first.plate.axes)

    def made(self, axis: int) -> Array:
        """Posterior of the axis."""
        return np.asarray(self._levels.of(axis)[self._place])


def _unseen_axis(model: Model, evidence: Evidence, part: Block, gradient: Array, axis: int, chosen: Terms) -> Array:
    """Marginal `[plate, case, level]` of an axis that no evidence asked for: the forward pass again, with it."""
    heard, like, dense = evidence.heard, part.first.layout.likelihoods, part.first.dense
    kept = frozenset({axis} if dense else ())
    limit = part.first.layout.size((*part.kept, axis)) if dense else 0
    members = [
        plate_leaves(model, evidence, member.number, heard, frozenset({axis}), like, limit, kept)
        for member in part.members
    ]
    if any(member.shape_key != members[0].shape_key for member in members):  # they see this axis differently
        alone = [
            _unseen_axis(model, evidence, part.alone(place), gradient[[place]], axis, chosen)
            for place in range(len(members))
        ]
        return np.concatenate(alone)
    again = stacked(members)
    if not dense:
        return again.collect(gradient, chosen)[axis]
    place = again.kept.index(axis)
    before = int(np.prod(again.sizes[:place], dtype=np.int64))
    apart = again.density.reshape(*again.density.shape[:3], before, again.sizes[place], -1)
    towards = gradient.reshape(*gradient.shape[:3], before, 1, -1)
    return np.asarray((apart * towards).sum(axis=(2, 3, 5)))


def normalised(array: Array) -> Array:
    """Chances along the last axis that sum to 1."""
    positive = np.maximum(array, 0.0)
    return np.asarray(positive / positive.sum(axis=-1, keepdims=True))
