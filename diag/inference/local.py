"""Inside a plate: from the states of its components to the levels of its severities, and back.

A plate is a small factor graph with two kinds of axes. *State* axes (one a component) multiply; *level* axes (one a
version of a severity) take the maximum. Factors are joined in the order that `planning` gives. Tensors come and go as
`[plate, case, configuration, term, axis...]` with axes ascending, level axes before state axes; each of the first four
may be 1 where nothing depends on it. A factor with a spread has a row for each configuration that it tells apart alone;
rows are paired where factors meet, so that most is done for far fewer than there are configurations.
May import: numpy, `diag.basics`, `maximum`, `model`, `planning`, `spreads`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from diag.basics import TooLarge
from diag.inference.maximum import maximum, maximum_adjoint, maximum_summed
from diag.inference.model import Array
from diag.inference.planning import Axes, Close, Join, Layout, Step, plan, summed_below
from diag.inference.spreads import Spread, paired, same, summed_by

__all__ = [
    "LEADING",
    "Layout",
    "Tape",
    "at_result",
    "axis_marginals",
    "backward",
    "closed_gradient",
    "density_of",
    "early_marginals",
    "forward",
    "joined_gradient",
    "keeping",
]

LEADING = 4  # plate, case, configuration, term
NOTHING = np.empty(0)
LARGE = 1 << 12  # numbers of a join from which what is summed out next is summed at once
MOST_NUMBERS = 1 << 29  # of all factors of one pass, which must be held for the way back: 4 GiB
TOO_MUCH = (
    "so much was renewed on one cylinder, and so many findings of the vehicle were told before and after it, that what "
    "happened there does not fit into the memory; leave out findings of earlier visits that no longer matter"
)
Spreads = Sequence[Spread | None]


class Tape(Struct, frozen=True):
    """What the forward pass leaves for the backward pass: every node's tensor `[axis..., leading...]` and axes, and the
    steps taken. The leading dimensions stand last in memory, in `order`, the longest of them at the end.

    `spreads[node]`: which of its rows each configuration sees; none where it is that of its number, or the only one.
    `rows[step]`: which row of the left (or only) node, and of the right, each row of the result is, likewise.
    `factors[step]`: what a closing step met, by the rows of the result. `early[step]`: axes that a joining step summed
    out at once, for the closing step after it.
    """

    tensors: tuple[Array, ...]
    axes: tuple[Axes, ...]
    steps: tuple[Step, ...]
    layout: Layout
    order: tuple[int, ...]
    spreads: tuple[Spread | None, ...]
    rows: tuple[tuple[Spread | None, Spread | None], ...]
    factors: tuple[Array | None, ...]
    early: tuple[Axes, ...]

    @property
    def result(self) -> Array:
        """The joint density of the kept axes `[plate, case, configuration, term, axis...]`, with all local evidence."""
        return _result(self.tensors[-1], self.spreads[-1], self.order)

    @property
    def by_row(self) -> int:
        """The dimension, counted from the end, of the configurations."""
        return self.order.index(2) - LEADING


def forward(
    layout: Layout,
    leaves: Sequence[Array],
    likelihoods: Sequence[Array],
    cases: int = 1,
    spreads: Spreads = (),
    most: int | None = None,
) -> Tape:
    """Join all leaves; leaves and likelihoods are `[plate, case, configuration, term, axis...]` over their axes.

    `cases`: how many there will be of them in the backward pass, if more. `spreads` of the leaves and then of the
    likelihoods, where these have rows of their own. Raises TooLarge before more is held than `most` numbers, or
    `MOST_NUMBERS`.
    """
    going = _Forward(layout, leaves, likelihoods, cases, spreads, most or MOST_NUMBERS)
    going.run()
    return Tape(
        tuple(going.tensors),
        tuple(going.axes),
        going.steps,
        layout,
        going.order,
        tuple(going.spreads),
        tuple(going.rows),
        tuple(going.factors),
        tuple(going.early),
    )


def density_of(layout: Layout, leaves: Sequence[Array], likelihoods: Sequence[Array], spreads: Spreads = ()) -> Array:
    """The result of a forward pass from which nothing else is wanted: what was joined is let go at once, so that the
    next join has its memory, which is still near."""
    going = _Forward(layout, leaves, likelihoods, 1, spreads, MOST_NUMBERS, hold=False)
    going.run()
    return _result(going.tensors[-1], going.spreads[-1], going.order)


def _result(last: Array, spread: Spread | None, order: Sequence[int]) -> Array:
    """`[plate, case, configuration, term, axis...]` from the last node."""
    last = _taken(last, spread, order.index(2) - LEADING)
    axes = last.ndim - LEADING
    return np.transpose(last, (*(axes + order.index(place) for place in range(LEADING)), *range(axes)))


class _Forward:
    """The forward pass, step by step."""

    def __init__(
        self,
        layout: Layout,
        leaves: Sequence[Array],
        likelihoods: Sequence[Array],
        cases: int,
        spreads: Spreads,
        most: int,
        hold: bool = True,
    ) -> None:
        given, known = (*leaves, *likelihoods), tuple(spreads) or (None,) * (len(leaves) + len(likelihoods))
        widest = [max(array.shape[place] for array in given) for place in range(LEADING)]
        widest[1] = max(widest[1], cases)
        widest[2] = max(widest[2], *(len(spread) for spread in known if spread is not None), 1)
        self.order = tuple(sorted(range(LEADING), key=widest.__getitem__))
        turned = [_turned(array, self.order) for array in given]
        self.layout, self.steps, self.by_row = layout, plan(layout), self.order.index(2) - LEADING
        self.tensors, self.likelihoods = turned[: len(leaves)], turned[len(leaves) :]
        self.spreads, self.told_spreads = list(known[: len(leaves)]), known[len(leaves) :]
        self.axes = list(layout.leaves)
        self.rows: list[tuple[Spread | None, Spread | None]] = []
        self.factors: list[Array | None] = []
        self.early: list[Axes] = []
        self.held, self.most, self.hold = 0, most, hold

    def run(self) -> None:
        """All steps."""
        for number, step in enumerate(self.steps):
            if isinstance(step, Join):
                self.join(step, _summed_next(self.layout, self.steps, number))
            else:
                self.close(step)
            if not self.hold:
                for node in (step.left, step.right) if isinstance(step, Join) else (step.node,):
                    self.tensors[node] = NOTHING

    def join(self, step: Join, due: Axes) -> None:
        """Two nodes become one; `due`: axes of it that are summed out next."""
        spread, rows, others = _met(self.spreads[step.left], self.spreads[step.right])
        first = _spread(_taken(self.tensors[step.left], rows, self.by_row), self.axes[step.left], step.axes)
        second = _spread(_taken(self.tensors[step.right], others, self.by_row), self.axes[step.right], step.axes)
        common = _common(self.axes[step.left], self.axes[step.right], step.axes, self.layout)
        count = self._room(np.broadcast_shapes(first.shape, second.shape))  # on the way back it is made, at least
        tensor, early = _joined(first, second, common, step.axes, due)
        self.held += tensor.size if early else count
        axes = tuple(axis for axis in step.axes if axis not in early)
        self._enter(tensor, axes, spread, (rows, others), None, early)

    def close(self, step: Close) -> None:
        """A node meets likelihoods, and axes of it are summed out."""
        axes, spread, rows = self.axes[step.node], self.spreads[step.node], None
        factor: Array | None = None
        met: Spread | None = None
        for index in step.likelihoods:
            one = _spread(self.likelihoods[index], self.layout.likelihoods[index], axes)
            if factor is None:
                factor, met = one, self.told_spreads[index]
            else:
                met, mine, others = _met(met, self.told_spreads[index])
                factor = _taken(factor, mine, self.by_row) * _taken(one, others, self.by_row)
        tensor = self.tensors[step.node]
        if factor is not None:
            spread, rows, others = _met(spread, met)
            tensor, factor = _taken(tensor, rows, self.by_row), _taken(factor, others, self.by_row)
        places = tuple(axes.index(axis) for axis in step.summed if axis in axes)
        if factor is not None:
            self._room(_product_shape(tensor, factor, places))  # until it is summed, and likewise on the way back
        self._enter(_summed(tensor, factor, places), step.axes, spread, (rows, None), factor)

    def _room(self, shape: tuple[int, ...]) -> int:
        """The numbers of what is about to be made. Raises TooLarge where it is too much beside what is held."""
        count = math.prod(shape)
        if self.held + count > self.most:
            raise TooLarge(TOO_MUCH)
        return count

    def _enter(
        self,
        tensor: Array,
        axes: Axes,
        spread: Spread | None,
        rows: tuple[Spread | None, Spread | None],
        factor: Array | None,
        early: Axes = (),
    ) -> None:
        self.tensors.append(tensor)
        self.axes.append(axes)
        self.early.append(early)
        self.spreads.append(spread)
        self.rows.append(rows)
        self.factors.append(factor)


def _summed_next(layout: Layout, steps: Sequence[Step], number: int) -> Axes:
    """The axes of a join that the closing step after it sums out without meeting a likelihood of them."""
    after = steps[number + 1] if number + 1 < len(steps) else None
    if not isinstance(after, Close) or after.node != len(layout.leaves) + number:
        return ()
    met = {axis for index in after.likelihoods for axis in layout.likelihoods[index]}
    return tuple(axis for axis in after.summed if axis not in met)


def _joined(first: Array, second: Array, common: Sequence[int], union: Axes, due: Axes) -> tuple[Array, Axes]:
    """The maximum of both over the union of their axes, and which of those that are due were summed out of it: none
    where it is small. What both take the maximum along cannot be summed before."""
    places = [place for place, axis in enumerate(union) if axis in due and place not in common]
    if not places or math.prod(map(max, first.shape, second.shape)) < LARGE:
        return maximum(first, second, common), ()
    return maximum_summed(first, second, common, places), tuple(union[place] for place in places)


def _met(one: Spread | None, other: Spread | None) -> tuple[Spread | None, Spread | None, Spread | None]:
    """The spread of what two things make together, and the rows of each of them."""
    if one is None or other is None:
        return (other if one is None else one), None, None
    if one is other or np.array_equal(one, other):
        return one, None, None
    both = paired(one, other)
    first = None if same(both.first) and len(both) == int(one.max()) + 1 else both.first
    second = None if same(both.second) and len(both) == int(other.max()) + 1 else both.second
    return both.spread, first, second


def _product_shape(tensor: Array, factor: Array, places: tuple[int, ...]) -> tuple[int, ...]:
    """The shape of what `_summed` makes of both before it sums."""
    before = [1 if place in places and factor.shape[place] == 1 else size for place, size in enumerate(tensor.shape)]
    return np.broadcast_shapes(tuple(before), factor.shape)


def _summed(tensor: Array, factor: Array | None, places: tuple[int, ...]) -> Array:
    """The tensor times the factor, summed over these dimensions: over those that the factor does not have before it is
    met, as their product may be many times as large as what comes of it."""
    if factor is None:
        return np.asarray(tensor.sum(axis=places)) if places else tensor
    before = tuple(place for place in places if factor.shape[place] == 1)
    product = (tensor.sum(axis=before, keepdims=True) if before else tensor) * factor
    return np.asarray(product.sum(axis=places) if len(before) < len(places) else np.squeeze(product, axis=places))


def _taken(tensor: Array, rows: Spread | None, by_row: int) -> Array:
    return tensor if rows is None else np.take(tensor, rows, axis=by_row)


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
    turned = at_result(tape, gradient)
    gradients: dict[int, Array] = {len(tape.tensors) - 1: turned}
    marginals = axis_marginals(tape, tape.tensors[-1] * turned, tape.axes[-1], tape.axes[-1])
    for number in range(len(tape.steps) - 1, -1, -1):
        step, incoming = tape.steps[number], gradients.pop(leaves + number, None)
        if incoming is None:
            continue
        if isinstance(step, Close):
            outgoing = closed_gradient(tape, incoming, number)
            if not set(step.summed).isdisjoint(tape.axes[step.node]):
                inside = tape.tensors[step.node] * outgoing
                marginals |= axis_marginals(tape, inside, tape.axes[step.node], step.summed)
            if step.node in below or (step.node >= leaves and tape.early[step.node - leaves]):
                gradients[step.node] = outgoing
        else:
            for mine in (step.left, step.right):
                early = not set(tape.early[number]).isdisjoint(tape.axes[mine])
                if mine in below or early:
                    gradient = joined_gradient(tape, incoming, number, mine)
                    marginals |= early_marginals(tape, number, mine, gradient) if early else {}
                    if mine in below:
                        gradients[mine] = gradient
    return marginals


def early_marginals(tape: Tape, number: int, mine: int, gradient: Array) -> dict[int, Array]:
    """Marginals, as `axis_marginals` gives them, of the axes of a node that were summed out as it was joined."""
    return axis_marginals(tape, tape.tensors[mine] * gradient, tape.axes[mine], tape.early[number])


def keeping(tape: Tape, extra: Axes) -> tuple[Axes, Array]:
    """The result with some more axes kept apart, `[plate, case, configuration, term, axis...]`, and its axes.

    Only the steps are done again that stand above where one of these axes was summed out: by then nothing else has it,
    so that from there on it is carried along. It is what a forward pass with these axes among those kept would give.
    """
    again: dict[int, tuple[Array, Axes]] = {}

    def node(number: int) -> tuple[Array, Axes]:
        return again[number] if number in again else (tape.tensors[number], tape.axes[number])

    for number, step in enumerate(tape.steps):
        made = len(tape.layout.leaves) + number
        if isinstance(step, Join):
            if step.left in again or step.right in again or not set(extra).isdisjoint(tape.early[number]):
                again[made] = _joined_again(tape, number, node(step.left), node(step.right), extra)
        elif step.node in again or not set(extra).isdisjoint(step.summed):
            again[made] = _closed_again(tape, number, node(step.node), extra)
    last, axes = node(len(tape.tensors) - 1)
    last = _taken(last, tape.spreads[-1], tape.by_row)
    order = (*(len(axes) + tape.order.index(place) for place in range(LEADING)), *range(len(axes)))
    return axes, np.transpose(last, order)


def _joined_again(
    tape: Tape, number: int, left: tuple[Array, Axes], right: tuple[Array, Axes], extra: Axes
) -> tuple[Array, Axes]:
    """A joining step of nodes that have more axes than they had, or of which fewer are summed out at once."""
    union = tuple(sorted({*left[1], *right[1]}))
    first, second = (
        _spread(_taken(tensor, rows, tape.by_row), axes, union)
        for (tensor, axes), rows in zip((left, right), tape.rows[number], strict=True)
    )
    due = tuple(axis for axis in _summed_next(tape.layout, tape.steps, number) if axis not in extra)
    tensor, early = _joined(first, second, _common(left[1], right[1], union, tape.layout), union, due)
    return tensor, tuple(axis for axis in union if axis not in early)


def _closed_again(tape: Tape, number: int, node: tuple[Array, Axes], extra: Axes) -> tuple[Array, Axes]:
    """A closing step of a node that has more axes than it had, or of which fewer are summed out."""
    step, (tensor, axes) = tape.steps[number], node
    assert isinstance(step, Close)
    factor = tape.factors[number]
    if factor is not None:
        tensor = _taken(tensor, tape.rows[number][0], tape.by_row)
        factor = _spread(factor, tape.axes[step.node], axes)
    summed = tuple(axis for axis in step.summed if axis in axes and axis not in extra)
    left = tuple(axis for axis in axes if axis not in summed)
    return _summed(tensor, factor, tuple(axes.index(axis) for axis in summed)), left


def at_result(tape: Tape, gradient: Array) -> Array:
    """A gradient of the result as one of the last node."""
    turned = _turned(gradient, tape.order)
    return turned if tape.spreads[-1] is None else summed_by(turned, tape.spreads[-1], tape.by_row)


def _spread(tensor: Array, axes: Axes, union: Axes) -> Array:
    """Give the tensor one dimension for each axis of the union, of size 1 where it has none."""
    sizes = dict(zip(axes, tensor.shape[:-LEADING], strict=True))
    return tensor.reshape(*(sizes.get(axis, 1) for axis in union), *tensor.shape[-LEADING:])


def _common(left: Axes, right: Axes, union: Axes, layout: Layout) -> list[int]:
    """Dimensions of the level axes that both sides have."""
    return [place for place, axis in enumerate(union) if axis < layout.levels and axis in left and axis in right]


def closed_gradient(tape: Tape, incoming: Array, number: int) -> Array:
    """The gradient of the node that a closing step closed, from that of its result."""
    step = tape.steps[number]
    assert isinstance(step, Close)
    axes, tensor, factor = tape.axes[step.node], tape.tensors[step.node], tape.factors[number]
    outgoing = _spread(incoming, step.axes, axes)
    if factor is not None:
        outgoing = outgoing * factor
    shape = np.broadcast_shapes(outgoing.shape, (*tensor.shape[:-LEADING], *(1 for _ in range(LEADING))))
    return _narrowed(tape, np.broadcast_to(outgoing, shape), tensor, tape.rows[number][0])


def joined_gradient(tape: Tape, incoming: Array, number: int, mine: int) -> Array:
    """The gradient of one of the two nodes that a step joined, from that of their maximum."""
    step = tape.steps[number]
    assert isinstance(step, Join)
    rows, others = tape.rows[number] if mine == step.left else tape.rows[number][::-1]
    other, union = (step.right if mine == step.left else step.left), step.axes
    factor = _spread(_taken(tape.tensors[other], others, tape.by_row), tape.axes[other], union)
    incoming = _spread(incoming, tape.axes[len(tape.layout.leaves) + number], union)
    product = maximum_adjoint(incoming, factor, _common(tape.axes[mine], tape.axes[other], union, tape.layout))
    absent = tuple(place for place, axis in enumerate(union) if axis not in tape.axes[mine])
    if absent:
        product = product.sum(axis=absent)
    if tape.early[number]:  # what was summed at once has the same gradient everywhere
        sizes = tape.tensors[mine].shape[:-LEADING]
        product = np.broadcast_to(product, (*sizes, *product.shape[-LEADING:]))
    return _narrowed(tape, np.asarray(product), tape.tensors[mine], rows)


def _narrowed(tape: Tape, gradient: Array, tensor: Array, rows: Spread | None) -> Array:
    """By the rows of the tensor; summed over configurations and terms where it does not depend on them."""
    if rows is not None:
        gradient = summed_by(gradient, rows, tape.by_row)
    places = (tape.by_row, tape.order.index(3) - LEADING)
    summed = tuple(place for place in places if tensor.shape[place] == 1 and gradient.shape[place] > 1)
    return np.asarray(gradient.sum(axis=summed, keepdims=True)) if summed else gradient


def axis_marginals(tape: Tape, product: Array, axes: Axes, wanted: Axes) -> dict[int, Array]:
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
