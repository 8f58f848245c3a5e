"""Plates with so many joint local levels that the engine does not write them all down: still the exact answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import Evidence, Form, Model, infer, joint_posterior, mixture, most_probable, shared_posterior
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


@effort(4)
@given(wide_with_evidence(cases=1))
def test_most_probable_combinations_of_wide_plates(drawn: tuple[Model, Evidence]) -> None:
    """The five likeliest combinations."""
    model, evidence = drawn
    exact = possible(model, evidence)
    best = [chance for chance in exact.combinations().values() if chance > 1e-14][:5]
    found = most_probable(model, evidence, 5)
    assert_allclose([combination.probability for combination in found][: len(best)], best, atol=CLOSE)
