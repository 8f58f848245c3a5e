"""Orders of joining: several give the same answer, never with more work; and one is what pricing every pair anew finds.

May import: numpy, `diag.inference`.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from msgspec.structs import replace

from diag.inference.local import Layout, forward
from diag.inference.planning import Close, Join, Step, _planned, _Widths, _work, plan


def drawn_layout(random: np.random.Generator) -> Layout:
    """Six level axes heard by twelve contributors with states of their own, as in a cylinder, and some likelihoods."""
    levels, states = 6, 12
    sizes = (*random.integers(2, 4, levels).tolist(), *random.integers(2, 4, states).tolist())
    leaves: list[tuple[int, ...]] = []
    for state in range(states):
        leaves += [(levels + state,)]
        leaves += [(int(axis), levels + state) for axis in random.choice(levels, 3, replace=False)]
    told = tuple((axis,) for axis in range(0, levels, 2))
    return Layout(sizes, levels, tuple(leaves), told, (0, 1), tuple([1] * len(leaves) + [16] * len(told)))


@pytest.mark.parametrize("seed", range(6))
def test_several_orders_give_the_same_with_no_more_work(seed: int) -> None:
    random = np.random.default_rng(seed)
    one = drawn_layout(random)
    several = replace(one, tries=16)
    assert _work(several, plan(several)) <= _work(one, plan(one))
    tables = [random.random((1, 1, 1, 1, *(one.sizes[axis] for axis in axes))) for axes in one.leaves]
    told = [random.random((1, 1, 1, 1, one.sizes[axes[0]])) for axes in one.likelihoods]
    np.testing.assert_allclose(forward(several, tables, told).result, forward(one, tables, told).result, rtol=1e-12)


def test_some_layouts_are_done_with_much_less() -> None:
    """At least one of these has an order with half the work: what is cheapest at each step is dear in the end."""
    layouts = [drawn_layout(np.random.default_rng(seed)) for seed in range(12)]
    ratios = [_work(each, plan(replace(each, tries=16))) / _work(each, plan(each)) for each in layouts]
    assert max(ratios) <= 1.0
    assert min(ratios) < 0.5


class Plainly:
    """The cheapest join at each step, every pair priced anew from what is open then."""

    def __init__(self, layout: Layout) -> None:
        self.layout, self.widths, self.steps = layout, _Widths(layout), list[Step]()
        self.open = {node: (axes, self.widths.first[node]) for node, axes in enumerate(layout.leaves)}
        self.pending = {*range(len(layout.likelihoods))}
        for node in range(len(layout.leaves)):
            self.close(node)
        while len(self.open) > 1:
            self.join(*self.cheapest())

    def held_beside(self, *nodes: int) -> set[int]:
        return {axis for node, (axes, _) in self.open.items() if node not in nodes for axis in axes}

    def cheapest(self) -> tuple[int, int]:
        meeting = [(a, b) for a, b in combinations(sorted(self.open), 2) if {*self.open[a][0]} & {*self.open[b][0]}]
        if not meeting:
            first, second, *_ = sorted(self.open, key=lambda node: (self.cells(node), node))
            return min(first, second), max(first, second)
        return min(meeting, key=lambda pair: (self.price(*pair), pair))

    def cells(self, node: int) -> int:
        axes, width = self.open[node]
        return self.layout.size(axes) * self.widths.of(width)

    def price(self, left: int, right: int) -> tuple[int, int]:
        union = {*self.open[left][0], *self.open[right][0]}
        wide = self.widths.of(self.widths.both(self.open[left][1], self.open[right][1]))
        lasting = union & (self.held_beside(left, right) | {*self.layout.kept})
        added = self.layout.size(lasting) * wide - self.cells(left) - self.cells(right)
        return added, self.layout.size(union) * wide

    def join(self, left: int, right: int) -> None:
        (first, width), (second, other) = self.open.pop(left), self.open.pop(right)
        axes = tuple(sorted({*first, *second}))
        node = self.add(Join(left, right, axes), self.widths.both(width, other))
        self.close(node)

    def close(self, node: int) -> None:
        axes, width = self.open[node]
        complete = {*axes} - self.held_beside(node)
        due = tuple(sorted(i for i in self.pending if {*self.layout.likelihoods[i]} <= complete))
        self.pending -= {*due}
        awaited = {axis for i in self.pending for axis in self.layout.likelihoods[i]}
        summed = tuple(sorted(complete - awaited - {*self.layout.kept}))
        if due or summed:
            del self.open[node]
            for i in due:
                width = self.widths.both(width, self.widths.first[len(self.layout.leaves) + i])
            self.add(Close(node, due, summed, tuple(axis for axis in axes if axis not in summed)), width)

    def add(self, step: Join | Close, width: tuple[int, int]) -> int:
        node = len(self.layout.leaves) + len(self.steps)
        self.steps.append(step)
        self.open[node] = (step.axes, width)
        return node


@pytest.mark.parametrize("seed", range(12))
def test_the_order_is_the_one_of_which_every_pair_was_priced_anew(seed: int) -> None:
    """What is remembered of prices while it is planned is never out of date."""
    random = np.random.default_rng(100 + seed)
    layout = drawn_layout(random)
    count = len(layout.leaves) + len(layout.likelihoods)
    spreads = tuple(random.integers(2, 6, 3).tolist())
    spread_of, widths = random.integers(-1, 3, count).tolist(), random.integers(1, 9, count).tolist()
    spread = replace(layout, spread_of=tuple(spread_of), spreads=spreads, within=(1, 3, 4), classes=max(spreads) * 2)
    for drawn in (layout, replace(layout, widths=tuple(widths), kept=()), replace(spread, widths=tuple(widths))):
        assert _planned(drawn) == tuple(Plainly(drawn).steps)
