"""Inside a plate: from the states of its components to the levels of its severities, and back.

A plate is a small factor graph with two kinds of axes. *State* axes (one a component) multiply; *level* axes (one a
version of a severity) take the maximum. Factors are joined pairwise, cheapest first; a level axis whose contributors
are all joined meets its likelihood and is summed out unless it is kept, and a state axis is summed out when no other
factor has it. The order is planned once for each layout. All tensors are `[plate, case, configuration, term, axis...]`
with axes ascending, level axes before state axes; each of the first four may be 1 where nothing depends on it.
May import: numpy, `maximum`, `model`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import prod

import numpy as np

from diag.inference.maximum import maximum, maximum_adjoint
from diag.inference.model import Array

__all__ = ["LEADING", "Layout", "Tape", "backward", "forward"]

Axes = tuple[int, ...]
LEADING = 4  # plate, case, configuration, term


@dataclass(frozen=True)
class Layout:
    """The shape of a plate's computation: `sizes` of all axes, the first `levels` of which are level axes; axes of
    each leaf and of each likelihood; and the level axes to keep."""

    sizes: tuple[int, ...]
    levels: int
    leaves: tuple[Axes, ...]
    likelihoods: tuple[Axes, ...]
    kept: Axes

    def size(self, axes: frozenset[int] | Axes) -> int:
        """Number of cells over some axes."""
        return prod(self.sizes[axis] for axis in axes)


@dataclass(frozen=True)
class _Join:
    left: int
    right: int
    axes: Axes


@dataclass(frozen=True)
class _Close:
    node: int
    likelihoods: tuple[int, ...]
    summed: Axes
    axes: Axes


_Step = _Join | _Close


@dataclass(frozen=True)
class Tape:
    """What the forward pass leaves for the backward pass: every node's tensor and axes, and the steps taken."""

    tensors: tuple[Array, ...]
    axes: tuple[Axes, ...]
    steps: tuple[_Step, ...]
    layout: Layout
    likelihoods: tuple[Array, ...]

    @property
    def result(self) -> Array:
        """The joint density of the kept axes, with all local evidence in it."""
        return self.tensors[-1]


@lru_cache(maxsize=512)
def _plan(layout: Layout) -> tuple[_Step, ...]:
    """Which nodes are joined and closed in which order; node numbers count leaves first, then one a step."""
    planner = _Planner(layout)
    for node in range(len(layout.leaves)):
        planner.close(node)
    while len(planner.open) > 1:
        planner.join(*planner.cheapest_pair())
    return tuple(planner.steps)


