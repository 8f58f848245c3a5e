"""A plate's values split by the cells of one thing: they sum to the whole, and give the exact joint chances."""

from __future__ import annotations

import sys
from unittest import mock

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.inference import (
    Array,
    Asked,
    AskedSums,
    Axis,
    Component,
    Evidence,
    Link,
    Model,
    Plate,
    cell_sums,
    cell_values,
    local_cells,
    mixture,
    mixtures,
)
from tests.support.agreement import random_option
from tests.support.brute_force import Exact, brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence


@effort(25)
@given(models_with_evidence(Sizes(cases=1)), st.data())
def test_cells_give_joint_chances(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """P(cell of a component or of axes) from the split values equals the sum over all worlds."""
    model, evidence = drawn
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-9)))
    plate = data.draw(st.integers(0, len(model.plates) - 1))
    whole = mixture(model, evidence, [[{}]] * len(model.plates))
    rest = whole.weights[0] * np.prod(
        [values[0, 0] for number, values in enumerate(whole.values) if number != plate] or [np.ones(1)], axis=0
    )
    component = data.draw(st.integers(0, len(model.plates[plate].components) - 1))
    for thing, name in [(component, ("component", plate, component)), ((0,), ("axis", plate, 0))]:
        if isinstance(thing, tuple) and not model.plates[plate].axes:
            continue
        cells, again = cell_values(model, evidence, [Asked(plate, [{}], thing), Asked(plate, [{}, {}], thing)])
        assert_allclose(again[1], cells[0], atol=1e-14)
        assert_allclose(cells[0].sum(axis=0), whole.values[plate][0, 0], atol=1e-12)
        assert_allclose(cells[0] @ rest, exact.posterior(name)[0], atol=1e-9)
        gradient = np.stack([rest, 2.0 * rest, rest**2])
        ((sums,),) = cell_sums(model, evidence, [AskedSums(plate, [{}] * 3, gradient, [thing])])
        assert_allclose(sums, gradient @ cells[0].T, atol=1e-12)


@effort(25)
@given(models_with_evidence(Sizes(cases=1, plates=3, components=2)), st.integers(0, 2**32 - 1))
def test_cells_of_many_questions_at_once_are_joint_expectations(drawn: tuple[Model, Evidence], seed: int) -> None:
    """All plates, all things of them, pairs of axes in either order, several options for each: the expectation of an
    option's factors where the thing is in a cell, by the sum over all worlds."""
    model, evidence = drawn
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-9)))
    random, asked, expected, wholes = np.random.default_rng(seed), [], [], []
    for number, plate in enumerate(model.plates):
        every = range(len(plate.axes))
        pairs: list[int | tuple[int, ...]] = [(one, other) for one in every for other in every if one != other]
        for thing in (*range(len(plate.components)), *((axis,) for axis in every), *pairs):
            options = [random_option(random, model, number) for _ in range(int(random.integers(1, 3)))] + [{}]
            asked.append(Asked(number, options, thing))
            expected.append([_by_cell(exact, number, option, thing) for option in options])
    values = mixture(model, evidence, [[{}]] * len(model.plates))
    for number in range(len(model.plates)):
        others = [mine[0, 0] for place, mine in enumerate(values.values) if place != number]
        wholes.append(values.weights[0] * np.prod(others or [np.ones(1)], axis=0))
    for each, found, right in zip(asked, cell_values(model, evidence, asked), expected, strict=True):
        assert_allclose(found @ wholes[each.plate], right, atol=1e-9)
    sums = []
    for each in asked:
        single = isinstance(each.thing, int) or len(each.thing) == 1
        gradient = np.repeat(wholes[each.plate][None], len(each.options), axis=0)
        sums.append(AskedSums(each.plate, each.options, gradient, [each.thing] if single else []))
    for each, found, right in zip(sums, cell_sums(model, evidence, sums), expected, strict=True):
        for mine in found:
            assert each.things
            assert_allclose(mine, right, atol=1e-9)


def _by_cell(exact: Exact, plate: int, option: dict[int, Array], thing: int | tuple[int, ...]) -> Array:
    """`[cell]`, the last axis fastest."""
    columns, configuration = exact.worlds.columns, exact.worlds.columns["configuration",]
    product = np.ones(len(exact.worlds.chance))
    for component, factor in option.items():
        full = np.broadcast_to(factor, (len(exact.model.configurations), factor.shape[1]))
        product = product * full[configuration, columns["component", plate, component]]
    if isinstance(thing, int):
        sizes, places = [exact.size(("component", plate, thing))], [columns["component", plate, thing]]
    else:
        sizes = [exact.size(("axis", plate, axis)) for axis in thing]
        places = [columns["axis", plate, axis] for axis in thing]
    cells = np.ravel_multi_index(places, sizes)
    mass: Array = np.bincount(cells, weights=exact.weights[0] * product, minlength=int(np.prod(sizes)))
    return mass / float(exact.probability[0])


