"""What configurations influence tells only some of the terms apart, and of many cases most plates are told the same:
both are worked out once, and the answer is the exact one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.inference import (
    Array,
    Axis,
    Component,
    Emission,
    Evidence,
    Form,
    Link,
    Model,
    Plate,
    SharedSeverity,
    infer,
    log_evidence,
)  # fmt: skip
from diag.inference.blocks import Block, blocks
from diag.inference.plate_sums import _FEW, _MANY, sums_by_plate
from diag.inference.terms import distinct_terms, signed_terms
from tests.support.agreement import CLOSE, FORMS, assert_same, possible
from tests.support.batches import one_case
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, evidences, models, random_table, wide_models

SMALL = Sizes(plates=3, components=2, states=2, axes=2, levels=2, shared=2, versions=1)


def first_alone(plate: Plate, levels: int, random: np.random.Generator) -> Plate:
    """The plate speaking of the first shared severity alone."""
    emissions = [
        Emission(0, (each.axes[0],), random_table(random, len(each.table), levels)) for each in plate.emissions
    ]
    return replace(plate, emissions=tuple(emissions))


def plain(plate: Plate) -> Plate:
    """The plate as the first configuration has it, whatever the configuration is."""
    components = [
        replace(each, prior=each.prior[:1], links=tuple(Link(link.axes, link.table[:1]) for link in each.links))
        for each in plate.components
    ]
    return replace(plate, components=tuple(components))


def only_some_told_apart(model: Model, random: np.random.Generator) -> Model:
    """Of its two shared severities the plates that configurations influence speak of the first alone; the last plate
    speaks of both, and no configuration has an influence on it; nor on what comes from outside the plates."""
    shared = [
        replace(each, versions=1, backgrounds=tuple(table[:1, :1] for table in each.backgrounds))
        for each in model.shared
    ]
    levels = [each.levels for each in shared]
    plates = [first_alone(plate, levels[0], random) for plate in model.plates]
    size = model.plates[-1].axes[0].levels
    last = replace(
        plain(model.plates[-1]),
        emissions=tuple(Emission(index, (0,), random_table(random, size, count)) for index, count in enumerate(levels)),
    )
    return Model(model.configurations, (*plates[:-1], last), tuple(shared))


def told(
    model: Model, random: np.random.Generator, cases: int
) -> tuple[tuple[tuple[tuple[int, int], ...], Array], ...]:
    """Doubtful evidence on each shared severity: a term for every level of it."""
    return tuple(
        (((index, 0),), np.sort(random.uniform(0.1, 0.9, (cases, each.levels)), axis=1))
        for index, each in enumerate(model.shared)
    )


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("form", FORMS)
def test_terms_that_look_alike_to_all_that_configurations_influence(form: Form, wide: bool) -> None:
    """Every marginal, where the terms are fewer for the plates by configuration than they are together."""
    narrowed = []

    @effort(6 if wide else 20)
    @given(wide_models() if wide else models(SMALL), st.integers(0, 2**32 - 1), st.data())
    def check(drawn: Model, seed: int, data: st.DataObject) -> None:
        random = np.random.default_rng(seed)
        assume(len(drawn.shared) > 1)
        model = only_some_told_apart(drawn, random)
        evidence = data.draw(evidences(model, Sizes(cases=2)))
        evidence = replace(evidence, shared=told(model, random, evidence.cases), configured=())
        exact = possible(model, evidence)
        found = infer(model, evidence, form)
        assert_same(found, exact, max(CLOSE, 4 * found.cancellation))
        parts = blocks(model, evidence, evidence.heard)
        bound = [each for part in parts if any(part.classes) for each in part.first.plate.emissions]
        narrowed.append(bool(bound) and distinct_terms(bound, signed_terms(model, evidence))[1] is not None)

    check()
    assert any(narrowed)


@effort(20)
@given(models(SMALL), st.integers(0, 2**32 - 1), st.data())
def test_cases_that_tell_a_plate_the_same(model: Model, seed: int, data: st.DataObject) -> None:
    """The evidence of a batch with the same cases again and again, each against the case by itself and brute force."""
    random = np.random.default_rng(seed)
    some = data.draw(evidences(model, Sizes(cases=2)))
    some = replace(some, shared=tuple(each for each in some.shared if len(each[0]) == 1))
    again = random.integers(some.cases, size=5)
    many = replace(
        some,
        cases=5,
        components={key: table[again % len(table)] for key, table in some.components.items()},
        axes=tuple((plate, axes, table[again % len(table)]) for plate, axes, table in some.axes),
        shared=tuple((axes, table[again % len(table)]) for axes, table in some.shared),
        configured=tuple((plate, axes, table[again % len(table)]) for plate, axes, table in some.configured),
    )
    exact = possible(model, many)
    found = log_evidence(model, many)
    assert_allclose(found, np.log(exact.probability), atol=CLOSE)
    alone = [log_evidence(model, one_case(many, case))[0] for case in range(5)]
    assert_allclose(found, alone, atol=CLOSE)


class Counted:
    """How many plates, times cases, blocks were asked for."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.rows = 0
        plainly = Block.sums

        def counting(part: Block, chosen: object, table: object = None) -> Array:
            result = plainly(part, chosen, table)  # type: ignore[arg-type]
            self.rows += result.shape[0] * result.shape[1]
            return result

        monkeypatch.setattr(Block, "sums", counting)
        for store in (_FEW, _MANY):
            store.forget()


