"""The fast engine's answers held to the exact ones: what the property tests of inference share.

May import: numpy, hypothesis, and `diag.inference`.
"""

from __future__ import annotations

import numpy as np
from hypothesis import assume
from numpy.testing import assert_allclose

from diag.inference import Array, Evidence, Form, Model, Posterior
from tests.support.brute_force import Exact, brute_force

__all__ = ["CLOSE", "FORMS", "assert_same", "possible", "random_option"]

FORMS: tuple[Form, ...] = ("auto", "subtracting", "carrying")
CLOSE = 1e-10


def possible(model: Model, evidence: Evidence) -> Exact:
    """The exact answer, where every case has a chance worth speaking of."""
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-12)))
    return exact


def assert_same(found: Posterior, exact: Exact, close: float = CLOSE) -> None:
    """Everything in a posterior agrees with the exact answer, with a relative error in P(evidence)."""
    cases = len(exact.probability)
    assert_allclose(np.broadcast_to(found.log_evidence, (cases,)), np.log(exact.probability), atol=close)
    assert found.configurations.shape == (cases, len(exact.model.configurations))
    assert_allclose(found.configurations, exact.posterior(("configuration",)), atol=close)
    for plate, components in enumerate(found.components):
        for index, marginal in enumerate(components):
            expected = exact.posterior(("component", plate, index))
            assert_allclose(np.broadcast_to(marginal, expected.shape), expected, atol=close)
    for plate, axes in enumerate(found.axes):
        for index, marginal in enumerate(axes):
            expected = exact.posterior(("axis", plate, index))
            assert_allclose(np.broadcast_to(marginal, expected.shape), expected, atol=close)


def random_option(random: np.random.Generator, model: Model, plate: int) -> dict[int, Array]:
    """A factor for each of some components of a plate: of any numbers, or such that hold it in one state (with 1, or
    with another number)."""
    components = model.plates[plate].components
    chosen = [index for index in range(len(components)) if random.random() < 0.6]
    return {index: _random_factor(random, model, components[index].prior.shape[1]) for index in chosen}


def _random_factor(random: np.random.Generator, model: Model, states: int) -> Array:
    rows = [1, len(model.configurations)][random.integers(2)]
    factor = random.random((rows, states))
    kind = random.random()
    if kind < 0.4:
        held = np.eye(states)[random.integers(states)]
        factor = held * (np.ones_like(factor) if kind < 0.2 else factor)
    return factor
