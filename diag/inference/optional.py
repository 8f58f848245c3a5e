"""A plate under options, in several models at once: what each puts into every term.

An option multiplies factors onto some components. Most hold many components in one state (a fault that is cured leaves
nothing unsound), and what is taken at one state need not be joined. So all that are held alike are done together,
whatever model they are of. May import: numpy, and the modules of this room below `lots`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.inference.blocks import Block
from diag.inference.local import forward
from diag.inference.model import Array
from diag.inference.speaking import Voice

__all__ = ["OptionValues", "Options", "option_values"]

Options = Sequence[Mapping[int, Array]]
FEWEST = 4  # options alike, below which they are done with others that hold less in common


class _Asked(Struct, frozen=True):
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


class OptionValues(Struct, frozen=True):
    """What one plate puts into every term under each option: `found[model][option]` by place, none for the plate as it
    is, `sums[model, configuration or 1, term]`; `shape`: how many configurations and terms there are."""

    voice: Voice
    found: Sequence[Sequence[Array | None]]
    sums: Array
    shape: tuple[int, int]

    def of(self, model: int) -> Array:
        """`[option, 1, configuration x term]` of one model, laid out when asked for: all would fill the memory."""
        values = np.empty((len(self.found[model]), *self.shape))
        for option, each in enumerate(self.found[model]):
            if each is None:
                values[option] = self.sums[model]
            else:
                self.voice.speech.spread_to(values[option], each)
        return values.reshape(len(values), 1, -1)


def option_values(
    block: Block, voice: Voice, asked: Sequence[Options], sums: Array, shape: tuple[int, int]
) -> OptionValues:
    """Options of one plate; `asked[model]` lists them as for `mixture`."""
    found: list[list[Array | None]] = [[None for _ in some] for some in asked]
    groups: dict[object, list[_Asked]] = {}
    for model, some in enumerate(asked):
        for option, factors in enumerate(some):
            if factors:
                one = _asked(block, model, option, factors)
                groups.setdefault(one.alike, []).append(one)
    rare = [one for group in groups.values() if len(group) < FEWEST for one in group]
    for group in [*(group for group in groups.values() if len(group) >= FEWEST), *([rare] if rare else [])]:
        sums_of = voice.of([one.model for one in group]).sums(_density(block, group))
        for one, mine in zip(group, sums_of, strict=True):
            found[one.model][one.option] = mine
    return OptionValues(voice, found, sums, shape)


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
    """`[asked, configuration or 1, local cell]`; only what all hold alike is taken at one state."""
    models = [one.model for one in group]
    held = dict(frozenset(group[0].held.items()).intersection(*(one.held.items() for one in group)))
    changed = {leaf for one in group for leaf in one.factors}
    layout, leaves = block.first.layout, []
    for number, (leaf, axes) in enumerate(zip(block.leaves, layout.leaves, strict=True)):
        mine = leaf[:, models] if leaf.shape[1] > 1 else leaf
        if number in changed:
            stack = _stack([one.factors.get(number) for one in group], layout.sizes[axes[-1]] if axes else 1)
            mine = mine * (stack if axes else stack[..., 0])
        if axes and axes[-1] in held:
            state = held[axes[-1]]
            mine = mine[..., state : state + 1]
        leaves.append(mine)
    told = [each[:, models] if each.shape[1] > 1 else each for each in block.likelihoods]
    sizes = tuple(1 if axis in held else size for axis, size in enumerate(layout.sizes))
    result = forward(replace(layout, sizes=sizes), leaves, told, len(group)).result
    wide = np.broadcast_to(result, (1, len(group), *result.shape[2:]))
    return np.asarray(wide.reshape(len(group), result.shape[2], -1))


def _stack(factors: Sequence[Array | None], states: int) -> Array:
    """`[1, asked, row, 1, state]`; 1 where nothing is changed."""
    rows = max((len(factor) for factor in factors if factor is not None), default=1)
    stack = np.ones((len(factors), rows, states))
    for place, factor in enumerate(factors):
        if factor is not None:
            stack[place] = factor
    return stack[None, :, :, None]
