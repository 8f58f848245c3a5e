"""Inside a plate: from the states of its components to the levels of its severities, and back.

A plate is a small factor graph with two kinds of axes. *State* axes (one a component) multiply; *level* axes (one a
version of a severity) take the maximum. Factors are joined in the order that `planning` gives. Tensors come and go as
`[plate, case, configuration, term, axis...]` with axes ascending, level axes before state axes; each of the first four
may be 1 where nothing depends on it. May import: numpy, `maximum`, `model`, `planning`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.inference.maximum import maximum, maximum_adjoint
from diag.inference.model import Array
from diag.inference.planning import Axes, Close, Join, Layout, Step, plan, summed_below

__all__ = ["LEADING", "Layout", "Tape", "backward", "forward"]

LEADING = 4  # plate, case, configuration, term


@dataclass(frozen=True)
class Tape:
    """What the forward pass leaves for the backward pass: every node's tensor `[axis..., leading...]` and axes, and the
    steps taken. The leading dimensions stand last in memory, in `order`, the longest of them at the end."""

    tensors: tuple[Array, ...]
    axes: tuple[Axes, ...]
    steps: tuple[Step, ...]
    layout: Layout
    likelihoods: tuple[Array, ...]
    order: tuple[int, ...]

    @property
    def result(self) -> Array:
        """The joint density of the kept axes `[plate, case, configuration, term, axis...]`, with all local evidence."""
        last = self.tensors[-1]
        axes = last.ndim - LEADING
        return np.transpose(last, (*(axes + self.order.index(place) for place in range(LEADING)), *range(axes)))


def forward(layout: Layout, leaves: Sequence[Array], likelihoods: Sequence[Array], cases: int = 1) -> Tape:
    """Join all leaves; leaves and likelihoods are `[plate, case, configuration, term, axis...]` over their axes.

    `cases`: how many there will be of them in the backward pass, if more.
    """
    given = (*leaves, *likelihoods)
    widest = [max(array.shape[place] for array in given) for place in range(LEADING)]
    widest[1] = max(widest[1], cases)
    order = tuple(sorted(range(LEADING), key=widest.__getitem__))
    turned = [_turned(array, order) for array in given]
    tensors, axes = turned[: len(leaves)], list(layout.leaves)
    told = tuple(turned[len(leaves) :])
    steps = plan(layout)
    for step in steps:
        if isinstance(step, Join):
            first = _spread(tensors[step.left], axes[step.left], step.axes)
            second = _spread(tensors[step.right], axes[step.right], step.axes)
            common = _common(axes[step.left], axes[step.right], step.axes, layout)
            tensors.append(maximum(first, second, common))
        else:
            tensors.append(_closed(tensors[step.node], axes[step.node], step, layout, told))
        axes.append(step.axes)
    return Tape(tuple(tensors), tuple(axes), steps, layout, told, order)


def _turned(array: Array, order: Sequence[int]) -> Array:
    """`[axis..., leading...]` in memory: then what runs through every number is long."""
    return np.ascontiguousarray(np.transpose(array, (*range(LEADING, array.ndim), *order)))


def backward(tape: Tape, gradient: Array) -> dict[int, Array]:
    """Unnormalised marginals `[plate, case, level or state]` of all axes that the forward pass met.

    `gradient` is that of the result, `[plate, case, configuration, term, axis...]`. It is passed down only as far as
    axes are summed out below.
    """
    leaves = len(tape.layout.leaves)
    below = summed_below(tape.layout)
    turned = _turned(gradient, tape.order)
    gradients: dict[int, Array] = {len(tape.tensors) - 1: turned}
    marginals = _axis_marginals(tape, tape.tensors[-1] * turned, tape.axes[-1], tape.axes[-1])
    for number in range(len(tape.steps) - 1, -1, -1):
        step, incoming = tape.steps[number], gradients.pop(leaves + number, None)
        if incoming is None:
            continue
        if isinstance(step, Close):
            outgoing = _closed_gradient(tape, incoming, step)
            if step.summed:
                inside = tape.tensors[step.node] * outgoing
                marginals |= _axis_marginals(tape, inside, tape.axes[step.node], step.summed)
            if step.node in below:
                gradients[step.node] = outgoing
        else:
            for mine, other in ((step.left, step.right), (step.right, step.left)):
                if mine in below:
                    gradients[mine] = _joined_gradient(tape, incoming, mine, other, step.axes)
    return marginals


def _spread(tensor: Array, axes: Axes, union: Axes) -> Array:
    """Give the tensor one dimension for each axis of the union, of size 1 where it has none."""
    sizes = dict(zip(axes, tensor.shape[:-LEADING], strict=True))
    return tensor.reshape(*(sizes.get(axis, 1) for axis in union), *tensor.shape[-LEADING:])


def _common(left: Axes, right: Axes, union: Axes, layout: Layout) -> list[int]:
    """Dimensions of the level axes that both sides have."""
    return [place for place, axis in enumerate(union) if axis < layout.levels and axis in left and axis in right]


def _likelihood_of(step: Close, axes: Axes, layout: Layout, likelihoods: Sequence[Array]) -> Array | None:
    """The product of the likelihoods which a closing step meets, spread over the node's axes."""
    result: Array | None = None
    for index in step.likelihoods:
        factor = _spread(likelihoods[index], layout.likelihoods[index], axes)
        result = factor if result is None else result * factor
    return result


