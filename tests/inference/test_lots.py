"""Models of one build answered together are each held to the sum over all its worlds, on the configurations kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec import structs
from numpy.testing import assert_allclose

from diag.inference import Array, Component, Evidence, Link, Model, Plate, lot_of
from tests.support.agreement import random_option
from tests.support.brute_force import Exact, brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence

SIZES = Sizes(cases=1, plates=2, components=2, states=2, shared=2, versions=2)
CLOSE = 1e-9
MODELS = 3


def other_numbers(model: Model, random: np.random.Generator) -> Model:
    """The same build with other numbers; what two plates hold in common they hold in common again."""

    def changed(table: Array) -> Array:
        made = table * random.uniform(0.5, 1.5, table.shape)
        result: Array = made / made.sum(axis=-1, keepdims=True)
        return result

    def component(each: Component) -> Component:
        links = tuple(Link(link.axes, changed(link.table)) for link in each.links)
        return structs.replace(each, prior=changed(each.prior), links=links)

    components = {id(plate.components): tuple(map(component, plate.components)) for plate in model.plates}
    emissions = {
        id(plate.emissions): tuple(structs.replace(each, table=changed(each.table)) for each in plate.emissions)
        for plate in model.plates
    }
    plates = tuple(
        structs.replace(plate, components=components[id(plate.components)], emissions=emissions[id(plate.emissions)])
        for plate in model.plates
    )
    shared = tuple(structs.replace(each, backgrounds=tuple(map(changed, each.backgrounds))) for each in model.shared)
    return Model(changed(model.configurations), plates, shared)


def other_evidence(evidence: Evidence, random: np.random.Generator) -> Evidence:
    """The same told of the same things, local likelihoods as another model's numbers would make them."""

    def changed(table: Array) -> Array:
        return table * random.uniform(0.5, 2.0, table.shape)

    return structs.replace(
        evidence,
        components={key: changed(table) for key, table in evidence.components.items()},
        axes=tuple((plate, axes, changed(table)) for plate, axes, table in evidence.axes),
        shared=tuple((axes, table * random.uniform(0.5, 2.0)) for axes, table in evidence.shared),
        configured=tuple((plate, axes, changed(table)) for plate, axes, table in evidence.configured),
    )


def on_these(model: Model, evidence: Evidence, kept: np.ndarray) -> Exact:
    """The exact answer given that the configuration is one of these."""
    exact = brute_force(model, evidence)
    inside = np.isin(exact.worlds.columns["configuration",], kept)
    return replace(exact, weights=exact.weights * inside / float(model.configurations[kept].sum()))


def with_a_twin(model: Model) -> Model:
    """Two more plates that hold the very arrays of the first one, as cylinders that came by the same things do."""
    first = model.plates[0]
    return structs.replace(model, plates=(*model.plates, *(Plate(name, *_of(first)) for name in ("twin", "triplet"))))


def _of(plate: Plate):  # type: ignore[no-untyped-def]
    return plate.components, plate.axes, plate.emissions


@pytest.mark.parametrize("twins", [False, True])
def test_every_model_of_a_lot_has_the_exact_answer(twins: bool) -> None:
    @effort(30)
    @given(models_with_evidence(replace(SIZES, plates=1) if twins else SIZES), st.integers(0, 2**32 - 1))
    def check(drawn: tuple[Model, Evidence], seed: int) -> None:
        model, evidence = drawn
        random = np.random.default_rng(seed)
        model = with_a_twin(model) if twins else model
        several = [other_numbers(model, random) for _ in range(MODELS)]
        told = [other_evidence(evidence, random) for _ in range(MODELS)]
        kept = np.flatnonzero(random.random(len(model.configurations)) < 0.7)
        assume(len(kept))
        wanted = {
            number: [axis for axis in range(len(plate.axes)) if random.random() < 0.5]
            for number, plate in enumerate(model.plates)
        }
        exact = [on_these(one, other, kept) for one, other in zip(several, told, strict=True)]
        assume(all(each.probability[0] > 1e-9 for each in exact))
        lot = lot_of(several, told, kept, wanted)
        assert lot is not None
        for found, answer in zip(lot.posteriors, exact, strict=True):
            assert found is not None
            assert_allclose(found.log_evidence, np.log(answer.probability), atol=CLOSE)
            assert_allclose(found.configurations, answer.posterior(("configuration",))[:, kept], atol=CLOSE)
            for plate, components in enumerate(found.components):
                for index, marginal in enumerate(components):
                    assert_allclose(marginal, answer.posterior(("component", plate, index)), atol=CLOSE)
                for axis, levels in enumerate(found.axes[plate]):
                    assert axis not in wanted[plate] or not np.isnan(levels).any()
                    if not np.isnan(levels).any():
                        assert_allclose(levels, answer.posterior(("axis", plate, axis)), atol=CLOSE)
        choices = [
            [
                [_on(option, kept) for option in (random_option(random, one, plate), {})]
                for plate in range(len(one.plates))
            ]
            for one in several
        ]
        numbers = random.random(len(kept))
        for mixed, mine, answer in zip(lot.mixtures(choices, numbers), choices, exact, strict=True):
            for _ in range(3):
                options = random.integers(2, size=len(model.plates)).tolist()
                factors = [_on_all(mine[plate][option], kept, model) for plate, option in enumerate(options)]
                of_configuration = np.zeros(len(model.configurations))
                of_configuration[kept] = numbers
                expected = answer.expectation(factors, of_configuration)
                assert_allclose(mixed.expectation(options), expected, atol=CLOSE)

    check()


