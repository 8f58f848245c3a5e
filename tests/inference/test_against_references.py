"""The fast engine against two general exact engines on the same network: pgmpy's and pyAgrum's, to 1e-9."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import Array, Evidence, Model, infer, shared_posterior
from tests.support.effort import LONG, effort
from tests.support.random_models import Sizes, evidences, models
from tests.support.synthetic import Layout, random_case, workshop_model
from tests.support.to_reference import (
    Network,
    Node,
    axis_name,
    component_name,
    pgmpy_marginals,
    pyagrum_marginals,
    pyagrum_module,
    reference_network,
    shared_name,
)

CLOSE = 1e-9
ONE_VERSION = Sizes(plates=6, versions=1, cases=1)
CYLINDERS = (3, 4, 5, 6)


def names_of(model: Model) -> list[str]:
    """Names of all components, axes and shared severities, and of the configuration."""
    components = [component_name(p, c) for p, plate in enumerate(model.plates) for c in range(len(plate.components))]
    axes = [axis_name(p, a) for p, plate in enumerate(model.plates) for a in range(len(plate.axes))]
    return ["configuration", *components, *axes, *map(shared_name, range(len(model.shared)))]


def ours(model: Model, evidence: Evidence) -> tuple[float, dict[str, Array]]:
    """Log probability of the evidence, and all marginals, by the fast engine."""
    found = infer(model, evidence)
    answers = {"configuration": found.configurations[0]}
    for plate, components in enumerate(found.components):
        answers |= {component_name(plate, index): marginal[0] for index, marginal in enumerate(components)}
    for plate, axes in enumerate(found.axes):
        answers |= {axis_name(plate, index): marginal[0] for index, marginal in enumerate(axes)}
    for shared in range(len(model.shared)):
        answers[shared_name(shared)] = shared_posterior(model, evidence, ((shared, 0),))[0]
    return float(found.log_evidence[0]), answers


def test_axis_order_of_both_references_is_as_assumed() -> None:
    """P(c | a, b) with three unlike tables comes back from both references as it went in."""
    random = np.random.default_rng(5)
    tables = [random.dirichlet(np.ones(2)), random.dirichlet(np.ones(3)), random.dirichlet(np.ones(4), size=(2, 3))]
    nodes = (Node("a", (), tables[0]), Node("b", (), tables[1]), Node("c", ("a", "b"), tables[2]))
    expected = np.einsum("a,b,abc->c", *tables)
    assert_allclose(pgmpy_marginals(Network(nodes, (), 0.0), ["c"])["c"], expected, atol=1e-14)
    assert_allclose(pyagrum_marginals(Network(nodes, (), 0.0), ["c"])[1]["c"], expected, atol=1e-14)


@effort(15)
@given(models(ONE_VERSION), st.data())
def test_random_models_agree_with_pyagrum(model: Model, data: st.DataObject) -> None:
    """Evidence probability and all marginals of random models."""
    evidence = data.draw(evidences(model, ONE_VERSION))
    network = reference_network(model, evidence)
    log_probability, expected = possible_pyagrum(network, names_of(model))
    log_evidence, answers = ours(model, evidence)
    assert log_evidence == pytest.approx(log_probability, abs=CLOSE)
    for name, values in expected.items():
        assert_allclose(answers[name], values, atol=CLOSE, err_msg=name)


def possible_pyagrum(network: Network, names: list[str]) -> tuple[float, dict[str, Array]]:
    """pyAgrum's answer, where it finds the evidence possible."""
    pyagrum = pyagrum_module()
    try:
        log_probability, expected = pyagrum_marginals(network, names)
    except pyagrum.IncompatibleEvidence:
        assume(False)
    assume(log_probability > -27.0)
    return log_probability, expected


@pytest.mark.parametrize("cylinders", CYLINDERS)
def test_engines_agree_with_pyagrum(cylinders: int) -> None:
    """A made-up engine of three to six cylinders with randomised evidence: every marginal."""
    model = workshop_model(Layout(cylinders=cylinders, shared=4, detail=3, configurations=2))
    for seed in range(10 if LONG else 2):
        evidence = random_case(model, seed, present=3)
        log_probability, expected = pyagrum_marginals(reference_network(model, evidence), names_of(model))
        log_evidence, answers = ours(model, evidence)
        assert log_evidence == pytest.approx(log_probability, abs=CLOSE)
        for name, values in expected.items():
            assert_allclose(answers[name], values, atol=CLOSE, err_msg=name)


@pytest.mark.parametrize("cylinders", CYLINDERS)
def test_engines_agree_with_pgmpy(cylinders: int) -> None:
    """The same by variable elimination, one query a marginal, on some components of every kind of plate."""
    model = workshop_model(Layout(cylinders=cylinders, shared=3, detail=2, configurations=2))
    evidence = random_case(model, seed=cylinders, present=2)
    chosen = ["configuration", component_name(0, 0), component_name(cylinders - 1, 1), shared_name(0)]
    expected = pgmpy_marginals(reference_network(model, evidence), chosen)
    _, answers = ours(model, evidence)
    for name, values in expected.items():
        assert_allclose(answers[name], values, atol=CLOSE, err_msg=name)
