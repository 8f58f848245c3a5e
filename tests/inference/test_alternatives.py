"""What other answers about the vehicle would have made of the evidence, from one pass; and what is left unasked."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.inference import Evidence, Model, SharedAxis, infer, infer_with_alternatives
from tests.support.agreement import CLOSE, assert_same, possible
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import models_with_evidence, random_likelihood

Told = tuple[tuple[SharedAxis, ...], np.ndarray]


@effort(35)
@given(models_with_evidence(), st.integers(0, 2**32 - 1))
def test_an_alternative_is_worth_what_it_would_have_been(drawn: tuple[Model, Evidence], seed: int) -> None:
    """Nothing told, the same told, each likelihood turned round or left out, one more: each against all worlds."""
    model, evidence = drawn
    exact, random = possible(model, evidence), np.random.default_rng(seed)
    axis: SharedAxis = (int(random.integers(len(model.shared))), 0)
    more: Told = ((axis,), random_likelihood(random, 1, model.shared[axis[0]].levels))
    tried: list[tuple[Told, ...]] = [(), evidence.shared, (*evidence.shared, more)]
    for number, (axes, likelihood) in enumerate(evidence.shared):
        before, after = evidence.shared[:number], evidence.shared[number + 1 :]
        tried += [(*before, *after), (*before, (axes, likelihood.max() - likelihood), *after)]
    posterior, found = infer_with_alternatives(model, evidence, tried)
    assert_same(posterior, exact)
    assert found.shape == (evidence.cases, len(tried))
    for number, told in enumerate(tried):
        alone = brute_force(model, replace(evidence, shared=told), exact.worlds).probability
        assert_allclose(found[:, number], alone / exact.probability, atol=CLOSE, rtol=1e-8)


@effort(25)
@given(models_with_evidence())
def test_what_nobody_asks_for_is_left_out_and_nothing_else_differs(drawn: tuple[Model, Evidence]) -> None:
    """`unseen=False`: levels that no evidence speaks of may be missing, as a whole; what is there is exact."""
    model, evidence = drawn
    exact = possible(model, evidence)
    found, whole = infer(model, evidence, unseen=False), infer(model, evidence)
    assert_allclose(found.log_evidence, whole.log_evidence, atol=CLOSE)
    for one, other in zip(sum(found.components, ()), sum(whole.components, ()), strict=True):
        assert_allclose(one, other, atol=CLOSE)
    spoken = {(plate, axis) for plate, axes, _ in (*evidence.axes, *evidence.configured) for axis in axes}
    for plate, axes in enumerate(found.axes):
        for axis, levels in enumerate(axes):
            assert (plate, axis) not in spoken or not np.isnan(levels).any()
            if not np.isnan(levels).any():
                expected = exact.posterior(("axis", plate, axis))
                assert_allclose(np.broadcast_to(levels, expected.shape), expected, atol=CLOSE)
            else:
                assert np.isnan(levels).all()
