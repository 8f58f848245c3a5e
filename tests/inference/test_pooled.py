"""Plates of many cases done once each: probabilities and expected uses, held to the sum over all worlds.

A world uses a cell of a table at most once, so what goes of the probability of the evidence when the cell can no longer
be (its chance nought, the rest of its row as it is) is the expected number of its uses.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec import structs
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence
from diag.inference import Array, Component, Evidence, Model, Pooled, pooled
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence, random_likelihood

SIZES = Sizes(cases=4, plates=2, components=2, states=3, shared=2, versions=1)
VERSIONS = replace(SIZES, versions=2, states=2)
CLOSE = 1e-9


def without(model: Model, plate: int, index: int, change: object) -> Model:
    """The model with one component changed."""
    assert isinstance(change, Component)
    components = list(model.plates[plate].components)
    components[index] = change
    plates = list(model.plates)
    plates[plate] = structs.replace(plates[plate], components=tuple(components))
    return structs.replace(model, plates=tuple(plates))


def lost(model: Model, evidence: Evidence, whole: Array) -> Array:
    """`[case]`: the share of the probability of the evidence that is gone."""
    return 1.0 - brute_force(model, evidence).probability / whole


def by_case(found: Pooled, plate: int) -> tuple[list[int], int]:
    """Where the cases of a plate stand: (rows, which of `uses`)."""
    for number, uses in enumerate(found.uses):
        rows = [row for row, (where, _) in enumerate(uses.examples) if where == plate]
        if rows:
            assert [uses.examples[row][1] for row in rows] == list(range(len(rows)))
            return rows, number
    raise AssertionError(f"plate {plate} has no uses")


@effort(25)
@given(models_with_evidence(SIZES), st.integers(0, 2**32 - 1))
def test_cases_kept_apart_have_their_exact_uses(drawn: tuple[Model, Evidence], seed: int) -> None:
    """States and levels by their posteriors, links and emissions by what is lost without a cell."""
    model, evidence = drawn
    random = np.random.default_rng(seed)
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-9)))
    found = pooled(model, evidence, np.ones(evidence.cases), apart=True)
    assert_allclose(np.broadcast_to(found.log_evidence, (evidence.cases,)), np.log(exact.probability), atol=CLOSE)
    assert_allclose(found.configurations, exact.posterior(("configuration",)), atol=CLOSE)
    for number, plate in enumerate(model.plates):
        rows, place = by_case(found, number)
        masses, classes = found.uses[place].masses, found.uses[place].classes[number]
        for index, by_class in masses.states.items():
            expected = exact.posterior(("configuration",), ("component", number, index))
            alike = by_class.shape[1] == 1 or not classes
            groups = np.zeros(len(model.configurations), int) if alike else np.array(classes)
            for group in range(by_class.shape[1]):
                assert_allclose(by_class[rows, group], expected[:, groups == group].sum(axis=1), atol=CLOSE)
        for axis, levels in masses.axes.items():
            assert_allclose(levels[rows], exact.posterior(("axis", number, axis)), atol=CLOSE)
        for (index, link), used in masses.links.items():
            component = plate.components[index]
            state = int(random.integers(used.shape[1]))
            for level in range(used.shape[2]):
                table = component.links[link].table.copy()
                table[:, state, level] = 0.0
                links = list(component.links)
                links[link] = structs.replace(links[link], table=table)
                gone = lost(
                    without(model, number, index, structs.replace(component, links=tuple(links))),
                    evidence,
                    exact.probability,
                )
                assert_allclose(used[rows, state, level], gone, atol=CLOSE)
        for emission, used in masses.emissions.items():
            level = int(random.integers(used.shape[1]))
            here = exact.posterior(("axis", number, plate.emissions[emission].axes[0]))[:, level]
            for given_level in range(used.shape[2]):
                chance = plate.emissions[emission].table[level, given_level]
                certain = _with_emission(model, number, emission, level, np.eye(used.shape[2])[given_level])
                share = brute_force(certain, evidence).probability / exact.probability - (1.0 - here)
                assert_allclose(used[rows, level, given_level], chance * share, atol=CLOSE)

    for (shared, number), mass in found.backgrounds.items():
        known = model.shared[shared].backgrounds[number]
        table = np.broadcast_to(known, (known.shape[0], len(model.configurations), known.shape[2]))
        for configuration in range(table.shape[1]):
            here = exact.posterior(("configuration",))[:, configuration]
            for given_level in range(table.shape[2]):
                certain = _with_background(model, shared, number, table, (configuration, given_level))
                share = brute_force(certain, evidence).probability / exact.probability - (1.0 - here)
                expected = table[0, configuration, given_level] * share
                assert_allclose(mass[:, configuration, given_level], expected, atol=CLOSE)


def _with_background(model: Model, shared: int, number: int, table: Array, at: tuple[int, int]) -> Model:
    changed = table.copy()
    changed[:, at[0]] = np.eye(table.shape[2])[at[1]]
    severity = model.shared[shared]
    backgrounds = (*severity.backgrounds[:number], changed, *severity.backgrounds[number + 1 :])
    others = (*model.shared[:shared], structs.replace(severity, backgrounds=backgrounds), *model.shared[shared + 1 :])
    return structs.replace(model, shared=others)


def _with_emission(model: Model, plate: int, emission: int, level: int, row: Array) -> Model:
    known = model.plates[plate].emissions
    table = known[emission].table.copy()
    table[level] = row
    emissions = (*known[:emission], structs.replace(known[emission], table=table), *known[emission + 1 :])
    plates = list(model.plates)
    plates[plate] = structs.replace(plates[plate], emissions=emissions)
    return structs.replace(model, plates=tuple(plates))


@effort(25)
@given(models_with_evidence(replace(VERSIONS, levels=3)), st.integers(0, 2**32 - 1))
def test_uses_of_what_versions_share_are_slopes(drawn: tuple[Model, Evidence], seed: int) -> None:
    """One uniform variable stands behind what is given to several versions: mass moved within a row, from the highest
    level to another, changes log P by the difference of their uses per chance. The slope is a difference of brute
    force on both sides, where no level changes its place in between."""
    model, evidence = drawn
    random = np.random.default_rng(seed)
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-6)))
    found = pooled(model, evidence, np.ones(evidence.cases), apart=True)
    for number, plate in enumerate(model.plates):
        rows, place = by_case(found, number)
        for emission, used in found.uses[place].masses.emissions.items():
            table = plate.emissions[emission].table
            for level in np.flatnonzero(table.min(axis=1) > 0.01):
                to = int(random.integers(table.shape[1] - 1))
                move = np.zeros(table.shape[1])
                move[to], move[-1] = 1.0, -1.0
                slopes = []
                for step in (1e-5, 2e-5):
                    sides = [
                        brute_force(_with_emission(model, number, emission, level, table[level] + s * move), evidence)
                        for s in (step, -step)
                    ]
                    slopes.append((sides[0].probability - sides[1].probability) / (2 * step * exact.probability))
                if np.allclose(*slopes, rtol=1e-7, atol=1e-7):
                    told = used[rows, level, to] / table[level, to] - used[rows, level, -1] / table[level, -1]
                    assert_allclose(told, slopes[0], atol=1e-6, rtol=1e-6)


@effort(25)
@given(models_with_evidence(VERSIONS), st.integers(0, 2**32 - 1))
def test_weighted_sums_are_the_sums_of_the_cases(drawn: tuple[Model, Evidence], seed: int) -> None:
    """Versions included; the same things told of most cases, so that rows repeat; and every alternative is what the
    evidence would have been worth with it."""
    model, evidence = drawn
    random = np.random.default_rng(seed)
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-9)))
    axis = (int(random.integers(len(model.shared))), 0)
    other = ((axis,), random_likelihood(random, 1, model.shared[axis[0]].levels))
    tried = [(), (other,), (*evidence.shared, other)]
    weights = random.uniform(0.5, 3.0, evidence.cases)
    apart = pooled(model, evidence, np.ones(evidence.cases), tried, apart=True)
    together = pooled(model, evidence, weights, tried)
    for number, told in enumerate(tried):
        alone = brute_force(model, structs.replace(evidence, shared=tuple(told)), exact.worlds).probability
        assert_allclose(apart.alternatives[:, number], alone / exact.probability, atol=CLOSE, rtol=1e-8)
        assert_allclose(together.alternatives[:, number], alone / exact.probability, atol=CLOSE, rtol=1e-8)
    for at, background in apart.backgrounds.items():
        summed = (weights[:, None, None] * background).sum(axis=0)
        assert together.backgrounds[at].shape == (1, *summed.shape)  # one row stands for all cases
        assert_allclose(together.backgrounds[at][0], summed, atol=CLOSE)
    for name in ("axes", "links", "emissions"):
        one, other_way = _sums(together, name, None), _sums(apart, name, weights)
        assert set(one) == set(other_way)
        for at, mass in one.items():
            assert_allclose(mass, other_way[at], atol=CLOSE)


def _sums(found: Pooled, name: str, weights: Array | None) -> dict[object, Array]:
    """Over all plates that are built alike and all cases."""
    total: dict[object, Array] = {}
    for uses in found.uses:
        for at, array in getattr(uses.masses, name).items():
            scale = np.ones(len(array)) if weights is None else weights[[case for _, case in uses.examples]]
            mass = np.tensordot(scale, array, axes=(0, 0))
            key = (at, array.shape[1:])
            total[key] = total.get(key, 0.0) + mass
    return total


@effort(15)
@given(models_with_evidence(replace(SIZES, cases=3)), st.data())
def test_cases_that_cannot_be_are_named(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    model, evidence = drawn
    assume(bool(np.all(brute_force(model, evidence).probability > 1e-9)))
    wrong = data.draw(st.lists(st.integers(0, evidence.cases - 1), min_size=1, unique=True).map(sorted))
    told = np.ones((evidence.cases, 1, model.plates[0].components[0].prior.shape[1]))
    told[wrong] = 0.0
    known = evidence.components.get((0, 0), np.ones((1, 1, 1)))
    impossible = structs.replace(evidence, components={**evidence.components, (0, 0): known * told})
    with pytest.raises(ImpossibleEvidence) as raised:
        pooled(model, impossible, np.ones(evidence.cases))
    assert raised.value.cases == tuple(wrong)