@effort(25)
@given(models_with_evidence(Sizes(cases=1)), st.integers(0, 10**6))
def test_sums_are_the_same_by_densities_that_are_held_and_by_one_pass_over_all_rows(
    drawn: tuple[Model, Evidence], seed: int
) -> None:
    """Also where more rows have one option than there are terms, and where an option holds a component sound."""
    model, evidence = drawn
    assume(bool(np.all(brute_force(model, evidence).probability > 1e-9)))
    terms = mixture(model, evidence, [[{}]] * len(model.plates)).weights.shape[1]
    random = np.random.default_rng(seed)
    asked = []
    for number, plate in enumerate(model.plates):
        states = plate.components[0].prior.shape[1]
        sound: dict[int, Array] = {0: np.eye(1, states)}
        some: dict[int, Array] = {0: random.random((1, states))}
        options = [each for each in ({}, sound, some) for _ in range(terms + 2)]
        things = [*range(len(plate.components)), *((axis,) for axis in range(len(plate.axes)))]
        asked.append(AskedSums(number, options, random.normal(size=(len(options), terms)), things))
    quick = cell_sums(model, evidence, asked)
    with mock.patch.object(local_cells, "MOST_NUMBERS", 0):
        slow = cell_sums(model, evidence, asked)
    for each, mine, theirs in zip(asked, quick, slow, strict=True):
        for thing, one, other in zip(each.things, mine, theirs, strict=True):
            (cells,) = cell_values(model, evidence, [Asked(each.plate, each.options, thing)])
            assert_allclose(one, other, atol=1e-11)
            assert_allclose(one, np.einsum("oct,ot->oc", cells, each.gradient), atol=1e-11)


@effort(25)
@given(models_with_evidence(Sizes(cases=1)), st.integers(0, 10**6), st.data())
def test_mixtures_that_differ_in_what_was_told_of_shared_severities_are_those_one_by_one(
    drawn: tuple[Model, Evidence], seed: int, data: st.DataObject
) -> None:
    """Each as `mixture` has it alone, though what they have in common is laid out once."""
    model, evidence = drawn
    assume(bool(np.all(brute_force(model, evidence).probability > 1e-9)) and bool(model.shared))
    random = np.random.default_rng(seed)
    told = [evidence]
    for severity, known in enumerate(model.shared):
        axes = tuple((severity, version) for version in range(known.versions))
        table = random.uniform(0.5, 1.0, (2, *(known.levels for _ in axes)))
        told.append(replace(evidence, cases=2, shared=(*evidence.shared, (axes, table))))
    choices = [[{}, {0: random.random((1, plate.components[0].prior.shape[1]))}] for plate in model.plates]
    options = [1] * len(model.plates)
    room = data.draw(st.sampled_from([1, 30, 1 << 14]))  # terms that are done together: each alone, some, all
    with mock.patch.object(sys.modules["diag.inference.mixture"], "TOGETHER", room):
        joined = mixtures(model, told, choices)
    found = [(one, *mine) for one in joined for mine in zip(one.weights, one.log_evidence, strict=True)]
    for each, (one, weights, logs) in zip(told, found, strict=True):
        alone = mixture(model, each, choices)
        product = weights * np.prod([values[1] for values in one.values], axis=0)
        assert_allclose(logs, alone.log_evidence, atol=1e-11)
        assert_allclose(product.sum(axis=1), alone.expectation(options), rtol=1e-9, atol=1e-12)


def _one_level(reached: list[list[float]], configurations: int) -> Model:
    """A plate with one level that nothing hears and one component of one state that reaches it."""
    component = Component("component", np.ones((1, 1)), (Link((0,), np.array([reached])),))
    plate = Plate("plate", (component,), (Axis("level", len(reached[0])),), ())
    return Model(np.full(configurations, 1 / configurations), (plate,), ())


def test_plates_that_are_alike_in_what_is_heard_keep_their_own_levels() -> None:
    """What is held of a level that is not heard belongs to what reaches it."""
    for reached in ([[0.25, 0.75]], [[0.5, 0.5]]):
        model = _one_level(reached, 1)
        ((found,),) = cell_sums(model, Evidence(), [AskedSums(0, [{}], np.ones((1, 1)), [(0,)])])
        assert_allclose(found, reached, atol=1e-15)
        (split,) = cell_values(model, Evidence(), [Asked(0, [{}], (0,))])
        assert_allclose(split[0, :, 0], reached[0], atol=1e-15)


def test_what_is_held_of_a_plate_does_not_depend_on_the_configurations_of_the_vehicle() -> None:
    """One plate in vehicles of two and of three configurations, asked with a factor by configuration."""
    for configurations in (2, 3):
        model = _one_level([[0.25, 0.75]], configurations)
        factor = np.arange(1.0, configurations + 1)[:, None]
        mixed = mixture(model, Evidence(), [[{}, {0: factor}]])
        assert_allclose([mixed.expectation([n])[0] for n in (0, 1)], [1.0, factor.mean()], rtol=1e-12)