def two_plates(random: np.random.Generator) -> tuple[Model, Evidence]:
    """Two plates of one component, told of in six cases: the first the same in all but one, the second always anew."""
    smoking = random_table(random, 3, 2)

    def plate(name: str) -> Plate:
        component = Component("part", np.array([[0.9, 0.1]]), (Link((0,), random_table(random, 1, 2, 3)),))
        return Plate(name, (component,), (Axis("worn", 3),), (Emission(0, (0,), smoking),))

    model = Model(np.ones(1), (plate("one"), plate("two")), (SharedSeverity("smoke", 2),))
    often = np.array([[[0.3, 0.8]]] * 5 + [[[0.5, 0.6]]])
    heard = (((0, 0),), np.array([[0.2, 0.9]]))
    return model, Evidence(6, {(0, 0): often, (1, 0): random.uniform(0.1, 0.9, (6, 1, 2))}, (), (heard,))


def test_a_plate_is_summed_once_for_all_cases_that_tell_it_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two different cases at the one plate and six at the other, and none the second time."""
    model, evidence = two_plates(np.random.default_rng(7))
    counted = Counted(monkeypatch)
    first = log_evidence(model, evidence)
    assert_allclose(first, [log_evidence(model, one_case(evidence, case))[0] for case in range(6)], atol=CLOSE)
    counted.rows = 0
    assert_allclose(log_evidence(model, evidence), first, rtol=0, atol=0)
    assert counted.rows == 0
    for store in (_FEW, _MANY):
        store.forget()
    log_evidence(model, evidence)
    assert counted.rows == 2 + 6


def test_plates_of_one_case_are_known_again_while_it_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is told of one plate leaves the other as it was; and the answer is that of a fresh start."""
    model, batch = two_plates(np.random.default_rng(8))
    counted = Counted(monkeypatch)
    log_evidence(model, one_case(batch, 0))
    assert counted.rows == 2
    again = log_evidence(model, one_case(batch, 1))
    assert counted.rows == 3
    for store in (_FEW, _MANY):
        store.forget()
    assert_allclose(again, log_evidence(model, one_case(batch, 1)), atol=CLOSE)
    assert_allclose(again, np.log(brute_force(model, one_case(batch, 1)).probability), atol=CLOSE)


@pytest.mark.parametrize("once", [False, True])
def test_sums_by_plate_are_those_of_the_block(once: bool) -> None:
    """All cases, in their order."""
    model, evidence = two_plates(np.random.default_rng(9))
    (part,) = blocks(model, evidence, evidence.heard)
    chosen = signed_terms(model, evidence)
    found = sums_by_plate(part, chosen, part.table(chosen), once)
    assert_allclose(np.broadcast_to(np.stack(found), (2, 6, 1, 2)), part.sums(chosen), rtol=1e-14)
