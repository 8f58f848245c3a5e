"""A component with several versions in one: a base and its views answer as the sum over all worlds does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence
from diag.inference import (
    Axis,
    Component,
    Emission,
    Evidence,
    Link,
    Model,
    Plate,
    SharedSeverity,
    infer,
    joint_posterior,
    mixture,
    most_probable,
)
from tests.support.agreement import CLOSE, possible
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence

PRIOR = np.array([0.7, 0.2, 0.1])  # sound both times, unsound both times, unsound only later
BEFORE, LATER = (0, 1, 0), (0, 1, 1)
SPEAKS = np.array([[1.0, 0.0], [0.25, 0.75]])
LOUD = np.array([[0.9, 0.1], [0.3, 0.7]])


def model() -> Model:
    """One component that may have been unsound before work disturbed it, and two visits on which it can be heard."""
    early = Link((0, 1), np.array([[[1.0, 0.0], [0.25, 0.75], [1.0, 0.0]]]))
    late = Link((1,), np.array([[[1.0, 0.0], [1.0, 0.0], [0.25, 0.75]]]))
    components = (
        Component("history", PRIOR[None], (early, late)),
        Component("before", np.array([[1.0, 0.0]]), base=0, seen=BEFORE),
        Component("later", np.array([[1.0, 0.0]]), base=0, seen=LATER),
    )
    plate = Plate("one", components, (Axis("v1", 2), Axis("v2", 2)), (Emission(0, (0, 1), LOUD),))
    return Model(np.ones(1), (plate,), (SharedSeverity("heard", 2, 2),))


def worlds() -> np.ndarray:
    """Chance of (history, heard before, heard later), by hand: one uniform stands behind both contributions."""
    table = np.zeros((3, 2, 2))
    for history, chance in enumerate(PRIOR):
        for level in (0, 1):
            spoken = SPEAKS[int(history > 0)][level]
            levels = {0: (0, 0), 1: (level, level), 2: (0, level)}[history]
            early, late = (LOUD[each][1] for each in levels)
            table[history, 1, 1] += chance * spoken * min(early, late)
            table[history, 1, 0] += chance * spoken * max(early - late, 0.0)
            table[history, 0, 1] += chance * spoken * max(late - early, 0.0)
            table[history, 0, 0] += chance * spoken * (1 - max(early, late))
    return table


@pytest.mark.parametrize(("early", "late"), [(0, 0), (0, 1), (1, 1)])
def test_views_are_sums_over_the_base(early: int, late: int) -> None:
    """Posteriors, joint posteriors, expectations and combinations speak of each version by itself."""
    told = tuple((((0, version),), np.eye(2)[[seen]]) for version, seen in ((0, early), (1, late)))
    evidence, joint = Evidence(shared=told), worlds()[:, early, late]
    joint = joint / joint.sum()
    posterior = infer(model(), evidence)
    assert_allclose(posterior.components[0][0][0], joint, atol=1e-12)
    assert_allclose(posterior.components[0][1][0], [joint[0] + joint[2], joint[1]], atol=1e-12)
    assert_allclose(posterior.components[0][2][0], [joint[0], joint[1] + joint[2]], atol=1e-12)
    both = joint_posterior(model(), evidence, 0, (1, 2))[0]
    assert_allclose(both, [[joint[0], joint[2]], [0.0, joint[1]]], atol=1e-12)
    sound_now = mixture(model(), evidence, [[{2: np.array([[1.0, 0.0]])}]]).expectation([0])
    assert_allclose(sound_now, [joint[0]], atol=1e-12)
    first = most_probable(model(), evidence, 1)[0]
    assert first.probability == pytest.approx(joint.max(), abs=1e-12)


def test_what_was_not_renewed_does_not_fall_silent() -> None:
    """Heard before and not later is impossible where nothing was renewed."""
    told = ((((0, 0),), np.eye(2)[[1]]), (((0, 1),), np.eye(2)[[0]]))
    with pytest.raises(ImpossibleEvidence):
        infer(model(), Evidence(shared=told))


def test_evidence_on_a_view_reaches_the_base() -> None:
    """To see the later version sound rules out both unsound histories."""
    evidence = Evidence(components={(0, 2): np.array([[[1.0, 0.0]]])})
    assert_allclose(infer(model(), evidence).components[0][0][0], [1.0, 0.0, 0.0], atol=1e-12)


@effort(25)
@given(models_with_evidence(Sizes(components=2)), st.integers(0, 2**32 - 1))
def test_a_plate_answers_about_any_factors_on_it(drawn: tuple[Model, Evidence], seed: int) -> None:
    """E[product of factors on components of one plate | evidence]: any numbers, or a component held in one state, with
    1 or with another number, in all options alike or in some; against the sum over all worlds."""
    known, evidence = drawn
    exact, random = possible(known, evidence), np.random.default_rng(seed)
    for plate, view in infer(known, evidence).views.items():
        held = {
            index: np.eye(component.prior.shape[1])[[random.integers(component.prior.shape[1])]]
            for index, component in enumerate(known.plates[plate].components)
        }
        scaled = {index: factor * random.uniform(0.1, 2.0) for index, factor in held.items()}
        free = {index: random.random(factor.shape) for index, factor in held.items()}
        for options in ([held], [scaled], [scaled, held], [held, free], [{}, held, free, scaled]):
            found = view.chance(options)
            for number, option in enumerate(options):
                factors = [option if place == plate else {} for place in range(len(known.plates))]
                expected = exact.expectation(factors)
                assert_allclose(np.broadcast_to(found[:, number], expected.shape), expected, atol=CLOSE)


def test_factors_may_tell_configurations_apart_that_look_alike_to_a_plate() -> None:
    """Two of three configurations are one class to the plate, in its prior and in what was told of it; a factor differs
    between them. By hand: sum over configurations c, states s and levels l of what each has."""
    configurations, given_level = np.array([0.2, 0.3, 0.5]), np.array([[0.9, 0.1], [0.3, 0.7]])
    prior, told = np.array([[0.9, 0.1], [0.9, 0.1], [0.5, 0.5]]), np.array([[0.2, 0.8], [0.2, 0.8], [0.7, 0.3]])
    factor = np.array([[1.0, 0.5], [0.3, 1.0], [0.6, 0.2]])
    plate = Plate("p", (Component("c", prior, (Link((0,), given_level[None]),)),), (Axis("a", 2),))
    known = Model(configurations, (plate,), ())
    evidence = Evidence(configured=((0, (0,), told[None]),))
    joint = np.einsum("c,cs,sl,cl->cs", configurations, prior, given_level, told)
    found = mixture(known, evidence, [[{0: factor}, {}]])
    assert_allclose(found.expectation([0]), [(joint * factor).sum() / joint.sum()], rtol=1e-12)
    assert_allclose(found.expectation([1]), [1.0], rtol=1e-12)
    assert_allclose(infer(known, evidence).configurations[0], joint.sum(axis=1) / joint.sum(), rtol=1e-12)
