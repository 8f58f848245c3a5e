"""What is summed out while it is joined: the same numbers as joined whole and summed then, with numpy's own products as
the reference, and the same on the way back."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.inference import local
from diag.inference.local import Layout, backward, density_of, forward, keeping
from diag.inference.maximum import maximum_summed
from diag.inference.model import Array
from tests.support.effort import effort

SIZES = st.integers(1, 3)


def by_pairs(first: Array, second: Array, dimensions: list[int], summed: list[int]) -> Array:
    """The maximum along dimensions by every pair of levels; others multiply, and some of them are summed."""
    shape = np.broadcast_shapes(first.shape, second.shape)
    result = np.zeros(shape)
    for one in np.ndindex(first.shape):
        for other in np.ndindex(second.shape):
            ends = []
            for place, (mine, theirs) in enumerate(zip(one, other, strict=True)):
                if place in dimensions:
                    ends.append([max(mine, theirs)])
                elif first.shape[place] == second.shape[place]:
                    ends.append([mine] if mine == theirs else [])
                else:
                    ends.append([max(mine, theirs)])  # of size 1 on one side
            for cell in product(*ends):
                result[cell] += first[one] * second[other]
    return np.asarray(result.sum(axis=tuple(summed)))


@effort(60)
@given(st.data(), st.integers(1, 4))
def test_it_is_the_maximum_summed(data: st.DataObject, count: int) -> None:
    sizes = data.draw(st.lists(SIZES, min_size=count, max_size=count))
    kinds = data.draw(st.lists(st.sampled_from(["level", "both", "mine", "theirs"]), min_size=count, max_size=count))
    summed = [place for place, kind in enumerate(kinds) if kind != "level" and data.draw(st.booleans())]
    random = np.random.default_rng(data.draw(st.integers(0, 1000)))
    first = random.random([1 if kind == "theirs" else size for size, kind in zip(sizes, kinds, strict=True)])
    second = random.random([1 if kind == "mine" else size for size, kind in zip(sizes, kinds, strict=True)])
    dimensions = [place for place, kind in enumerate(kinds) if kind == "level"]
    found = maximum_summed(first, second, dimensions, summed)
    np.testing.assert_allclose(found, by_pairs(first, second, dimensions, summed), rtol=1e-12)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_large_operands_go_through_products_of_matrices(order: tuple[int, ...]) -> None:
    """Whatever stands where in memory: rows of the one, columns of the other, and what both have."""
    random = np.random.default_rng(7)
    first, second = random.random((30, 1, 5, 6)), random.random((1, 40, 5, 6))
    turn = (*order, 3)
    found = maximum_summed(np.transpose(first, turn), np.transpose(second, turn), [], [3])
    whole = np.einsum("ibs,jbs->ijb", first[:, 0], second[0])
    np.testing.assert_allclose(found, np.transpose(whole, order), rtol=1e-12)


LAYOUT = Layout(
    sizes=(3, 4, 2, 3, 4),
    levels=2,
    leaves=((2,), (0, 2), (1, 2), (3,), (0, 3), (1, 3), (4,), (1, 4)),
    likelihoods=((0,), (1,)),
    kept=(0,),
)


def _given(seed: int) -> tuple[list[Array], list[Array]]:
    random = np.random.default_rng(seed)
    wide = (1, 7, 5, 1)
    leaves = [random.random((*(wide if len(axes) == 1 else (1,) * 4), *map(LAYOUT.sizes.__getitem__, axes)))
              for axes in LAYOUT.leaves]  # fmt: skip
    told = [random.random((1, 1, 1, 1, LAYOUT.sizes[axis])) for (axis,) in LAYOUT.likelihoods]
    return leaves, told


def test_a_pass_that_sums_at_once_is_one_that_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Forward, with axes kept apart, and backward."""
    leaves, told = _given(3)
    found = []
    for large in (0, 1 << 40):
        monkeypatch.setattr(local, "LARGE", large)
        tape = forward(LAYOUT, leaves, told)
        gradient = np.random.default_rng(5).random(tape.result.shape)
        found.append((tape, backward(tape, gradient)))
        np.testing.assert_allclose(density_of(LAYOUT, leaves, told), tape.result, rtol=1e-12)
    (quick, marginals), (plain, wanted) = found
    assert any(quick.early) and not any(plain.early)
    np.testing.assert_allclose(quick.result, plain.result, rtol=1e-12)
    assert marginals.keys() == wanted.keys()
    for axis, mine in marginals.items():
        np.testing.assert_allclose(mine, wanted[axis], rtol=1e-12)
    for extra in ((1,), (2,), (3,), (4,), (2, 4), (1, 3)):
        monkeypatch.setattr(local, "LARGE", 0)
        axes, apart = keeping(quick, extra)
        monkeypatch.setattr(local, "LARGE", 1 << 40)
        expected_axes, expected = keeping(plain, extra)
        assert axes == expected_axes
        np.testing.assert_allclose(apart, expected, rtol=1e-12)
