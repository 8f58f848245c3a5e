"""Contradictions: said where findings contradict each other, and hardly ever of a vehicle that the model describes."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.casebook import Answer, Case, load_case, read_case
from diag.inference import infer
from diag.knowledge_base import load_knowledge
from diag.network import (
    CONFLICT_FROM,
    Agreement,
    Factor,
    Question,
    Weighed,
    agreement,
    build,
    strain_of,
    strain_tail,
    weigh,
)
from tests.network.tiny import FINDINGS, case_of, engine, finding, tiny_knowledge
from tests.support.cases import every_case
from tests.support.effort import LONG, effort
from tests.support.vehicles import drawn_cases, drawn_with_truth, typical_case

KNOWLEDGE = load_knowledge()
ENGINES = tuple(KNOWLEDGE.engines)
DRAWN = 120 if LONG else 3
HEAD = "distance: 187000 km\nage: 11 years\n"
RAIL_SEEN = {"no_pressure": {"slow": 0.8}, "needle_creeps": {"normal": 0.1, "slow": 0.9}}


@cache
def weighed(text: str) -> Weighed:
    return weigh(KNOWLEDGE, read_case("case.yaml", KNOWLEDGE, text))


def held_together(text: str) -> Agreement:
    found = weighed(text)
    return agreement(found.network, found.posterior)


@cache
def of_demo(name: str) -> tuple[Weighed, Agreement]:
    found = weigh(KNOWLEDGE, load_case(every_case()[name], KNOWLEDGE))
    return found, agreement(found.network, found.posterior)


# Each contradicts what is common practice, no source: the one cannot well be with the other.
CONTRADICTIONS = {
    "tar and a chuff where the well is dry and clean, without gas or bubbles": (
        "chuff: {2: present}, tar: {2: present}, well_dry_and_clean: {2: present}, "
        "bubbles: {2: absent}, gas_at_well: {2: absent}"
    ),
    "bubbles and tar found, though there is neither gas nor noise and the well is clean": (
        "bubbles: {1: present}, tar: {1: present}, chuff: {1: absent}, gas_at_well: {1: absent}, "
        "well_dry_and_clean: {1: present}"
    ),
}


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("name", CONTRADICTIONS)
def test_a_contradiction_is_said(name: str, engine: str) -> None:
    """On every engine; and the answers that contradict are named, on both sides."""
    found = held_together(f"engine: {engine}\n{HEAD}findings: {{{CONTRADICTIONS[name]}}}\n")
    assert found.contradicts
    first = found.contradicting[0]
    assert first.key[0] == "blow_by"
    sides = {math.copysign(1.0, opinion.log_ratio) for opinion in first.opinions}
    assert sides == {1.0, -1.0}


def test_the_demo_case_that_contradicts_names_what_to_look_at_again_first() -> None:
    """Two findings speak for the seal of 2 and three against it: the two on the losing side are likelier in error."""
    _, found = of_demo("findings_that_contradict")
    assert found.contradicts
    (doubt,) = found.contradicting
    assert doubt.key == ("blow_by", 2)
    assert {opinion.question.item for opinion in doubt.opinions[:2]} == {"chuff", "tar"}
    assert all(opinion.p_error > 0.5 for opinion in doubt.opinions[:2])
    assert all(opinion.p_error < 0.2 for opinion in doubt.opinions[2:])


@pytest.mark.parametrize("name", [name for name in every_case() if name != "findings_that_contradict"])
def test_no_other_case_is_called_contradictory(name: str) -> None:
    assert not of_demo(name)[1].contradicts


@pytest.mark.parametrize("complaint", [False, True], ids=["any vehicle", "with a complaint"])
@pytest.mark.parametrize("engine", ENGINES)
def test_vehicles_whose_answers_agree_are_hardly_ever_called_contradictory(engine: str, complaint: bool) -> None:
    """In at least 95 of 100 simulated cases; few draws leave room for one more."""
    like = typical_case(KNOWLEDGE, engine)
    drawn = drawn_with_truth(KNOWLEDGE, like, DRAWN, 17, complaint)
    said = [_contradicts(case) for case, contradict in drawn if not contradict]
    assert len(said) > DRAWN / 2
    assert sum(said) <= max(0.05 * len(said), 1)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_contradiction_is_said_among_all_that_is_told_of_a_vehicle(engine: str) -> None:
    """Drawn vehicles of which everything typical is told, on one cylinder answers that contradict each other: it is
    said, and of that cylinder, in at least 95 of 100."""
    like, random = typical_case(KNOWLEDGE, engine), np.random.default_rng(29)
    found = []
    for case in drawn_cases(KNOWLEDGE, like, DRAWN, 29, True):
        cylinder = int(random.choice(case.engine.cylinders[:3]))
        text = list(CONTRADICTIONS.values())[int(random.integers(2))]
        head = f"engine: {engine}\nfindings: {{{re.sub(r'[12]: ', f'{cylinder}: ', text)}}}\n"
        told = read_case("planted.yaml", KNOWLEDGE, head).epochs[0].answers
        kept = [
            each for each in case.epochs[0].answers if (each.item, each.place) not in {(a.item, a.place) for a in told}
        ]
        planted = replace(case, epochs=(replace(case.epochs[0], answers=(*kept, *told)),))
        weighed = weigh(KNOWLEDGE, planted)
        held = agreement(weighed.network, weighed.posterior, rarity=False)
        found.append(("blow_by", cylinder) in {doubt.key for doubt in held.contradicting})
    assert len(found) == DRAWN
    assert sum(found) >= DRAWN - max(0.05 * DRAWN, 1)


def _contradicts(case: Case) -> bool:
    found = weigh(KNOWLEDGE, case)
    return agreement(found.network, found.posterior, rarity=False).contradicts


@st.composite
def things(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    """What is known of a thing before, and the chance that each of its findings is present by level."""
    levels, findings = draw(st.integers(2, 4)), draw(st.integers(1, 5))
    chance = st.floats(0.01, 0.99)
    prior = np.array(draw(st.lists(st.floats(0.01, 1.0), min_size=levels, max_size=levels)))
    rows = draw(st.lists(st.lists(chance, min_size=levels, max_size=levels), min_size=findings, max_size=findings))
    return prior / prior.sum(), np.array(rows)


@effort(60)
@given(things())
def test_strain_is_the_quotient_of_two_models_by_every_outcome(thing: tuple[np.ndarray, np.ndarray]) -> None:
    """Summed over everything that could have been found, P(e) times the strain is 1; and it is P(e | may err) / P(e)
    by the sum over which answers err."""
    prior, present = thing
    total = 0.0
    for outcome in product((True, False), repeat=len(present)):
        likelihood = np.where(np.array(outcome)[:, None], present, 1.0 - present)
        joint = prior * np.prod(likelihood, axis=0)
        strain, errors = strain_of(joint / joint.sum(), likelihood, 0.2)
        by_hand, erring = 0.0, np.zeros(len(present))
        for wrong in product((True, False), repeat=len(present)):
            each = np.where(np.array(wrong)[:, None], 0.2 * likelihood.mean(axis=1)[:, None], 0.8 * likelihood)
            weight = float(np.sum(prior * np.prod(each, axis=0)))
            by_hand += weight
            erring += weight * np.array(wrong)
        assert strain == pytest.approx(by_hand / joint.sum(), rel=1e-9)
        np.testing.assert_allclose(errors, erring / by_hand, rtol=1e-9)
        total += float(joint.sum()) * strain
    assert total == pytest.approx(1.0, rel=1e-9)


@effort(40)
@given(things())
def test_the_tail_of_strain_is_a_sum_over_all_answers(thing: tuple[np.ndarray, np.ndarray]) -> None:
    """Written down outcome by outcome: the chance of answers that strain as much. Over all outcomes it is a p-value:
    at most a is had in no more than a of all (definition of a valid test)."""
    prior, present = thing
    rows = []
    for outcome in product((True, False), repeat=len(present)):
        likelihood = np.where(np.array(outcome)[:, None], present, 1.0 - present)
        joint = prior * np.prod(likelihood, axis=0)
        strain, _ = strain_of(joint / joint.sum(), likelihood)
        tail = strain_tail(joint / joint.sum(), likelihood, list(present), strain)
        rows.append((float(joint.sum()), strain, tail))
    for _, strain, tail in rows:
        by_hand = sum(chance for chance, other, _ in rows if other >= strain * (1 - 1e-9))
        assert tail == pytest.approx(by_hand, rel=1e-6)
    for level in (0.01, 0.05, 0.3):
        assert sum(chance for chance, _, tail in rows if tail <= level) <= level + 1e-12


@pytest.mark.parametrize(
    "text",
    ["engine: ostrel_3\nreadings: {fuel_density: 600 kg/m3}", "engine: velm_5\nreadings: {capacitance: {1: 25 uF}}"],
)
def test_a_reading_that_all_but_one_level_rules_out_has_a_strain(text: str) -> None:
    """A level may be as unlikely as a number can be, and the mean beyond it more than a number can be."""
    for doubt in held_together(text).doubts:
        assert math.isfinite(doubt.strain)
        assert all(0.0 <= opinion.p_error <= 1.0 for opinion in doubt.opinions)


def test_vehicles_of_the_model_are_not_strained_on_average() -> None:
    """The mean strain of one thing over vehicles of the model is 1, as for any quotient of two distributions."""
    like = typical_case(KNOWLEDGE, "ostrel_3", cylinders=1)
    strains = []
    for case in drawn_cases(KNOWLEDGE, like, 400 if LONG else 30, 5, False):
        found = weigh(KNOWLEDGE, case)
        doubts = agreement(found.network, found.posterior, rarity=False).doubts
        strains += [next(doubt.strain for doubt in doubts if doubt.key == ("blow_by", 1))]
    mean, error = float(np.mean(strains)), float(np.std(strains)) / math.sqrt(len(strains))
    assert abs(mean - 1.0) < 4 * error + 0.02


@pytest.mark.parametrize("name", ["findings_that_contradict", "whole_bank_silent"])  # no readings that share a shift
def test_partial_conflict_is_that_of_leaving_the_finding_out(name: str) -> None:
    """From the posterior alone: the same as asking for each finding by itself and for all the others."""
    found, held = of_demo(name)
    network = found.network
    total = float(infer(network.model, network.evidence).log_evidence[0])
    singles = {}
    for question in network.factors:
        alone = network.without([other for other in network.factors if other != question])
        singles[question] = float(infer(network.model, alone).log_evidence[0])
    assert held.conflict == pytest.approx(sum(singles.values()) - total, abs=1e-8)
    for opinion in (each for doubt in held.doubts for each in doubt.opinions):
        others = float(infer(network.model, network.without([opinion.question])).log_evidence[0])
        assert opinion.apart == pytest.approx(singles[opinion.question] + others - total, abs=1e-8)


def test_findings_that_rule_out_a_level_of_the_vehicle_agree() -> None:
    """One is never there while the rail fills normally: what is believed of the rail is then known for sure, and each
    finding is taken for an error by 1 - 0.2 + 0.2 q/P (see the head of `conflict`)."""
    gauge = {name: finding("rail", chance, kind="observation") for name, chance in RAIL_SEEN.items()}
    told = [Answer(name, None, "present") for name in gauge]
    found = weigh(tiny_knowledge(findings={**FINDINGS, **gauge}), case_of(engine(2), ([], told)))
    (doubt,) = agreement(found.network, found.posterior).doubts
    assert doubt.key == ("rail", None)
    assert doubt.strain == pytest.approx((0.8 + 0.2 * 0.4 / 0.8) * (0.8 + 0.2 * 0.5 / 0.9))


def test_the_share_of_what_is_not_listed_is_a_quotient_of_probabilities() -> None:
    """1 - P(findings and nothing unlisted) / P(findings); before anything was told likewise."""
    found, held = of_demo("no_start_from_air")
    network, factors = found.network, {}
    for component, place in network.layout.versions:
        if "unlisted" in component:
            factors[Question(component, place)] = Factor((component, place), (0,), np.array([[1.0, 0.0]]))
    logs = [infer(network.model, evidence).log_evidence[0] for evidence in (
        network.with_factors(factors), network.evidence, network.targets.evidence(factors.values()),
    )]  # fmt: skip
    assert held.unlisted == pytest.approx(1.0 - math.exp(logs[0] - logs[1]), abs=1e-9)
    assert held.unlisted_before == pytest.approx(1.0 - math.exp(logs[2]), abs=1e-9)


def test_jensens_measure_alone_is_held_to_markovs_bound() -> None:
    """P(conflict >= ln 20) <= 1/20 for vehicles of the model: exp(conflict) is 1 on average (Markov's inequality)."""
    assert math.exp(-CONFLICT_FROM) == pytest.approx(0.05)


def test_where_nothing_was_told_nothing_contradicts() -> None:
    found = held_together(f"engine: ostrel_4\n{HEAD}")
    assert not found.contradicts
    assert found.conflict == pytest.approx(0.0, abs=1e-12)
    assert found.doubts == ()
    assert found.rarity is None
    assert found.unlisted == pytest.approx(found.unlisted_before, abs=1e-12)


def test_a_repair_tried_in_between_is_no_contradiction() -> None:
    """Rough, then quiet after the work: nothing is at odds."""
    text = (
        f"engine: ostrel_4\n{HEAD}findings: {{rough_idle: present, chuff: {{2: present}}, tar: {{2: present}}}}\n"
        "tried: [{did: reseal, cylinder: 2, then: {findings: {rough_idle: absent, chuff: {2: absent}}}}]\n"
    )
    assert not held_together(text).contradicts
    assert build(KNOWLEDGE, read_case("case.yaml", KNOWLEDGE, text)).factors
