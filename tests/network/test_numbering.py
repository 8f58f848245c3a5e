"""How the control unit numbers the cylinders: one hypothesis for codes and columns, which evidence decides."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.basics import CaseError
from diag.casebook import Answer, Case, Measured, read_case
from diag.inference import infer
from diag.knowledge_base import load_knowledge
from diag.network import (
    CaseNetwork,
    agreement,
    build,
    component_states,
    part_posterior,
    rebuilt,
    told_steps,
    weigh,
)
from tests.network.reduced import reduced
from tests.network.test_general_engines import CYLINDER, SHARED, agree

KNOWLEDGE = load_knowledge()
KEY = ("code_numbering", None)
HEAD = "distance: 187000 km\nage: 11 years\n"
# The cylinder behind each number shown, written down by hand from the engines' layouts: in line 1 to 4, firing 1-3-4-2;
# in line 1 to 3, firing 1-3-2 or so; a V with 1 to 3 and 4 to 6. Neighbours are those next to each other in a bank.
BY_HAND = {
    "ostrel_4": {
        "by_cylinder": [[1, 2, 3, 4]],
        "by_firing_order": [[1, 3, 4, 2]],
        "from_other_end": [[4, 3, 2, 1]],
        "pair_exchanged": [[2, 1, 3, 4], [1, 3, 2, 4], [1, 2, 4, 3]],
    },
    "karrick_v6": {
        "by_cylinder": [[1, 2, 3, 4, 5, 6]],
        "by_firing_order": [list(KNOWLEDGE.engines["karrick_v6"].firing_order)],
        "from_other_end": [[3, 2, 1, 6, 5, 4]],
        "banks_exchanged": [[4, 5, 6, 1, 2, 3]],
        "pair_exchanged": [[2, 1, 3, 4, 5, 6], [1, 3, 2, 4, 5, 6], [1, 2, 3, 5, 4, 6], [1, 2, 3, 4, 6, 5]],
    },
}
MOVED = {"balance_code", "misfire_code", "circuit_code", "correction"}


def case_of(text: str) -> Case:
    return read_case("case.yaml", KNOWLEDGE, text)


def at_their_cylinders(case: Case, real: list[int]) -> Case:
    """The case as it would have been told by somebody who knows where each number sits."""

    def moved(each: Answer | Measured) -> Answer | Measured:
        return replace(each, place=real[each.place - 1]) if each.item in MOVED and isinstance(each.place, int) else each

    epochs = tuple(
        replace(epoch, answers=tuple(map(moved, epoch.answers)), measured=tuple(map(moved, epoch.measured)))
        for epoch in case.epochs
    )
    return replace(case, epochs=epochs, numbering="by_cylinder")


def by_mixture(case: Case) -> tuple[dict[object, np.ndarray], dict[str, float]]:
    """The posterior of all components and of the numbering, by weighing every numbering by itself (Bayes' rule)."""
    prior = {state: figure.value for state, figure in KNOWLEDGE.components[KEY[0]].chance.items()}
    maps = BY_HAND[case.engine_id]
    prior = {state: prior[state] for state in maps if state != "by_cylinder"}
    prior["by_cylinder"] = 1.0 - sum(prior.values())
    weights, posteriors = {}, {}
    for state, ways in maps.items():
        for way, real in enumerate(ways):
            try:
                one = weigh(KNOWLEDGE, at_their_cylinders(case, real))
            except CaseError:
                continue  # so numbered, answers about one thing contradict each other: impossible
            weights[state, way] = prior[state] / len(ways) * np.exp(one.log_evidence)
            posteriors[state, way] = component_states(one.network, one.posterior)
    total = sum(weights.values())
    keys = next(iter(posteriors.values()))
    mixed = {key: sum(weights[h] / total * posteriors[h][key] for h in weights) for key in keys}
    return mixed, {state: sum(w for (s, _), w in weights.items() if s == state) / total for state in maps}


CASES = {
    "codes of one cylinder, signs at another": (
        "findings: {chuff: {4: present}, tar: {4: present}, rough_idle: present}\ncodes: [P0269, P0303]\n"
    ),
    "all codes read, soft ones too": (
        "findings: {rough_idle: present, weak_cutout: {2: present}}\ncodes: [P0266, P0301 pending]\nother_codes: none\n"
    ),
    "over work that was tried": (
        "findings: {chuff: {4: present}, rough_idle: present, balance_code: {3: present}}\n"
        "tried: [{did: reseal, cylinder: 2, then: {findings: {balance_code: {3: absent}, rough_idle: absent}}}]\n"
    ),
    "over an exchange of injectors": (
        "findings: {rough_idle: present, balance_code: {3: present}}\n"
        "tried: [{did: swap_injectors, cylinder: 4, with: 1, then: {findings: {balance_code: {1: present}}}}]\n"
    ),
}


@pytest.mark.parametrize("engine", ["ostrel_4", "karrick_v6"])
@pytest.mark.parametrize("name", CASES)
def test_the_posterior_is_the_mixture_over_all_numberings(name: str, engine: str) -> None:
    """Every numbering weighed by itself, as if it were known; over two epochs and over an exchange as well."""
    case = case_of(f"engine: {engine}\n{HEAD}{CASES[name]}")
    found = weigh(KNOWLEDGE, case)
    states = component_states(found.network, found.posterior)
    mixed, numbering = by_mixture(case)
    for key, chances in mixed.items():
        if key != KEY:
            np.testing.assert_allclose(states[key], chances, atol=1e-9, err_msg=str(key))
    named = dict(zip(KNOWLEDGE.components[KEY[0]].states, states[KEY], strict=True))
    for state, chance in numbering.items():
        assert named[state] == pytest.approx(chance, abs=1e-9), state


CORRECTIONS = (
    "findings: {chuff: {4: present}, tar: {4: present}, rough_idle: present}\ncodes: [P0269]\nreadings:\n"
    "  correction: {1: -1.1 mg/stroke, 2: -1.2 mg/stroke, 3: 3.4 mg/stroke, 4: -1.0 mg/stroke}\n"
)


def test_columns_of_corrections_move_with_the_codes() -> None:
    """Under each numbering the shift has nodes of its own: as exact as the nodes are, which is stated."""
    case = case_of(f"engine: ostrel_4\n{HEAD}{CORRECTIONS}")
    found = weigh(KNOWLEDGE, case)
    states = component_states(found.network, found.posterior)
    mixed, numbering = by_mixture(case)
    assert max(np.abs(states[key] - chances).max() for key, chances in mixed.items() if key != KEY) < 5e-4
    named = dict(zip(KNOWLEDGE.components[KEY[0]].states, states[KEY], strict=True))
    assert all(named[state] == pytest.approx(chance, abs=5e-4) for state, chance in numbering.items())


def test_columns_agree_with_pyagrum() -> None:
    """Numbering and shift as one variable of an ordinary network, to 1e-9; and the probability of all that was told."""
    knowledge = reduced(KNOWLEDGE, CYLINDER | SHARED, {"blow_by", "delivery"})
    text = "findings: {chuff: {3: present}, balance_code: {2: present}}\nreadings: {correction: {1: -0.9 mg/stroke, 2: "
    agree(knowledge, case_of(f"engine: ostrel_3\n{HEAD}{text}2.1 mg/stroke, 3: -1.3 mg/stroke}}}}\n"))


def test_what_is_found_at_the_cylinders_decides_the_numbering() -> None:
    """Code and correction speak of the third to fire, which is cylinder 4; noise and tar are at 4: the seal of 4, and
    the control unit counts by firing order. Were they at 3, it would count as the maker does (common practice)."""
    prior = KNOWLEDGE.components[KEY[0]].chance["by_firing_order"].value
    case = case_of(f"engine: ostrel_4\n{HEAD}{CORRECTIONS}")
    found = weigh(KNOWLEDGE, case)
    states = component_states(found.network, found.posterior)
    assert states[KEY][1] > 0.5 > 5 * prior
    assert states["seal", 4][1:].sum() > 0.75 > 3 * states["seal", 3][1:].sum()
    known = weigh(KNOWLEDGE, replace(case, numbering="by_cylinder"))
    assert component_states(known.network, known.posterior)["seal", 3][1:].sum() > states["seal", 3][1:].sum()
    fits = weigh(KNOWLEDGE, case_of(f"engine: ostrel_4\n{HEAD}{CORRECTIONS.replace('{4: present}', '{3: present}')}"))
    assert component_states(fits.network, fits.posterior)[KEY][0] > 1 - prior


def test_the_agreement_is_judged_by_the_likeliest_numbering() -> None:
    """What the numbering explains is no contradiction."""
    found = weigh(KNOWLEDGE, case_of(f"engine: ostrel_4\n{HEAD}{CORRECTIONS}"))
    held = agreement(found.network, found.posterior, rarity=False)
    assert not held.contradicts
    keys = {doubt.key for doubt in held.doubts for each in doubt.opinions if each.question.item == "balance_code"}
    assert keys == {("delivery", 4)}


def sizes(network: CaseNetwork) -> tuple[int, int]:
    return len(network.layout.configurations), network.evidence.cases


@pytest.mark.parametrize("told", ["", "findings: {chuff: {2: present}}\n", "readings: {return_flow: {2: 90 mL/min}}\n"])
def test_where_nothing_depends_on_it_it_costs_nothing(told: str) -> None:
    text = f"engine: karrick_v8\n{HEAD}{told}"
    network = build(KNOWLEDGE, case_of(text))
    assert network.numbered is None
    assert sizes(network) == sizes(build(KNOWLEDGE, case_of(text + "numbering: confirmed\n")))


def test_pairs_that_nothing_tells_apart_are_one() -> None:
    """One code on a V8: of six pairs of neighbours two hold the cylinder; the others are one with 'nothing moved'."""
    network = build(KNOWLEDGE, case_of(f"engine: karrick_v8\n{HEAD}codes: [P0266]\n"))
    assert network.numbered is not None
    pairs = [each for each in network.numbered.numbers if each.state == 4]
    assert len(pairs) == 3
    assert sum(each.share for each in pairs) == pytest.approx(1.0, abs=1e-12)


def test_whoever_knows_the_numbering_moves_codes_and_columns() -> None:
    """Told by firing order: the same as each value written at its own cylinder."""
    text = f"engine: ostrel_4\n{HEAD}{CORRECTIONS}"
    told = weigh(KNOWLEDGE, case_of(text + "numbering: by firing order\n"))
    by_hand = weigh(KNOWLEDGE, at_their_cylinders(case_of(text), [1, 3, 4, 2]))
    ours, theirs = (component_states(each.network, each.posterior) for each in (told, by_hand))
    for key, chances in theirs.items():
        if key != KEY:
            np.testing.assert_allclose(ours[key], chances, atol=1e-9, err_msg=str(key))
    assert told.log_evidence == pytest.approx(by_hand.log_evidence, rel=1e-9)


def test_a_code_that_goes_with_work_elsewhere_is_no_contradiction() -> None:
    """The code of 3 was there and is gone after work on 4 alone: impossible by cylinder, so 3 is the number of 4. Where
    somebody knows better, it is refused by name."""
    text = (
        f"engine: ostrel_4\n{HEAD}findings: {{misfire_code: {{3: present}}}}\n"
        "tried: [{did: reseal, cylinder: 4, then: {findings: {misfire_code: {3: absent}}}}]\n"
    )
    found = weigh(KNOWLEDGE, case_of(text))
    states = component_states(found.network, found.posterior)[KEY]
    assert states[0] == 0.0
    assert states[1] > 0.5
    with pytest.raises(CaseError, match="nothing that was done between the two reaches it"):
        weigh(KNOWLEDGE, case_of(text + "numbering: confirmed\n"))


@pytest.mark.parametrize("name", CASES)
def test_parts_of_what_was_told_and_other_numbers(name: str) -> None:
    """All parts together are the whole; and the network rebuilt with the same numbers is the same."""
    network = build(KNOWLEDGE, case_of(f"engine: ostrel_4\n{HEAD}{CASES[name]}"))
    whole = infer(network.model, network.evidence)
    steps = told_steps(network)
    parts = part_posterior(network, steps, np.ones((1, len(steps)), dtype=np.bool_))
    again = rebuilt(network, KNOWLEDGE)
    redrawn = infer(again.model, again.evidence)
    for other in (parts, redrawn):
        np.testing.assert_allclose(other.configurations, whole.configurations, atol=1e-10)
        np.testing.assert_allclose(other.log_evidence, whole.log_evidence, rtol=1e-10)
