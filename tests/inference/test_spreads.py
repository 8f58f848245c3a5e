"""Factors that keep only the rows which differ: the same numbers as with a row for every configuration."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import event, given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from msgspec.structs import replace
from numpy.testing import assert_allclose, assert_array_equal

from diag.basics import ImpossibleEvidence, TooLarge
from diag.inference import (
    Array,
    Asked,
    AskedSums,
    Evidence,
    Link,
    Model,
    Plate,
    blocks,
    cell_sums,
    cell_values,
    infer,
    mixture,
)
from diag.inference.spreads import distinct, paired, summed_by
from tests.support.effort import effort
from tests.support.random_models import Sizes, models, random_likelihood

SMALL, ONES = st.integers(0, 3), st.sampled_from([0.0, 1.0, -1.0])


@given(
    arrays.arrays(np.float64, st.tuples(st.integers(1, 30), st.integers(1, 3)), elements=st.sampled_from([0, 1, -1]))
)
def test_every_row_is_found_again(table: Array) -> None:
    """Rows are those of `numpy.unique`, numbered by who sees them first."""
    spread, first = distinct(table)
    assert_array_equal(table[first][spread], table)
    assert len(first) == len(np.unique(table + 0.0, axis=0)) + np.any(np.signbit(table) & (table == 0))
    assert_array_equal(np.sort(first), first)


@given(st.lists(st.tuples(SMALL, SMALL), min_size=1, max_size=40))
def test_pairs_are_those_that_occur(seen: list[tuple[int, int]]) -> None:
    """As many rows as different pairs, each with its two rows."""
    one, other = (np.unique(column, return_inverse=True)[1].reshape(-1) for column in zip(*seen, strict=True))
    both = paired(one, other)
    assert len(both) == len(set(zip(one.tolist(), other.tolist(), strict=True)))
    assert_array_equal(both.first[both.spread], one)
    assert_array_equal(both.second[both.spread], other)


@given(st.lists(SMALL, min_size=1, max_size=40), st.integers(0, 2), st.integers(0, 2**32 - 1))
def test_sums_by_row_are_those_of_a_loop(spread: list[int], more: int, seed: int) -> None:
    """With rows that nobody sees, which are 0."""
    array = np.random.default_rng(seed).random((2, len(spread), 3))
    expected = np.zeros((2, max(spread) + 1 + more, 3))
    for place, row in enumerate(spread):
        expected[:, row] += array[:, place]
    assert_allclose(summed_by(array, spread, 1, max(spread) + 1 + more), expected, atol=1e-14)


def spread_out(model: Model, random: np.random.Generator, count: int) -> Model:
    """The model with so many configurations, of which each table tells only some apart, each its own."""

    def wide(table: Array, axis: int = 0) -> Array:
        rows = random.integers(table.shape[axis], size=count)
        return np.take(table, rows, axis=axis) if table.shape[axis] > 1 else table

    plates = tuple(
        replace(
            plate,
            components=tuple(
                replace(
                    each,
                    prior=wide(each.prior),
                    links=tuple(Link(link.axes, wide(link.table)) for link in each.links),
                )
                for each in plate.components
            ),
        )
        for plate in model.plates
    )
    shared = tuple(replace(each, backgrounds=tuple(wide(one, 1) for one in each.backgrounds)) for each in model.shared)
    return Model(random.dirichlet(np.ones(count)), plates, shared)


def evidence_of(model: Model, random: np.random.Generator) -> Evidence:
    """Soft evidence on every component and axis, by configuration where it falls so, and on what is shared."""
    count = len(model.configurations)

    def told(*shape: int) -> Array:
        rows = random.integers(3, size=count) if random.random() < 0.5 else np.zeros(1, dtype=np.intp)
        return 0.05 + random.random((1, 3, *shape))[:, rows]

    components = {
        (number, index): told(each.prior.shape[1])
        for number, plate in enumerate(model.plates)
        for index, each in enumerate(plate.components)
        if random.random() < 0.5
    }
    configured = tuple(
        (number, (axis,), np.broadcast_to(told(plate.axes[axis].levels), (1, count, plate.axes[axis].levels)))
        for number, plate in enumerate(model.plates)
        for axis in range(len(plate.axes))
        if random.random() < 0.5
    )
    shared = tuple(
        (((index, 0),), random_likelihood(random, 1, each.levels)) for index, each in enumerate(model.shared)
    )
    return Evidence(components=components, shared=shared, configured=configured)


def options_of(plate: Plate, random: np.random.Generator, count: int) -> list[dict[int, Array]]:
    """The plate as it is, with a factor on some component, and with one by configuration."""
    index = int(random.integers(len(plate.components)))
    states = plate.components[index].prior.shape[1]
    rows = random.random((2, states))
    return [{}, {index: rows[:1]}, {index: rows[random.integers(2, size=count)]}]


def everything(model: Model, evidence: Evidence, seed: int) -> list[Array]:
    """All that the engine says of a case: posteriors, a mixture with options, values and sums by cell."""
    random, count = np.random.default_rng(seed), len(model.configurations)
    options = [options_of(plate, random, count) for plate in model.plates]
    known, mixed = infer(model, evidence), mixture(model, evidence, options, [random.random(count)])
    found = [known.log_evidence, known.configurations, mixed.log_evidence, mixed.weights]
    found += [each for plate in (*known.components, *known.axes) for each in plate]
    found += [np.broadcast_to(each, (len(each), 1, mixed.weights.shape[1])) for each in mixed.values]
    for number, plate in enumerate(model.plates):
        thing = int(random.integers(len(plate.components)))
        found += cell_values(model, evidence, [Asked(number, options[number], thing), Asked(number, [{}], (0,))])
        gradient = random.random((3, mixed.weights.shape[1]))
        found += cell_sums(model, evidence, [AskedSums(number, options[number], gradient, [thing, (0,)])])[0]
    return found


@effort(40)
@given(models(Sizes(configurations=3)), st.integers(4, 40), st.integers(0, 2**32 - 1))
def test_rows_alone_and_spelt_out_agree(small: Model, count: int, seed: int) -> None:
    """On random models of up to 40 configurations: every number to 1e-12, impossible stays impossible."""
    random = np.random.default_rng(seed)
    model = spread_out(small, random, count)
    evidence = evidence_of(model, random)
    results: list[object] = []
    for few in (1 << 30, 1):
        with pytest.MonkeyPatch.context() as patch:
            for name in ("leaves", "blocks", "cells", "cell_sums", "local_cells", "mixture"):
                patch.setattr(sys.modules[f"diag.inference.{name}"], "FEW", few)
            blocks._PLATES.forget()
            try:
                results.append(everything(model, evidence, seed))
            except (ImpossibleEvidence, TooLarge) as error:
                results.append(type(error))
    plain, rows = results
    event(type(plain).__name__)
    if not isinstance(plain, list) or not isinstance(rows, list):
        assert plain == rows
        return
    for one, other in zip(plain, rows, strict=True):
        assert_allclose(other, one, rtol=1e-9, atol=1e-12)
