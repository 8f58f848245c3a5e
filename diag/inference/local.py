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
FEW_HOLDERS = 3  # of an axis, up to which one holder more or less changes what a join of two can sum out
LEADING = 4  # plate, case, configuration, term


@dataclass(frozen=True)
class Layout:
    """The shape of a plate's computation: `sizes` of all axes, the first `levels` of which are level axes; axes of
    each leaf and of each likelihood; and the level axes to keep.

    `widths[leaf or likelihood]` is how much wider it is by the cases, classes and terms that it depends on; a rough
    number, for the plan alone.
    """

    sizes: tuple[int, ...]
    levels: int
    leaves: tuple[Axes, ...]
    likelihoods: tuple[Axes, ...]
    kept: Axes
    widths: tuple[int, ...] = ()

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


Price = tuple[int, int]  # cells added to what is held, cells of the product
Pair = tuple[int, int]


class _Planner:
    """Greedy order: always that join of factors with a common axis which adds the fewest cells to what is held.

    Sets of axes are bits of a number here, and a pair is priced again only when what is left of its axes has changed.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.widths = list(layout.widths) or [1] * (len(layout.leaves) + len(layout.likelihoods))
        self.open: dict[int, Axes] = dict(enumerate(layout.leaves))
        self.width: dict[int, int] = {node: self.widths[node] for node in self.open}
        self.bits: dict[int, int] = {}
        self.held_by = [0] * len(layout.sizes)
        self.sizes: dict[int, int] = {0: 1}
        self.prices: dict[Pair, Price] = {}
        self.stale = 0
        self.kept = _bits(layout.kept)
        self.pending = set(range(len(layout.likelihoods)))
        self.steps: list[_Step] = []
        self.count = len(layout.leaves)
        for node in self.open:
            self._enter(node)

    def cheapest_pair(self) -> Pair:
        """The cheapest join of two factors with a common axis; where there are none, of the two smallest."""
        if self.stale:
            gone = self.stale
            for pair in [pair for pair in self.prices if (self.bits[pair[0]] | self.bits[pair[1]]) & gone]:
                self.prices[pair] = self._price(*pair)
            self.stale = 0
        if self.prices:
            return min(self.prices, key=lambda pair: (self.prices[pair], pair))
        left, right, *_ = sorted(self.open, key=lambda node: (self._size(self.bits[node]) * self.width[node], node))
        return min(left, right), max(left, right)

    def _price(self, left: int, right: int) -> Price:
        first, second = self.bits[left], self.bits[right]
        both, union = first & second, first | second
        lasting = union & self.kept
        rest = union & ~self.kept
        while rest:
            bit = rest & -rest
            rest ^= bit
            if self.held_by[bit.bit_length() - 1] > (2 if bit & both else 1):
                lasting |= bit
        width = max(self.width[left], self.width[right])
        held = self._size(first) * self.width[left] + self._size(second) * self.width[right]
        return self._size(lasting) * width - held, self._size(union) * width

    def _size(self, bits: int) -> int:
        known = self.sizes.get(bits)
        if known is None:
            last = bits & -bits
            known = self.sizes[bits] = self._size(bits ^ last) * self.layout.sizes[last.bit_length() - 1]
        return known

    def _enter(self, node: int) -> None:
        """A node becomes open: its axes have one more holder, and it is priced with all that it meets."""
        mine = self.bits[node] = _bits(self.open[node])
        for axis in self.open[node]:
            self.held_by[axis] += 1
            if self.held_by[axis] <= FEW_HOLDERS:
                self.stale |= 1 << axis
        for other in self.open:
            if other != node and other in self.bits and self.bits[other] & mine:
                pair = (min(node, other), max(node, other))
                self.prices[pair] = self._price(*pair)

    def _leave(self, node: int) -> None:
        for axis in self.open.pop(node):
            self.held_by[axis] -= 1
            if self.held_by[axis] < FEW_HOLDERS:
                self.stale |= 1 << axis
        self.prices = {pair: price for pair, price in self.prices.items() if node not in pair}

    def join(self, left: int, right: int) -> None:
        """Join two open nodes, and close what that completes."""
        axes = tuple(sorted({*self.open[left], *self.open[right]}))
        self._leave(left)
        self._leave(right)
        self._add(_Join(left, right, axes), axes, max(self.width[left], self.width[right]))
        self.close(self.count - 1)

    def close(self, node: int) -> None:
        """Meet likelihoods of, and sum out, the axes which no other open node has any more."""
        axes = self.open[node]
        complete = {axis for axis in axes if self.held_by[axis] == 1}
        due = tuple(sorted(i for i in self.pending if set(self.layout.likelihoods[i]) <= complete))
        self.pending.difference_update(due)
        awaited = {axis for i in self.pending for axis in self.layout.likelihoods[i]}
        summed = tuple(sorted(complete - awaited - set(self.layout.kept)))
        if due or summed:
            self._leave(node)
            left = tuple(axis for axis in axes if axis not in summed)
            met = [self.widths[len(self.layout.leaves) + i] for i in due]
            self._add(_Close(node, due, summed, left), left, max([self.width[node], *met]))

    def _add(self, step: _Step, axes: Axes, width: int) -> None:
        self.steps.append(step)
        self.open[self.count] = axes
        self.width[self.count] = width
        self._enter(self.count)
        self.count += 1


def _bits(axes: Axes) -> int:
    return sum(1 << axis for axis in axes)


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


def backward(tape: Tape, gradient: Array) -> dict[int, Array]:
    """Unnormalised marginals `[plate, case, level or state]` of all axes that the forward pass met.

    `gradient` is that of the result, `[plate, case, configuration, term, axis...]`. It is passed down only as far as
    axes are summed out below.
    """
    leaves = len(tape.layout.leaves)
    below = _summed_below(tape.layout)
    gradients: dict[int, Array] = {len(tape.tensors) - 1: gradient}
    marginals = _axis_marginals(tape.result * gradient, tape.axes[-1], tape.axes[-1])
    for number in range(len(tape.steps) - 1, -1, -1):
        step, incoming = tape.steps[number], gradients.pop(leaves + number, None)
        if incoming is None:
            continue
        if isinstance(step, _Close):
            outgoing = _closed_gradient(tape, incoming, step)
            if step.summed:
                inside = tape.tensors[step.node] * outgoing
                marginals |= _axis_marginals(inside, tape.axes[step.node], step.summed)
            if step.node in below:
                gradients[step.node] = outgoing
        else:
            for mine, other in ((step.left, step.right), (step.right, step.left)):
                if mine in below:
                    gradients[mine] = _joined_gradient(tape, incoming, mine, other, step.axes)
    return marginals


@lru_cache(maxsize=512)
def _summed_below(layout: Layout) -> frozenset[int]:
    """The nodes at which, or below which, an axis is summed out."""
    found: set[int] = set()
    for number, step in enumerate(_plan(layout), len(layout.leaves)):
        children = (step.left, step.right) if isinstance(step, _Join) else (step.node,)
        if (isinstance(step, _Close) and step.summed) or found.intersection(children):
            found.add(number)
    return frozenset(found)


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
