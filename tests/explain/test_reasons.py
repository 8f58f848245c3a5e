"""Why a fault: weights against the engine's own posteriors and pgmpy's, contrasts, and what the trade would say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from diag.basics import ImpossibleEvidence, Place, UsageError
from diag.casebook import Answer, Case, Measured, demo_cases, load_case
from diag.explain import Fault, beliefs, explain, fault_from_words, leading_fault
from diag.knowledge_base import load_knowledge
from diag.network import (
    ToldStep,
    Weighed,
    component_states,
    node_name,
    reference_arrays,
    reference_evidence,
    supposing,
    weigh,
)
from tests.network.reduced import ancestors, pgmpy_marginals
from tests.network.test_general_engines import PARTS, cases
from tests.sense.asking import ALL, SOME, ask, told
from tests.support.effort import effort

WHOLE = load_knowledge()
DEMOS = ("findings_that_contradict", "resealed_and_back_again")  # without readings that share a shift


def weighed_demo(name: str) -> Weighed:
    return weigh(WHOLE, load_case(demo_cases()[name], WHOLE))


def told_only(case: Case, steps: tuple[ToldStep, ...]) -> Case:
    """The case with these steps told and nothing else: answers kept one by one, by what a step says and where."""
    kept: list[list[Answer | Measured]] = [[] for _ in case.epochs]
    for step in steps:
        for number, epoch in enumerate(case.epochs):
            both: list[Answer | Measured] = [*epoch.answers, *epoch.measured]
            kept[number] += [each for each in both if each in step.what and number in step.epochs]
    return replace(
        case,
        epochs=tuple(
            replace(
                epoch,
                answers=tuple(each for each in epoch.answers if each in some),
                measured=tuple(each for each in epoch.measured if each in some),
            )
            for epoch, some in zip(case.epochs, kept, strict=True)
        ),
    )


def log_odds(weighed: Weighed, fault: Fault) -> float:
    """Log-odds in decibans from the engine's ordinary posterior."""
    states = component_states(weighed.network, weighed.posterior)[fault.key]
    named = list(weighed.network.knowledge.components[fault.component].states)
    meant = np.array([state in fault.states for state in named])
    return float(10 * np.log10(states[meant].sum() / states[~meant].sum()))


def agrees(weighed: Weighed, fault: Fault) -> None:
    """Every beginning and every removal against the case written anew with only that told, to 1e-9 of log-odds."""
    found = explain(weighed, fault)
    tolerance = 1e-9 * 10 / np.log(10)
    for number in range(len(found.steps) + 1):
        part = weigh(weighed.network.knowledge, told_only(weighed.network.case, found.steps[:number]))
        assert found.weights.odds[number] == pytest.approx(log_odds(part, fault), abs=tolerance)
    for number, own in enumerate(found.weights.own):
        rest = (*found.steps[:number], *found.steps[number + 1 :])
        part = weigh(weighed.network.knowledge, told_only(weighed.network.case, rest))
        assert own == pytest.approx(log_odds(weighed, fault) - log_odds(part, fault), abs=tolerance)
    assert found.weights.prior + found.weights.told.sum() == pytest.approx(found.weights.posterior, abs=tolerance)


