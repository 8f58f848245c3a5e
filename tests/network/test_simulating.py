"""Vehicles drawn from the model show each thing as often as the exact engine says; and how rare findings are."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from diag.casebook import as_the_maker_numbers, read_case
from diag.inference import Evidence, infer
from diag.knowledge_base import load_knowledge
from diag.network import CaseNetwork, Draws, build, rarity_of, simulate
from tests.support.effort import LONG
from tests.support.vehicles import drawn_cases, typical_case

KNOWLEDGE = load_knowledge()
COUNT = 60_000 if LONG else 12_000
TWO_EPOCHS = """engine: ostrel_4
distance: 187000 km
age: 11 years
findings: {rough_idle: present, hard_start: present, chuff: {2: present}}
tried: [{did: reseal, cylinder: 2, then: {findings: {rough_idle: present, chuff: {2: absent}}}}]
"""


def network_of(text: str) -> CaseNetwork:
    return build(KNOWLEDGE, read_case("case.yaml", KNOWLEDGE, text))


def within(found: float, expected: float, count: int) -> bool:
    """Within five standard errors of a share."""
    return abs(found - expected) < 5 * math.sqrt(max(expected * (1 - expected), 1 / count) / count)


@pytest.mark.parametrize("engine", ["ostrel_3", "karrick_v6"])
def test_each_question_is_answered_as_often_as_is_exact(engine: str) -> None:
    """P(every answer by itself), of cylinders and of the vehicle with its chained severities, drawn and exact; where it
    is known whose the codes are."""
    case = replace(typical_case(KNOWLEDGE, engine, cylinders=2), numbering=as_the_maker_numbers(KNOWLEDGE))
    network = build(KNOWLEDGE, case)
    draws = Draws(network, COUNT, 11)
    for question, factor in network.factors.items():
        if question.item not in KNOWLEDGE.findings:
            continue
        alone = network.without([other for other in network.factors if other != question])
        exact = math.exp(float(infer(network.model, alone).log_evidence[0]))
        likelihood = factor.likelihood[0]
        if (
            factor.by_node
        ):  # a code, in a case whose corrections share a shift: known whose it is, the same at every node
            assert np.ptp(likelihood, axis=0).max() == 0.0
            likelihood = likelihood[0]
        drawn = likelihood[draws.levels(factor.key, factor.versions[0])].mean()
        assert within(float(drawn), exact, COUNT), question


def test_components_and_severities_over_a_repair_are_drawn_as_is_exact() -> None:
    """Before and after a repair, each version of everything on cylinder 2."""
    network = network_of(TWO_EPOCHS)
    draws, exact = Draws(network, COUNT, 12), infer(network.model, Evidence())
    for (name, place), (plate, indices) in network.targets.components.items():
        for version, index in enumerate(indices):
            share = float(np.mean(draws.levels((name, place), version) > 0))
            assert within(share, float(1.0 - exact.components[plate][index][0, 0]), COUNT), (name, place, version)
    for (name, place), (plate, indices) in network.targets.axes.items():
        for version, index in enumerate(indices):
            share = float(np.mean(draws.levels((name, place), version) > 0))
            assert within(share, float(1.0 - exact.axes[plate][index][0, 0]), COUNT), (name, place, version)


def test_the_noise_of_a_question_persists() -> None:
    """Where the level stays over a repair, so does the answer (the theorem of DEVELOPERS)."""
    network = network_of(TWO_EPOCHS)
    draws = Draws(network, COUNT, 13)
    key, chance = ("blow_by", 2), np.array([[0.1, 0.5, 0.9], [0.9, 0.5, 0.1]])
    answers = simulate(draws, key, (0, 1), chance)
    stays = draws.levels(key, 0) == draws.levels(key, 1)
    assert np.array_equal(answers[0][stays], answers[1][stays])
    assert np.any(answers[0][~stays] != answers[1][~stays])


def test_the_same_seed_draws_the_same_vehicles() -> None:
    network = network_of(TWO_EPOCHS)
    first, again = (Draws(network, 50, 3).levels(("seal", 2), 0) for _ in range(2))
    assert np.array_equal(first, again)


def test_much_out_of_the_ordinary_is_rarer_than_little() -> None:
    """One doubtful finding, then five at once on a cylinder: the tail falls, and its error is that of its draws."""
    head = "engine: ostrel_4\ndistance: 187000 km\nage: 11 years\n"
    asked = ("chuff", "tar", "bubbles", "gas_at_well", "weak_cutout")
    tails = []
    for count in (0, 1, 5):
        told = [f"{item}: {{3: {'present' if place < count else 'absent'}}}" for place, item in enumerate(asked)]
        rarity = rarity_of(network_of(f"{head}findings: {{{', '.join(told)}}}\n"), ())
        assert rarity is not None
        assert rarity.error == pytest.approx(math.sqrt(rarity.tail * (1 - rarity.tail) / (rarity.draws + 1)))
        assert not rarity.among_complaints
        tails.append(rarity.tail)
    assert tails[0] > 0.99 > tails[1] > 2 * tails[2]


def test_vehicles_of_the_model_are_seldom_called_rare() -> None:
    """The tail of a vehicle drawn from the model is at most 5 per cent in about 5 of 100 or fewer (a p-value)."""
    like, count = typical_case(KNOWLEDGE, "ostrel_3", cylinders=1), 300 if LONG else 60
    rare = 0
    for case in drawn_cases(KNOWLEDGE, like, count, 21, False):
        rarity = rarity_of(build(KNOWLEDGE, case), ())
        assert rarity is not None
        rare += rarity.tail <= 0.05
    assert rare <= 0.05 * count + 4 * math.sqrt(0.05 * 0.95 * count)
