"""A plate under options, in several models at once: what each puts into every term.

An option multiplies factors onto some components. Most hold many components in one state (a fault that is cured leaves
nothing unsound), and what is taken at one state need not be joined. So all that are held alike are done together,
whatever model they are of. May import: numpy, and the modules of this room below `lots`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.inference.blocks import Block
from diag.inference.local import forward
from diag.inference.model import Array
from diag.inference.speaking import Voice

__all__ = ["Options", "option_values"]

Options = Sequence[Mapping[int, Array]]
Plain = tuple[Array, tuple[int, int]]


@dataclass(frozen=True)
class _Asked:
    """One option of one model: for each leaf of weights that it changes the factor `[row, state]`, and of the axes that
    are held the state."""

    model: int
    option: int
    factors: Mapping[int, Array]
    held: Mapping[int, int]

    @property
    def alike(self) -> object:
        """Equal for those that are done together."""
        return tuple(sorted(self.held.items())), tuple(sorted((leaf, f.shape) for leaf, f in self.factors.items()))


def option_values(block: Block, voice: Voice, asked: Sequence[Options], plain: Plain) -> list[Array]:
    """For each model `[option, 1, configuration x term]`; `asked[model]` lists options as for `mixture`. `plain`: the
    plate as it is, `[model, configuration or 1, term]`, and how many configurations and terms there are."""
    sums, shape = plain
    values = [np.empty((len(some), *shape)) for some in asked]
    groups: dict[object, list[_Asked]] = {}
    for model, some in enumerate(asked):
        for option, factors in enumerate(some):
            if factors:
                one = _asked(block, model, option, factors)
                groups.setdefault(one.alike, []).append(one)
            else:
                values[model][option] = sums[model]
    for group in groups.values():
        density = _density(block, group)
        found = voice.of([one.model for one in group]).sums(density)
        for one, mine in zip(group, found, strict=True):
            voice.speech.spread_to(values[one.model][one.option], mine)
    return [each.reshape(len(each), 1, -1) for each in values]


def _asked(block: Block, model: int, option: int, factors: Mapping[int, Array]) -> _Asked:
    member = block.first
    by_leaf: dict[int, Array] = {}
    for index, factor in factors.items():
        known, leaf = member.plate.components[index], member.weights[index]
        wide = factor if known.base is None else known.widened(factor)
        by_leaf[leaf] = by_leaf[leaf] * wide if leaf in by_leaf else wide
    held = {}
    for leaf, factor in by_leaf.items():
        states = np.flatnonzero(factor.any(axis=0))
        axes = member.layout.leaves[leaf]
        if len(states) == 1 and len(axes) == 1 and not _named(block, axes[0]):
            held[axes[0]] = int(states[0])
    return _Asked(model, option, by_leaf, held)


def _named(block: Block, axis: int) -> bool:
    """Whether an axis of states is kept, or evidence speaks of it otherwise than as a weight."""
    layout = block.first.layout
    return axis in layout.kept or any(axis in axes for axes in layout.likelihoods)


def _density(block: Block, group: Sequence[_Asked]) -> Array:
    """`[asked, configuration or 1, local cell]`."""
    models, held = [one.model for one in group], group[0].held
    leaves = []
    for number, (leaf, axes) in enumerate(zip(block.leaves, block.first.layout.leaves, strict=True)):
        mine = leaf[:, models] if leaf.shape[1] > 1 else leaf
        if number in group[0].factors:
            stack = np.stack([one.factors[number] for one in group])[None, :, :, None]
            mine = mine * (stack if axes else stack[..., 0])
        if axes and axes[-1] in held:
            state = held[axes[-1]]
            mine = mine[..., state : state + 1]
        leaves.append(mine)
    told = [each[:, models] if each.shape[1] > 1 else each for each in block.likelihoods]
    result = forward(block.first.layout, leaves, told, len(group)).result
    return np.asarray(
        np.broadcast_to(result, (1, len(group), *result.shape[2:])).reshape(len(group), result.shape[2], -1)
    )
