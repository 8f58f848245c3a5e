"""What must not change an answer: evidence told in two halves, a state that cannot be, evidence about nothing."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence
from diag.inference import Array, Component, Evidence, Link, Model, infer
from tests.support.effort import effort
from tests.support.random_models import models_with_evidence

CLOSE = 1e-10


def possible(model: Model, evidence: Evidence) -> None:
    """Leave out what cannot be."""
    try:
        infer(model, evidence)
    except ImpossibleEvidence:
        assume(False)


def assert_same(model: Model, evidence: Evidence, other: Model, told: Evidence) -> None:
    """Same posteriors of all states that both have, and of the configurations; same probability of the evidence."""
    first, second = infer(model, evidence), infer(other, told)
    assert_allclose(second.log_evidence, first.log_evidence, atol=1e-9)
    assert_allclose(second.configurations, first.configurations, atol=CLOSE)
    for one, two in zip(sum(first.components, ()), sum(second.components, ()), strict=True):
        assert_allclose(two[:, : one.shape[1]], one, atol=CLOSE)
        assert_allclose(two[:, one.shape[1] :], 0.0, atol=CLOSE)


@effort(20)
@given(models_with_evidence(), st.floats(0.05, 0.95))
def test_a_likelihood_told_in_two_parts_is_the_whole(drawn: tuple[Model, Evidence], share: float) -> None:
    """Reading the same twice with weights that multiply to one reading (L = L^a L^(1-a)) tells what the one tells."""
    model, evidence = drawn
    possible(model, evidence)
    axes = tuple(
        (plate, names, likelihood**part) for plate, names, likelihood in evidence.axes for part in (share, 1.0 - share)
    )
    shared = tuple((names, likelihood**part) for names, likelihood in evidence.shared for part in (share, 1.0 - share))
    assert_same(model, evidence, model, replace(evidence, axes=axes, shared=shared))


def widened(component: Component, random: np.random.Generator) -> Component:
    """The component with one more state that has no chance, whatever it would contribute."""
    prior = np.concatenate([component.prior, np.zeros((len(component.prior), 1))], axis=1)
    links = []
    for link in component.links:
        row = random.dirichlet(np.ones(link.table.shape[2]), size=(len(link.table), 1))
        links.append(Link(link.axes, np.concatenate([link.table, row], axis=1)))
    return replace(component, prior=prior, links=tuple(links))


@effort(20)
@given(models_with_evidence(), st.integers(0, 2**32 - 1))
def test_a_state_that_cannot_be_changes_nothing(drawn: tuple[Model, Evidence], seed: int) -> None:
    """Every component without views gets a further state of no chance; evidence likes it ten times better than any."""
    model, evidence = drawn
    possible(model, evidence)
    random = np.random.default_rng(seed)
    plates, components = [], dict(evidence.components)
    for number, plate in enumerate(model.plates):
        based = {each.base for each in plate.components if each.base is not None}
        wide = []
        for index, component in enumerate(plate.components):
            plain = component.base is None and index not in based
            wide.append(widened(component, random) if plain else component)
            if plain and (number, index) in components:
                known: Array = components[number, index]
                loved = np.full((*known.shape[:-1], 1), 10.0 * float(known.max()))
                components[number, index] = np.concatenate([known, loved], axis=-1)
        plates.append(replace(plate, components=tuple(wide)))
    assert_same(model, evidence, replace(model, plates=tuple(plates)), replace(evidence, components=components))


@effort(20)
@given(models_with_evidence(), st.floats(1e-6, 1e6))
def test_a_likelihood_counts_but_for_its_factor(drawn: tuple[Model, Evidence], factor: float) -> None:
    """Densities in another unit: posteriors stay, and the probability of the evidence takes the factor."""
    model, evidence = drawn
    possible(model, evidence)
    assume(bool(evidence.axes))
    plate, names, likelihood = evidence.axes[0]
    told = replace(evidence, axes=((plate, names, likelihood * factor), *evidence.axes[1:]))
    first, second = infer(model, evidence), infer(model, told)
    assert_allclose(second.log_evidence, first.log_evidence + np.log(factor), atol=1e-9)
    for one, two in zip(sum(first.components, ()), sum(second.components, ()), strict=True):
        assert_allclose(two, one, atol=CLOSE)
