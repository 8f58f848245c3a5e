"""Local levels summed out for each term, by the distinct columns of a few factors: the same as with the whole table."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.inference.contracting import FEW_NUMBERS, term_sums
from diag.inference.model import Emission
from diag.inference.terms import Number, Terms, plate_terms

SIZES = (3, 4, 2, 2, 3, 2)
ALONE = ((0, (0,)), (1, (1,)), (2, (2,)), (3, (4,)), (3, (1,)), (4, (5,)))  # shared severity, local axis
VERSIONS = (*ALONE, (5, (0, 3)))  # two versions of a shared severity are spoken to by two axes, which so go together
ROWS = (2, 3)


def drawn(speakers: tuple[tuple[int, tuple[int, ...]], ...], seed: int) -> tuple[list[Emission], Terms]:
    """Emissions with random tables, and every term of the levels of each shared axis."""
    random = np.random.default_rng(seed)
    emissions = [Emission(shared, axes, random.dirichlet([1.0] * 3, SIZES[axes[0]])) for shared, axes in speakers]
    axes = sorted({(shared, version) for shared, mine in speakers for version in range(len(mine))})
    levels = np.indices([3 if axis[0] < 4 else 2 for axis in axes]).reshape(len(axes), -1).T
    return emissions, Terms(tuple(axes), np.asarray(levels, dtype=np.intp), np.ones((1, len(levels))))


@pytest.mark.parametrize("number", [np.float64, np.longdouble])
@pytest.mark.parametrize("kept", [(0, 1, 2, 3, 4, 5), (1, 2, 5), (3,)])
def test_sums_are_those_of_the_whole_table(kept: tuple[int, ...], number: Number) -> None:
    """With all axes (the split pays), with some, and with one that speaks to nothing."""
    emissions, chosen = drawn(ALONE, seed=1)
    mine = [each for each in emissions if set(each.axes) <= set(kept)]
    sizes = [SIZES[axis] for axis in kept]
    density = np.random.default_rng(2).random((*ROWS, *sizes))
    made = term_sums(mine, kept, sizes, chosen, number)
    assert made is not None
    sums, own = made
    assert_allclose(own, 1.0, rtol=0)
    assert bool(sums.first) == (len(kept) == 6 and 288 * len(chosen.levels) > FEW_NUMBERS)
    whole = density.reshape(*ROWS, -1) @ plate_terms(mine, kept, sizes, chosen, number)
    found = sums.of(density, len(ROWS))
    assert found.dtype == whole.dtype
    assert_allclose(found, whole, rtol=1e-13)


@pytest.mark.parametrize("apart", [(), (1,), (5, 2)])
def test_axes_apart_keep_their_place_and_put_their_own_into_each_term(apart: tuple[int, ...]) -> None:
    emissions, chosen = drawn(ALONE, seed=3)
    kept = tuple(range(6))
    rest = tuple(axis for axis in kept if axis not in apart)
    density = np.random.default_rng(4).random((5, *SIZES))
    table = plate_terms(emissions, kept, SIZES, chosen).reshape(*SIZES, -1)
    axes = "abcdef"
    wanted = np.einsum(f"z{axes},{axes}t->z{''.join(axes[axis] for axis in apart)}t", density, table)
    made = term_sums(emissions, kept, SIZES, chosen, apart=apart)
    assert made is not None
    turned = np.transpose(density, (0, *(1 + axis for axis in apart), *(1 + axis for axis in rest)))
    turned = turned.reshape(5, -1, *(SIZES[axis] for axis in rest))
    found = made[0].of(turned, 2) * made[1]
    assert_allclose(found, wanted.reshape(5, -1, found.shape[2]), rtol=1e-12)


def test_axes_that_speak_together_are_summed_out_together_or_not_at_all() -> None:
    """Axes 0 and 3 speak in two versions of one severity; axis 0 alone cannot be kept apart from 3."""
    emissions, chosen = drawn(VERSIONS, seed=5)
    kept, sizes = (0, 2, 3), (2, 2, 2)
    emissions = [
        Emission(5, (0, 3), np.array([[0.7, 0.3], [0.2, 0.8]])),
        Emission(2, (2,), np.array([[0.6, 0.4, 0.0], [0.1, 0.5, 0.4]])),
    ]
    assert term_sums(emissions, kept, sizes, chosen, apart=(0,)) is None
    density = np.random.default_rng(6).random((4, *sizes))
    both, alone = term_sums(emissions, kept, sizes, chosen, apart=(3, 0)), term_sums(emissions, kept, sizes, chosen)
    assert both is not None and alone is not None
    assert_allclose(alone[0].of(density, 1), density.reshape(4, -1) @ plate_terms(emissions, kept, sizes, chosen))
    apart = both[0].of(np.transpose(density, (0, 3, 1, 2)).reshape(4, 4, 2), 2) * both[1]
    assert_allclose(apart.sum(axis=1), alone[0].of(density, 1), rtol=1e-12)