def _on(option: dict[int, Array], kept: np.ndarray) -> dict[int, Array]:
    return {index: factor[kept] if len(factor) > 1 else factor for index, factor in option.items()}


def _on_all(option: dict[int, Array], kept: np.ndarray, model: Model) -> dict[int, Array]:
    result = {}
    for index, factor in option.items():
        whole = np.ones((len(model.configurations), factor.shape[1]))
        whole[kept] = factor
        result[index] = whole
    return result


@effort(15)
@given(models_with_evidence(Sizes(cases=1, plates=2, shared=2)), st.integers(0, 2**32 - 1))
def test_models_of_which_other_things_are_told_are_no_lot(drawn: tuple[Model, Evidence], seed: int) -> None:
    """A symptom told of one model and not of the other: they cannot stand where a batch has its cases."""
    model, evidence = drawn
    random = np.random.default_rng(seed)
    axis = (len(model.shared) - 1, 0)
    levels = model.shared[axis[0]].levels
    more = structs.replace(evidence, shared=(*evidence.shared, ((axis,), np.linspace(0.3, 0.9, levels)[None])))
    assume(axis not in {axis for axes, _ in evidence.shared for axis in axes})
    several = [model, other_numbers(model, random)]
    assert lot_of(several, [evidence, more], np.arange(len(model.configurations)), {}) is None


def speaking(broken: float) -> Model:
    """A part that is broken with this chance, and then shows the symptom with 0.8."""
    from diag.inference import Axis, Emission, SharedSeverity

    link = Link((0,), np.array([[[1.0, 0.0], [0.0, 1.0]]]))
    part = Component("part", np.array([[1.0 - broken, broken]]), (link,))
    speaks = Emission(0, (0,), np.array([[1.0, 0.0], [0.2, 0.8]]))
    return Model(np.ones(1), (Plate("p", (part,), (Axis("a", 2),), (speaks,)),), (SharedSeverity("s", 2),))


SHOWN = Evidence(shared=((((0, 0),), np.array([[0.0, 1.0]])),))


def test_an_impossible_model_has_no_answer_and_the_others_have_theirs() -> None:
    """By hand: a sound part never shows the symptom; in one model it is certain to be sound, in the other it is not:
    P(symptom) = 0.25 x 0.8."""
    lot = lot_of([speaking(0.0), speaking(0.25)], [SHOWN, SHOWN], np.arange(1), {0: [0]})
    assert lot is not None
    nothing, found = lot.posteriors
    assert nothing is None and found is not None
    assert np.exp(found.log_evidence[0]) == pytest.approx(0.25 * 0.8, rel=1e-12)
    assert found.components[0][0][0] == pytest.approx([0.0, 1.0], abs=1e-12)
    assert found.axes[0][0][0] == pytest.approx([0.0, 1.0], abs=1e-12)


def test_a_model_that_may_be_off_by_more_than_was_allowed_has_no_answer() -> None:
    """A symptom of one in a billion is the small difference of two chances near 1: some two digits in a million."""
    rare = speaking(1e-9)
    for digits, answered in ((1e-9, False), (1e-5, True)):
        lot = lot_of([rare, rare], [SHOWN, SHOWN], np.arange(1), {0: [0]}, digits)
        assert lot is not None
        assert [found is not None for found in lot.posteriors] == [answered, answered]
        for found in lot.posteriors:
            assert found is None or np.exp(found.log_evidence[0]) == pytest.approx(0.8e-9, rel=1e-5)
