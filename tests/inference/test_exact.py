"""The fast engine gives the exact answer: held to the sum over all worlds on random models, versions included."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence
from diag.inference import (
    Axis,
    Component,
    Evidence,
    Form,
    Model,
    Plate,
    SharedAxis,
    infer,
    joint_posterior,
    mixture,
    most_probable,
    search,
    shared_posterior,
)
from tests.support.agreement import CLOSE, FORMS, assert_same, possible, random_option
from tests.support.batches import one_case, reordered, stacked
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models, models_with_evidence

ONE_CASE = Sizes(cases=1)
MANY_CONFIGURATIONS = Sizes(cases=1, plates=1, components=4, shared=1, configurations=8)


@pytest.mark.parametrize("form", FORMS)
def test_all_posteriors_equal_the_sum_over_all_worlds(form: Form) -> None:
    """Evidence probability and every marginal, in each form, to 1e-10 (or the form's own measured error).

    Left to itself, the engine keeps that error below 1e-10; the form with subtraction says how large it is.
    """

    @effort(35)
    @given(models_with_evidence())
    def check(drawn: tuple[Model, Evidence]) -> None:
        model, evidence = drawn
        exact = possible(model, evidence)
        found = infer(model, evidence, form)
        assert form == "subtracting" or found.cancellation <= CLOSE
        assert_same(found, exact, max(CLOSE, 4 * found.cancellation))

    check()


@effort(35)
@given(models_with_evidence())
def test_both_forms_agree(drawn: tuple[Model, Evidence]) -> None:
    """With and without subtraction the answer is the same, within what the first says of itself."""
    model, evidence = drawn
    possible(model, evidence)
    first, second = infer(model, evidence, "subtracting"), infer(model, evidence, "carrying")
    close = max(CLOSE, 4 * first.cancellation)
    assert_allclose(first.log_evidence, second.log_evidence, atol=close)
    assert_allclose(first.configurations, second.configurations, atol=close)
    for one, other in zip(sum(first.components, ()), sum(second.components, ()), strict=True):
        assert_allclose(one, other, atol=close)


@effort(25)
@given(models_with_evidence())
def test_posteriors_are_distributions(drawn: tuple[Model, Evidence]) -> None:
    """Every marginal is nowhere negative and sums to 1."""
    model, evidence = drawn
    possible(model, evidence)
    found = infer(model, evidence)
    for marginal in (
        found.configurations,
        *sum(found.components, ()),
        *(each for plate in found.axes for each in plate),
    ):
        assert marginal.min() >= 0.0
        assert_allclose(marginal.sum(axis=-1), 1.0, atol=1e-12)


@effort(25)
@given(models_with_evidence(), st.data())
def test_joint_posteriors_within_a_plate(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """The joint posterior of any components of a plate, in the order asked."""
    model, evidence = drawn
    exact = possible(model, evidence)
    plate = data.draw(st.integers(0, len(model.plates) - 1))
    every = range(len(model.plates[plate].components))
    chosen = tuple(data.draw(st.lists(st.sampled_from(every), min_size=1, unique=True)))
    expected = exact.posterior(*[("component", plate, index) for index in chosen])
    found = joint_posterior(model, evidence, plate, chosen)
    assert_allclose(np.broadcast_to(found, expected.shape), expected, atol=CLOSE)


@effort(25)
@given(models_with_evidence(), st.data())
def test_joint_posteriors_of_shared_severities(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """The joint posterior of any shared axes, in the order asked."""
    model, evidence = drawn
    exact = possible(model, evidence)
    every = [(index, version) for index, severity in enumerate(model.shared) for version in range(severity.versions)]
    chosen: tuple[SharedAxis, ...] = tuple(
        data.draw(st.lists(st.sampled_from(every), min_size=1, max_size=3, unique=True))
    )
    expected = exact.shared(chosen)
    found = shared_posterior(model, evidence, chosen)
    assert_allclose(np.broadcast_to(found, expected.shape), expected, atol=CLOSE)


@effort(25)
@given(models_with_evidence(ONE_CASE), st.integers(1, 12))
def test_most_probable_combinations(drawn: tuple[Model, Evidence], count: int) -> None:
    """The likeliest combinations of unsound states, likeliest first, each with its posterior; none is left out."""
    model, evidence = drawn
    exact = possible(model, evidence)
    expected = {states: chance for states, chance in exact.combinations().items() if chance > 1e-14}
    found = most_probable(model, evidence, count)
    assert min(count, len(expected)) <= len(found) <= count
    for combination in found:
        chance = expected.get(tuple(sorted(combination.states.items())), 0.0)
        assert combination.probability == pytest.approx(chance, abs=CLOSE)
    best = list(expected.values())[: len(found)]
    assert_allclose([combination.probability for combination in found][: len(best)], best, atol=CLOSE)


@pytest.mark.parametrize("spared", [0.01, 0.9])
def test_few_of_many_configurations_leave_out_no_joint_state_that_reaches_the_threshold(spared: float) -> None:
    """Whatever they hold of it: what all the others may add is granted to it."""

    @effort(100)
    @given(models_with_evidence(MANY_CONFIGURATIONS), st.integers(0, 1 << 30))
    def check(drawn: tuple[Model, Evidence], seed: int) -> None:
        model, evidence = drawn
        possible(model, evidence)
        known = infer(model, evidence)
        for plate, view in known.views.items():
            counts = search._variable_states(model.plates[plate])
            marginals = [array[0] for array in known.components[plate]]
            every = [dict(enumerate(states)) for states in product(*map(range, counts))]
            chances = view.chance([search._indicators(state, counts) for state in every])[0]
            threshold = float(chances[seed % len(every)]) * (1 - 1e-9)  # one of them just reaches it
            assume(threshold > 1e-12)
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(search, "has_many_configurations", lambda model: True)
                patch.setattr(search, "SPARED", spared)
                views, less = search._views(model, evidence, known, threshold)
            found = set(search._worthwhile(views[plate], counts, marginals, threshold, less))
            for state, chance in zip(every, chances, strict=True):
                unsound = tuple((component, value) for component, value in state.items() if value)
                assert unsound in found or chance < threshold

    check()


def test_no_combination_is_found_where_none_is_as_probable_as_asked() -> None:
    """Five parts of a plate, each unsound by half: 32 joint states of 1/32 each, and more is asked for."""
    plate = Plate("one", tuple(Component(f"part {n}", np.array([[0.5, 0.5]])) for n in range(5)))
    model = Model(np.ones(1), (plate,), ())
    assert most_probable(model, Evidence(1), 3, least=0.04) == ()
    assert len(most_probable(model, Evidence(1), 3, least=0.03)) == 3


@effort(25)
@given(models_with_evidence(), st.integers(0, 2**32 - 1))
def test_mixture_gives_expectations_of_products(drawn: tuple[Model, Evidence], seed: int) -> None:
    """E[product of a factor for each plate, and one of the configuration | evidence], for every choice of options."""
    model, evidence = drawn
    exact = possible(model, evidence)
    random = np.random.default_rng(seed)
    choices = [[random_option(random, model, plate) for _ in range(2)] + [{}] for plate in range(len(model.plates))]
    configuration_choices = [random.random(len(model.configurations)) for _ in range(2)]
    found = mixture(model, evidence, choices, configuration_choices)
    assert_allclose(np.broadcast_to(found.log_evidence, exact.probability.shape), np.log(exact.probability), atol=CLOSE)
    for _ in range(4):
        options = random.integers(3, size=len(model.plates)).tolist()
        of_configuration = int(random.integers(2))
        factors = [choices[plate][option] for plate, option in enumerate(options)]
        expected = exact.expectation(factors, configuration_choices[of_configuration])
        given_value = found.expectation(options, of_configuration)
        assert_allclose(np.broadcast_to(given_value, expected.shape), expected, atol=CLOSE)
    nothing = mixture(model, evidence, choices).expectation([2] * len(model.plates))
    assert_allclose(nothing, 1.0, atol=CLOSE)


@effort(25)
@given(models_with_evidence())
def test_the_order_of_evidence_is_irrelevant(drawn: tuple[Model, Evidence]) -> None:
    """The same evidence told backwards gives the same posteriors."""
    model, evidence = drawn
    possible(model, evidence)
    first, second = infer(model, evidence), infer(model, reordered(evidence))
    assert_allclose(first.log_evidence, second.log_evidence, atol=CLOSE)
    for one, other in zip(sum(first.components, ()), sum(second.components, ()), strict=True):
        assert_allclose(one, other, atol=CLOSE)


@effort(25)
@given(models_with_evidence())
def test_a_batch_is_its_cases_one_by_one(drawn: tuple[Model, Evidence]) -> None:
    """Each row of a batch is the answer to that case alone."""
    model, evidence = drawn
    possible(model, evidence)
    together = infer(model, evidence)
    for case in range(evidence.cases):
        alone = infer(model, one_case(evidence, case))
        assert_allclose(together.log_evidence[case], alone.log_evidence[0], atol=CLOSE)
        for one, other in zip(sum(together.components, ()), sum(alone.components, ()), strict=True):
            assert_allclose(one[case % len(one)], other[0], atol=CLOSE)


@effort(20)
@given(models_with_evidence(ONE_CASE), st.data())
def test_likelihoods_on_one_variable_multiply(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """Two likelihoods named for one shared axis are worth their product."""
    model, evidence = drawn
    axis: SharedAxis = (data.draw(st.integers(0, len(model.shared) - 1)), 0)
    levels = model.shared[axis[0]].levels
    first, second = np.linspace(0.2, 0.9, levels)[None], np.linspace(0.8, 0.3, levels)[None]
    twice = stacked(evidence, Evidence(shared=(((axis,), first), ((axis,), second))))
    once = stacked(evidence, Evidence(shared=(((axis,), first * second),)))
    possible(model, once)
    assert_allclose(infer(model, twice).log_evidence, infer(model, once).log_evidence, atol=CLOSE)


@effort(25)
@given(models_with_evidence(), st.data())
def test_impossible_evidence_is_said_and_names_its_cases(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """A symptom present and absent at once in some cases of a batch raises, and tells in which."""
    model, evidence = drawn
    possible(model, evidence)
    impossible = data.draw(st.lists(st.integers(0, evidence.cases - 1), min_size=1, unique=True).map(sorted))
    levels = model.shared[0].levels
    told = np.ones((2, evidence.cases, levels))
    told[0, impossible] = np.eye(levels)[0]
    told[1, impossible] = 1.0 - np.eye(levels)[0]
    contradiction = Evidence(evidence.cases, shared=((((0, 0),), told[0]), (((0, 0),), told[1])))
    both = stacked(evidence, contradiction)
    for form in FORMS:
        with pytest.raises(ImpossibleEvidence, match="cannot all be true") as raised:
            infer(model, both, form)
        assert raised.value.cases == tuple(impossible)


@effort(35)
@given(models_with_evidence(Sizes(plates=2, components=2, shared=2)))
def test_evidence_without_any_world_is_always_noticed(drawn: tuple[Model, Evidence]) -> None:
    """Whatever makes evidence impossible, by certain tables or by versions, no form answers as if it were possible."""
    model, evidence = drawn
    exact = brute_force(model, evidence)
    impossible = tuple(np.flatnonzero(exact.probability <= 0).tolist())
    assume(impossible and bool(np.all((exact.probability <= 0) | (exact.probability > 1e-12))))
    for form in ("auto", "carrying"):
        with pytest.raises(ImpossibleEvidence, match="cannot all be true") as raised:
            infer(model, evidence, form)
        assert raised.value.cases == impossible


@effort(20)
@given(models())
def test_no_evidence_gives_the_prior(model: Model) -> None:
    """Without evidence its probability is 1 and every component has its prior."""
    found = infer(model, Evidence())
    assert_allclose(found.log_evidence, 0.0, atol=CLOSE)
    assert_allclose(found.configurations[0], model.configurations, atol=CLOSE)
    for plate, components in zip(model.plates, found.components, strict=True):
        for component, marginal in zip(plate.components, components, strict=True):
            prior = np.broadcast_to(component.prior, (len(model.configurations), component.prior.shape[1]))
            assert_allclose(marginal[0], model.configurations @ prior, atol=CLOSE)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("states", [1, 2])
@pytest.mark.parametrize("told", [(1.0, 3.0), (1.0, 0.0)])
def test_evidence_on_the_configuration_alone_is_heard(told: tuple[float, float], states: int, form: Form) -> None:
    """A plate that holds nothing but a likelihood of the configuration still tells: Bayes' rule, with 0.8 : 0.2."""
    component = Component("configuration", np.full((1, states), 1.0 / states))
    model = Model(np.array([0.8, 0.2]), (Plate("told", (component,), (Axis("silent", 2),)),), ())
    evidence = Evidence(components={(0, 0): np.repeat(np.array(told)[None, :, None], states, axis=2)})
    found = infer(model, evidence, form)
    weights = np.array([0.8, 0.2]) * told
    assert_allclose(np.exp(found.log_evidence[0]), weights.sum(), rtol=1e-14)
    assert_allclose(found.configurations[0], weights / weights.sum(), rtol=1e-14)
