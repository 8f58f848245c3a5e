"""The slow exact answer itself, held to numbers worked by hand and to forward simulation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose

from diag.inference import Axis, Component, Emission, Evidence, Link, Model, Plate, SharedSeverity
from tests.support.brute_force import all_worlds, brute_force
from tests.support.effort import effort
from tests.support.random_models import models, models_with_evidence
from tests.support.rational import ABSENT, PRESENT, NoisyOr
from tests.support.simulate import simulate

IDENTITY = np.eye(2)[None]


def one_plate(emission: Emission, versions: int, axes: int) -> Model:
    """One component of two states, certain to show on its axes, and one shared severity."""
    component = Component("seal", np.array([[0.75, 0.25]]), (Link(tuple(range(axes)), IDENTITY),))
    plate = Plate("cylinder 1", (component,), tuple(Axis(f"blow-by {axis}", 2) for axis in range(axes)), (emission,))
    return Model(np.ones(1), (plate,), (SharedSeverity("smell", 2, versions),))


def test_one_cause_one_finding_is_bayes_rule() -> None:
    """0.25 * 0.8 / (0.25 * 0.8 + 0.75 * 0.1) = 8/11."""
    model = one_plate(Emission(0, (0,), np.array([[0.9, 0.1], [0.2, 0.8]])), 1, 1)
    exact = brute_force(model, Evidence(shared=((((0, 0),), PRESENT),)))
    assert exact.probability[0] == pytest.approx(0.275, abs=1e-15)
    assert exact.posterior(("component", 0, 0))[0, 1] == pytest.approx(8 / 11, abs=1e-15)


def test_one_axis_in_two_versions_contributes_the_same_twice() -> None:
    """With one local axis in both versions, present in one and absent in the other has no chance."""
    model = one_plate(Emission(0, (0, 0), np.array([[0.9, 0.1], [0.2, 0.8]])), 2, 1)
    exact = brute_force(model, Evidence(shared=((((0, 0),), PRESENT), (((0, 1),), ABSENT))))
    assert exact.probability[0] == 0.0
    both = brute_force(model, Evidence(shared=((((0, 0),), PRESENT), (((0, 1),), PRESENT))))
    assert both.probability[0] == pytest.approx(0.275, abs=1e-15)


def test_versions_of_different_level_share_one_uniform_variable() -> None:
    """Levels 1 and 0 in two versions: present then absent has chance 0.8 - 0.1, by the quantile coupling."""
    seal = Component("seal", np.array([[0.0, 1.0]]), (Link((0,), IDENTITY),))
    plate = Plate(
        "cylinder 1",
        (seal,),
        (Axis("before", 2), Axis("after", 2)),
        (Emission(0, (0, 1), np.array([[0.9, 0.1], [0.2, 0.8]])),),
    )
    model = Model(np.ones(1), (plate,), (SharedSeverity("smell", 2, 2),))
    told = Evidence(shared=((((0, 0),), PRESENT), (((0, 1),), ABSENT)))
    assert brute_force(model, told).probability[0] == pytest.approx(0.7, abs=1e-15)
    other = Evidence(shared=((((0, 0),), ABSENT), (((0, 1),), PRESENT)))
    assert brute_force(model, other).probability[0] == pytest.approx(0.0, abs=1e-15)


def test_two_level_noisy_or_agrees_with_fractions() -> None:
    """Heckerman's (1989) flat case, summed in exact fractions by other code."""
    net = NoisyOr((0.1, 0.2, 0.05), ((0.8, 0, 0.5), (0.3, 0.6, 0), (0.2, 0.4, 0.7)), (0.01, 0.02, 0.0))
    total, posteriors = net.posterior(frozenset({0, 1}), frozenset({2}))
    exact = brute_force(net.model(), net.evidence(frozenset({0, 1}), frozenset({2})))
    assert exact.probability[0] == pytest.approx(float(total), rel=1e-13)
    for fault, expected in enumerate(posteriors):
        assert exact.posterior(("component", fault, 0))[0, 1] == pytest.approx(float(expected), rel=1e-13)


@effort(4)
@given(models())
def test_forward_simulation_sees_the_same_frequencies(model: object) -> None:
    """200,000 simulated worlds show every pair of neighbouring variables as often as the exact answer says."""
    assert isinstance(model, Model)
    draws = 200_000
    seen = simulate(model, draws, seed=20)
    exact = brute_force(model, Evidence())
    names = list(exact.worlds.columns)
    for first, second in zip(names, names[1:] + names[:1], strict=True):
        joint = exact.posterior(first, second)[0] if first != second else exact.posterior(first)[0]
        place = (seen[first], seen[second]) if first != second else (seen[first],)
        counted = np.zeros(joint.shape)
        np.add.at(counted, place, 1 / draws)
        assert_allclose(counted, joint, atol=5.5 * 0.5 / np.sqrt(draws))


@effort(20)
@given(models_with_evidence())
def test_worlds_add_up_to_one(drawn: tuple[Model, Evidence]) -> None:
    """Prior chances of all worlds sum to 1, and so do posteriors where the evidence is possible."""
    model, evidence = drawn
    worlds = all_worlds(model)
    assert worlds.chance.sum() == pytest.approx(1.0, abs=1e-12)
    exact = brute_force(model, evidence, worlds)
    possible = exact.probability > 0
    assert_allclose(exact.posterior(("configuration",))[possible].sum(axis=1), 1.0, atol=1e-12)
