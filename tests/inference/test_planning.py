"""Several orders of joining: the same answer, never with more work. May import: numpy, `diag.inference`."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from diag.inference.local import Layout, forward
from diag.inference.planning import _work, plan


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