def _closed(tensor: Array, axes: Axes, step: Close, layout: Layout, likelihoods: Sequence[Array]) -> Array:
    factor = _likelihood_of(step, axes, layout, likelihoods)
    if factor is not None:
        tensor = tensor * factor
    places = tuple(axes.index(axis) for axis in step.summed)
    return np.asarray(tensor.sum(axis=places)) if places else tensor


def _closed_gradient(tape: Tape, incoming: Array, step: Close) -> Array:
    axes, tensor = tape.axes[step.node], tape.tensors[step.node]
    outgoing = _spread(incoming, step.axes, axes)
    factor = _likelihood_of(step, axes, tape.layout, tape.likelihoods)
    if factor is not None:
        outgoing = outgoing * factor
    shape = np.broadcast_shapes(outgoing.shape, (*tensor.shape[:-LEADING], *(1 for _ in range(LEADING))))
    return _narrowed(tape, np.broadcast_to(outgoing, shape), tensor)


def _joined_gradient(tape: Tape, incoming: Array, mine: int, other: int, union: Axes) -> Array:
    factor = _spread(tape.tensors[other], tape.axes[other], union)
    product = maximum_adjoint(incoming, factor, _common(tape.axes[mine], tape.axes[other], union, tape.layout))
    absent = tuple(place for place, axis in enumerate(union) if axis not in tape.axes[mine])
    if absent:
        product = product.sum(axis=absent)
    return _narrowed(tape, np.asarray(product), tape.tensors[mine])


def _narrowed(tape: Tape, gradient: Array, tensor: Array) -> Array:
    """Sum over configurations and terms where the tensor does not depend on them."""
    places = (tape.order.index(2) - LEADING, tape.order.index(3) - LEADING)
    summed = tuple(place for place in places if tensor.shape[place] == 1 and gradient.shape[place] > 1)
    return np.asarray(gradient.sum(axis=summed, keepdims=True)) if summed else gradient


def _axis_marginals(tape: Tape, product: Array, axes: Axes, wanted: Axes) -> dict[int, Array]:
    """Marginals `[plate, case, level]` of axes of a tensor that holds unnormalised joint probabilities."""
    result: dict[int, Array] = {}
    places = tuple(len(axes) + tape.order.index(leading) for leading in (2, 3))
    summed = product.sum(axis=places)  # configurations and terms first: what is left is small
    if tape.order.index(0) > tape.order.index(1):
        summed = np.swapaxes(summed, -1, -2)
    for place, axis in enumerate(axes):
        if axis in wanted:
            rest = tuple(other for other in range(len(axes)) if other != place)
            result[axis] = np.moveaxis(summed.sum(axis=rest), 0, -1)
    return result
