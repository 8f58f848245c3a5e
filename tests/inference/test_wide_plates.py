"""Plates with so many joint local levels that the engine does not write them all down: still the exact answer."""

from __future__ import annotations

from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import (
    Asked,
    AskedSums,
    Evidence,
    Form,
    Model,
    by_term,
    cell_sums,
    cell_values,
    infer,
    joint_posterior,
    mixture,
    most_probable,
    shared_posterior,
)
from tests.support.agreement import CLOSE, FORMS, assert_same, possible, random_option
from tests.support.effort import effort
from tests.support.random_models import Sizes, evidences, wide_models


@st.composite
def wide_with_evidence(draw: st.DrawFn, cases: int = 2) -> tuple[Model, Evidence]:
    """A wide model and evidence about it, on a shared severity at least."""
    model = draw(wide_models())
    evidence = draw(evidences(model, Sizes(cases=cases)))
    levels = model.shared[0].levels
    heard = (((0, 0),), np.linspace(0.2, 0.9, levels)[None])
    return model, Evidence(evidence.cases, evidence.components, evidence.axes, (*evidence.shared, heard))


@pytest.mark.parametrize("form", FORMS)
def test_posteriors_of_wide_plates(form: Form) -> None:
    """Evidence probability and every marginal, in each form."""

    @effort(6)
    @given(wide_with_evidence())
    def check(drawn: tuple[Model, Evidence]) -> None:
        model, evidence = drawn
        exact = possible(model, evidence)
        found = infer(model, evidence, form)
        assert_same(found, exact, max(CLOSE, 4 * found.cancellation))

    check()


@effort(4)
@given(wide_with_evidence(), st.integers(0, 2**32 - 1))
def test_joint_answers_of_wide_plates(drawn: tuple[Model, Evidence], seed: int) -> None:
    """Joint posteriors of components and of shared severities, and expectations of products."""
    model, evidence = drawn
    exact = possible(model, evidence)
    random = np.random.default_rng(seed)
    components = tuple(int(index) for index in random.permutation(3)[:2])
    expected = exact.posterior(*[("component", 0, index) for index in components])
    found = joint_posterior(model, evidence, 0, components)
    assert_allclose(np.broadcast_to(found, expected.shape), expected, atol=CLOSE)
    asked = ((0, model.shared[0].versions - 1), (1, 0))
    assert_allclose(shared_posterior(model, evidence, asked), exact.shared(asked), atol=CLOSE)
    choices = [[random_option(random, model, plate) for _ in range(2)] for plate in range(2)]
    expected = exact.expectation([choices[0][1], choices[1][0]])
    found = mixture(model, evidence, choices).expectation([1, 0])
    assert_allclose(np.broadcast_to(found, expected.shape), expected, atol=CLOSE)


@pytest.mark.parametrize("rows", [1, 1 << 14], ids=["term by term", "many at once"])
def test_cells_of_wide_plates(rows: int) -> None:
    """A plate's values by the cells of a component and of an axis, however many terms are done at once."""

    @effort(4)
    @given(wide_with_evidence(cases=1), st.integers(0, 2**32 - 1))
    def check(drawn: tuple[Model, Evidence], seed: int) -> None:
        model, evidence = drawn
        exact = possible(model, evidence)
        random = np.random.default_rng(seed)
        option = random_option(random, model, 0)
        whole = mixture(model, evidence, [[{}, option], [{}]])
        rest = whole.weights[0] * whole.values[1][0, 0]
        for thing, name in [(0, ("component", 0, 0)), ((1,), ("axis", 0, 1))]:
            (cells,) = cell_values(model, evidence, [Asked(0, [{}, option], thing)])
            assert_allclose(cells[0] @ rest, exact.posterior(name)[0], atol=CLOSE)
            assert_allclose(cells.sum(axis=1), whole.values[0][:2, 0], atol=1e-12)
            gradient = np.stack([rest, 2.0 * rest, rest**2])
            ((sums,),) = cell_sums(model, evidence, [AskedSums(0, [{}, option, option], gradient, [thing])])
            expected = [cells[place] @ row for place, row in zip((0, 1, 1), gradient, strict=True)]
            assert_allclose(sums, np.array(expected), atol=1e-12)

    with mock.patch.object(by_term, "ROWS_AT_ONCE", rows):
        check()


@effort(4)
@given(wide_with_evidence(cases=1))
def test_most_probable_combinations_of_wide_plates(drawn: tuple[Model, Evidence]) -> None:
    """The five likeliest combinations."""
    model, evidence = drawn
    exact = possible(model, evidence)
    best = [chance for chance in exact.combinations().values() if chance > 1e-14][:5]
    found = most_probable(model, evidence, 5)
    assert_allclose([combination.probability for combination in found][: len(best)], best, atol=CLOSE)