class _Planner:
    """Greedy order: always the join that adds the fewest cells to what is held."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.open: dict[int, Axes] = dict(enumerate(layout.leaves))
        self.pending = set(range(len(layout.likelihoods)))
        self.steps: list[_Step] = []
        self.count = len(layout.leaves)

    def cheapest_pair(self) -> tuple[int, int]:
        """The join that adds the fewest cells; factors without a common axis are priced without looking closer."""
        holders: dict[int, int] = {}
        for axes in self.open.values():
            for axis in axes:
                holders[axis] = holders.get(axis, 0) + 1
        size, kept = self.layout.size, self.layout.kept
        nodes = [
            (node, frozenset(axes), size(axes), size(tuple(a for a in axes if a in kept or holders[a] > 1)))
            for node, axes in self.open.items()
        ]
        costs = (
            (lasting * more_lasting - held - more, held * more, left, right)
            if first.isdisjoint(second)
            else self._cost(left, right, holders)
            for i, (left, first, held, lasting) in enumerate(nodes)
            for right, second, more, more_lasting in nodes[i + 1 :]
        )
        _, _, left, right = min(costs)
        return left, right

    def _cost(self, left: int, right: int, holders: dict[int, int]) -> tuple[int, int, int, int]:
        first, second = frozenset(self.open[left]), frozenset(self.open[right])
        union = first | second
        kept = self.layout.kept
        lasting = frozenset(a for a in union if a in kept or holders[a] > (a in first) + (a in second))
        added = self.layout.size(lasting) - self.layout.size(first) - self.layout.size(second)
        return added, self.layout.size(union), left, right

    def join(self, left: int, right: int) -> None:
        axes = tuple(sorted({*self.open.pop(left), *self.open.pop(right)}))
        self._add(_Join(left, right, axes), axes)
        self.close(self.count - 1)

    def close(self, node: int) -> None:
        """Meet likelihoods of, and sum out, the axes which no other open node has any more."""
        axes = self.open[node]
        elsewhere = {axis for other, reached in self.open.items() if other != node for axis in reached}
        complete = set(axes) - elsewhere
        due = tuple(sorted(i for i in self.pending if set(self.layout.likelihoods[i]) <= complete))
        self.pending.difference_update(due)
        awaited = {axis for i in self.pending for axis in self.layout.likelihoods[i]}
        summed = tuple(sorted(complete - awaited - set(self.layout.kept)))
        if due or summed:
            self.open.pop(node)
            left = tuple(axis for axis in axes if axis not in summed)
            self._add(_Close(node, due, summed, left), left)

    def _add(self, step: _Step, axes: Axes) -> None:
        self.steps.append(step)
        self.open[self.count] = axes
        self.count += 1


def forward(layout: Layout, leaves: Sequence[Array], likelihoods: Sequence[Array]) -> Tape:
    """Join all leaves; leaves and likelihoods are `[plate, case, configuration, term, axis...]` over their axes."""
    tensors, axes = list(leaves), list(layout.leaves)
    steps = _plan(layout)
    for step in steps:
        if isinstance(step, _Join):
            first = _spread(tensors[step.left], axes[step.left], step.axes)
            second = _spread(tensors[step.right], axes[step.right], step.axes)
            common = _common(axes[step.left], axes[step.right], step.axes, layout)
            tensors.append(maximum(first, second, common))
        else:
            tensors.append(_closed(tensors[step.node], axes[step.node], step, layout, likelihoods))
        axes.append(step.axes)
    return Tape(tuple(tensors), tuple(axes), steps, layout, tuple(likelihoods))


def backward(tape: Tape, gradient: Array) -> tuple[tuple[Array, ...], dict[int, Array]]:
    """Gradients towards the leaves, and unnormalised marginals of the level axes `[plate, case, level]`.

    `gradient` is that of the result, `[plate, case, configuration, term, axis...]`. A leaf's gradient has the leaf's
    own axes; configurations and terms are summed where the leaf does not depend on them.
    """
    gradients: dict[int, Array] = {len(tape.tensors) - 1: gradient}
    marginals = _axis_marginals(tape.result * gradient, tape.axes[-1], tape.axes[-1])
    for number in range(len(tape.steps) - 1, -1, -1):
        step, node = tape.steps[number], len(tape.layout.leaves) + number
        incoming = gradients.pop(node)
        if isinstance(step, _Join):
            for mine, other in ((step.left, step.right), (step.right, step.left)):
                gradients[mine] = _joined_gradient(tape, incoming, mine, other, step.axes)
        else:
            outgoing = _closed_gradient(tape, incoming, step)
            gradients[step.node] = outgoing
            levels = tuple(axis for axis in step.summed if axis < tape.layout.levels)
            if levels:
                inside = tape.tensors[step.node] * outgoing
                marginals |= _axis_marginals(inside, tape.axes[step.node], levels)
    return tuple(gradients[leaf] for leaf in range(len(tape.layout.leaves))), marginals


def _spread(tensor: Array, axes: Axes, union: Axes) -> Array:
    """Give the tensor one dimension for each axis of the union, of size 1 where it has none."""
    sizes = dict(zip(axes, tensor.shape[LEADING:], strict=True))
    return tensor.reshape(*tensor.shape[:LEADING], *(sizes.get(axis, 1) for axis in union))


def _common(left: Axes, right: Axes, union: Axes, layout: Layout) -> list[int]:
    """Dimensions of the level axes that both sides have."""
    return [
        LEADING + place for place, axis in enumerate(union) if axis < layout.levels and axis in left and axis in right
    ]


def _likelihood_of(step: _Close, axes: Axes, layout: Layout, likelihoods: Sequence[Array]) -> Array | None:
    """The product of the likelihoods which a closing step meets, spread over the node's axes."""
    result: Array | None = None
    for index in step.likelihoods:
        factor = _spread(likelihoods[index], layout.likelihoods[index], axes)
        result = factor if result is None else result * factor
    return result


def _closed(tensor: Array, axes: Axes, step: _Close, layout: Layout, likelihoods: Sequence[Array]) -> Array:
    factor = _likelihood_of(step, axes, layout, likelihoods)
    if factor is not None:
        tensor = tensor * factor
    places = tuple(LEADING + axes.index(axis) for axis in step.summed)
    return np.asarray(tensor.sum(axis=places)) if places else tensor


def _closed_gradient(tape: Tape, incoming: Array, step: _Close) -> Array:
    axes, tensor = tape.axes[step.node], tape.tensors[step.node]
    outgoing = _spread(incoming, step.axes, axes)
    factor = _likelihood_of(step, axes, tape.layout, tape.likelihoods)
    if factor is not None:
        outgoing = outgoing * factor
    shape = np.broadcast_shapes(outgoing.shape, (1,) * LEADING + tensor.shape[LEADING:])
    return _narrowed(np.broadcast_to(outgoing, shape), tensor)


def _joined_gradient(tape: Tape, incoming: Array, mine: int, other: int, union: Axes) -> Array:
    factor = _spread(tape.tensors[other], tape.axes[other], union)
    product = maximum_adjoint(incoming, factor, _common(tape.axes[mine], tape.axes[other], union, tape.layout))
    absent = tuple(LEADING + place for place, axis in enumerate(union) if axis not in tape.axes[mine])
    if absent:
        product = product.sum(axis=absent)
    return _narrowed(np.asarray(product), tape.tensors[mine])


def _narrowed(gradient: Array, tensor: Array) -> Array:
    """Sum over configurations and terms where the tensor does not depend on them."""
    summed = tuple(place for place in (2, 3) if tensor.shape[place] == 1 and gradient.shape[place] > 1)
    return np.asarray(gradient.sum(axis=summed, keepdims=True)) if summed else gradient


def _axis_marginals(product: Array, axes: Axes, wanted: Axes) -> dict[int, Array]:
    """Marginals `[plate, case, level]` of axes of a tensor that holds unnormalised joint probabilities."""
    result: dict[int, Array] = {}
    summed = product.sum(axis=(2, 3))  # configurations and terms first: what is left is small
    for place, axis in enumerate(axes):
        if axis in wanted:
            rest = tuple(2 + other for other in range(len(axes)) if other != place)
            result[axis] = np.asarray(summed.sum(axis=rest))
    return result