@pytest.mark.parametrize("name", [*DEMOS, "code_on_the_wrong_cylinder", "whole_bank_silent"])
@pytest.mark.parametrize("way", ["one by one", "each by itself"])
def test_parts_done_together_agree_with_those_done_apart(name: str, way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One part of what was told after the other, as a case with very many configurations is done; and every chance
    asked for as evidence of its own, as one too small for the digits is."""
    weighed = weighed_demo(name)
    whole = explain(weighed)
    if way == "one by one":
        monkeypatch.setattr(supposing, "AT_ONCE", 1)
    else:
        monkeypatch.setattr(beliefs, "PRECISION", 0.0)
    some = explain(weighed)
    for one, other in ((whole.weights, some.weights), (whole.contrast.weights, some.contrast.weights)):
        np.testing.assert_allclose(other.odds, one.odds, rtol=1e-10, atol=1e-9)
        np.testing.assert_allclose(other.own, one.own, rtol=1e-10, atol=1e-9)
    np.testing.assert_allclose(some.neighbours.weight, whole.neighbours.weight, atol=1e-8)
    np.testing.assert_allclose(some.course.chance, whole.course.chance, atol=1e-12)
    assert (some.contrast.rival, some.course.faults) == (whole.contrast.rival, whole.course.faults)


@pytest.mark.parametrize("name", DEMOS)
def test_weights_are_the_changes_of_the_engines_log_odds(name: str) -> None:
    """Repairs that were tried among them: what was told before one and after it are two findings."""
    weighed = weighed_demo(name)
    agrees(weighed, leading_fault(weighed))


@pytest.mark.parametrize("engine", ALL)
@effort(2)
@given(data=st.data())
def test_random_evidence_adds_up_to_the_engines_log_odds(engine: str, data: st.DataObject) -> None:
    case = data.draw(cases("whole", engine))
    try:
        weighed = weigh(WHOLE, case)
    except ImpossibleEvidence:
        assume(False)
    place = data.draw(st.sampled_from(case.engine.cylinders))
    agrees(weighed, data.draw(st.sampled_from([Fault("seal", place, ("blown",)), leading_fault(weighed)])))


@pytest.mark.parametrize("part", ["running", "gas"])
def test_weights_are_the_changes_of_pgmpys_log_odds(part: str) -> None:
    """A part of the shipped knowledge as an ordinary network, by pgmpy's variable elimination."""
    knowledge = PARTS[part]
    text = (Answer("chuff", 2, "present"), Answer("tar", 2, "present"), Answer("chuff", 1, "absent"))
    case = Case("fixed", knowledge.engines["ostrel_3"], "ostrel_3", 187_000.0, 11.0)
    case = replace(case, epochs=(replace(case.epochs[0], answers=text),))
    fault = Fault("seal", 2, ("weeping", "blown"))
    found = explain(weigh(knowledge, case), fault)
    for number in range(len(found.steps) + 1):
        some = told_only(case, found.steps[:number])
        evidence = reference_evidence(knowledge, some)
        name = node_name(*fault.key)
        nodes = ancestors(reference_arrays(knowledge, some, evidence.leaves), {name, *evidence.hard, *evidence.virtual})
        sound, *unsound = pgmpy_marginals(nodes, evidence, [name])[name]
        assert found.weights.odds[number] == pytest.approx(10 * np.log10(sum(unsound) / sound), abs=5e-9)


@pytest.mark.parametrize("name", DEMOS)
def test_a_contrast_turned_round_only_changes_its_signs(name: str) -> None:
    weighed = weighed_demo(name)
    one = explain(weighed)
    other = explain(weighed, one.contrast.rival, one.fault)
    np.testing.assert_allclose(one.contrast.weights.told, -other.contrast.weights.told, atol=1e-8)
    np.testing.assert_allclose(one.contrast.weights.own, -other.contrast.weights.own, atol=1e-8)
    assert one.contrast.both == pytest.approx(other.contrast.both, abs=1e-9)
    assert one.contrast.only_fault + one.contrast.both == pytest.approx(one.now, abs=1e-9)


def test_two_states_of_one_component_are_told_apart() -> None:
    """Both at once cannot be, so the contrast is the ratio of their chances."""
    weighed = weighed_demo("one_blown_seal")
    found = explain(weighed, Fault("seal", 2, ("blown",)), Fault("seal", 2, ("weeping",))).contrast
    _, weeping, blown = component_states(weighed.network, weighed.posterior)["seal", 2]
    assert found.both == pytest.approx(0.0, abs=1e-12)
    assert found.weights.posterior == pytest.approx(10 * np.log10(blown / weeping), abs=1e-8)


def test_the_order_told_moves_weights_but_not_their_sum() -> None:
    """Exhaust smell told first speaks for the seal more than after the chuffing that explains it."""
    before = ask("ostrel_4", told(findings="fumes: present, chuff: {2: present}")).weighed
    after = ask("ostrel_4", told(findings="chuff: {2: present}, fumes: present")).weighed
    fault = Fault("seal", 2, ("weeping", "blown"))
    one, other = explain(before, fault).weights, explain(after, fault).weights
    assert one.told[0] > other.told[1] + 0.3
    assert one.told.sum() == pytest.approx(other.told.sum(), abs=1e-8)
    np.testing.assert_allclose(one.own, other.own[::-1], atol=1e-8)


def test_belief_before_and_after_each_finding_is_recorded() -> None:
    found = explain(weighed_demo("one_blown_seal"))
    at = found.course.faults.index(found.fault)
    expected = 1 / (1 + 10 ** (-found.weights.odds / 10))
    np.testing.assert_allclose(found.course.chance[:, at], expected, atol=1e-9)
    assert found.course.chance.shape == (len(found.steps) + 1, len(found.course.faults))


def test_without_findings_only_the_prior_stands() -> None:
    found = explain(ask("velm_5", told()).weighed)
    assert found.steps == ()
    assert found.before == found.now
    assert found.neighbours.weight.shape[0] == 0


def weight(engine: str, findings: str, fault: str, place: Place, of: int = 0) -> float:
    """What the finding number `of` has for a fault, in decibans, in the order told."""
    weighed = ask(engine, told(findings=findings)).weighed
    return float(explain(weighed, fault_from_words(weighed, fault, place)).weights.told[of])


@pytest.mark.parametrize("engine", SOME)
@pytest.mark.parametrize(
    ("findings", "fault", "place", "least", "most"),
    [
        ("tar: {2: present}", "seal", 2, 5.0, 40.0),
        ("tar: {2: present}", "mounts", None, -0.5, 0.5),
        ("chuff: {2: present}", "seal", 2, 5.0, 40.0),
        ("bubbles: {1: present}", "seal", 1, 5.0, 40.0),
        ("chuff: {2: absent}", "seal", 2, -20.0, -0.5),
        ("well_dry_and_clean: {3: present}", "seal", 3, -20.0, -0.5),
        ("fumes: present", "seal", 1, 1.0, 20.0),
    ],
)
def test_findings_speak_as_the_trade_says(
    engine: str, findings: str, fault: str, place: int | None, least: float, most: float
) -> None:
    """Carbon, chuffing and bubbles speak for that cylinder's seal, a dry well against it (common practice, no
    source); carbon at one injector says nothing of the mounts."""
    assert least <= weight(engine, findings, fault, place) <= most


@pytest.mark.parametrize("engine", ALL)
def test_dry_wells_speak_against_every_seal(engine: str) -> None:
    """Each seal by its own cylinder's well (common practice, no source)."""
    weighed = ask(engine, told(findings="well_dry_and_clean: <all: present>")).weighed
    neighbours = explain(weighed, fault_from_words(weighed, "seal 1")).neighbours
    own = [neighbours.weight[neighbours.sources.index(place), at] for at, place in enumerate(neighbours.targets)]
    assert max(own) < -0.5


@pytest.mark.parametrize("engine", ALL)
def test_chuffing_on_one_cylinder_explains_the_smell_away_from_the_others(engine: str) -> None:
    """With exhaust smell told of the vehicle, what speaks for seal 2 speaks against the other seals."""
    weighed = ask(engine, told(findings="fumes: present, chuff: {2: present}, tar: {2: present}")).weighed
    neighbours = explain(weighed, fault_from_words(weighed, "seal 2")).neighbours
    from_two = neighbours.weight[neighbours.sources.index(2)]
    for place, decibans in zip(neighbours.targets, from_two, strict=True):
        assert decibans > 5.0 if place == 2 else decibans < 0.0


def test_what_mostly_comes_together_with_a_fault_is_not_its_rival() -> None:
    """Two seals that weep at once are no alternatives."""
    found = explain(weighed_demo("second_seal_weeping"))
    assert found.fault.key == ("seal", 5)
    assert found.contrast.rival.component != "seal"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("sael 2", r"there is no fault 'sael'; did you mean 'seal'\?"),
        ("seal 9", "there is no cylinder 9 in this engine; it has cylinders 1 to 4"),
        ("seal:rotten 2", "'seal' has no unsound state 'rotten'; it can be weeping or blown"),
        ("mounts 2", "mounts of cylinder 2"),
        ("seal at cylinder 2", "does not name a fault; say it like 'seal 2'"),
    ],
)
def test_a_fault_that_cannot_be_is_told_with_what_would_be_right(words: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        fault_from_words(weighed_demo("one_blown_seal"), words)


def test_faults_are_read_from_words() -> None:
    weighed = weighed_demo("one_blown_seal")
    assert fault_from_words(weighed, "seal") == Fault("seal", 2, ("weeping", "blown"))
    assert fault_from_words(weighed, "seal:blown", "3") == Fault("seal", 3, ("blown",))
    assert fault_from_words(weighed, "mounts vehicle").place is None


def test_a_fault_and_a_part_of_it_are_nothing_to_tell_apart() -> None:
    weighed = weighed_demo("one_blown_seal")
    with pytest.raises(UsageError, match="one of the two faults contains the other"):
        explain(weighed, fault_from_words(weighed, "seal 2"), fault_from_words(weighed, "seal:blown 2"))
