"""What answers and readings say over the epochs of a case: persistence, contradictions, outcomes still to come."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm, multivariate_normal, norm, t

from diag.basics import CaseError, ImpossibleEvidence, Place
from diag.casebook import Answer, Case, Epoch, Measured, Work
from diag.evidence import Share, Spread, Taken, mixed
from diag.inference import Array
from diag.knowledge_base import load_knowledge
from diag.network import (
    build,
    component_states,
    finding_chances,
    vehicle_severity_chances,
    weigh,
)
from diag.network.persisting import reading_pattern
from tests.network.tiny import case_of, engine, tiny_knowledge

KNOWLEDGE = tiny_knowledge()
WHOLE = load_knowledge()
ROUGH, START = Answer("rough_idle", None, "present"), Answer("hard_start", None, "present")
CHUFF, TAR = Answer("chuff", 1, "present"), Answer("tar", 1, "present")


def states(case: Case) -> dict[tuple[str, Place], Array]:
    """Posterior of every component as it stands."""
    weighed = weigh(KNOWLEDGE, case)
    return component_states(weighed.network, weighed.posterior)


def test_an_unchanged_symptom_seen_again_changes_nothing() -> None:
    """After work that reaches nothing of it, the same answers are the same facts: equal to the last digit."""
    told = [ROUGH, CHUFF, Answer("hard_start", None, "absent"), Answer("chuff", 1, "a_bit", "load")]
    once = case_of(engine(2), ([], told))
    again = case_of(engine(2), ([], told), ([], told), ([], told))
    first, second = states(once), states(again)
    for key, chances in first.items():
        np.testing.assert_array_equal(chances, second[key])


def test_a_symptom_seen_again_after_work_elsewhere_changes_nothing() -> None:
    """A new pump cannot reach the seal: chuffing that stays says nothing more of any cylinder."""
    once = case_of(engine(2), ([], [CHUFF, TAR]))
    again = case_of(engine(2), ([], [CHUFF, TAR]), ([Work("new_pump")], [CHUFF, TAR]))
    for key, chances in states(once).items():
        if key[0] != "pump":
            np.testing.assert_allclose(states(again)[key], chances, atol=1e-15)


def test_a_repair_that_did_not_help_moves_belief() -> None:
    """The injector was renewed and it runs as rough as before: all that was not renewed gains."""
    before = states(case_of(engine(2), ([], [ROUGH])))
    after = states(case_of(engine(2), ([], [ROUGH]), ([Work("new_injector", 1)], [ROUGH])))
    helped = states(case_of(engine(2), ([], [ROUGH]), ([Work("new_injector", 1)], [replace(ROUGH, answer="absent")])))
    for key in (("injector", 2), ("pump", None), ("loom", "A")):
        assert after[key][0] < before[key][0] - 0.01
        assert helped[key][0] > before[key][0] + 0.01


def test_contradictory_answers_about_one_situation_are_refused_by_name() -> None:
    """Nothing between the two epochs reaches the finding: both answers are named, and when they were told."""
    gone = case_of(engine(2), ([], [CHUFF]), ([Work("new_pump")], [replace(CHUFF, answer="absent")]))
    with pytest.raises(CaseError, match="present at first and absent after 'renew pump'; nothing that was done"):
        build(KNOWLEDGE, gone)
    twice = case_of(engine(2), ([], [CHUFF, replace(CHUFF, answer="absent")]))
    with pytest.raises(CaseError, match="present at first and absent at first; answer it once"):
        build(KNOWLEDGE, twice)
    build(KNOWLEDGE, case_of(engine(2), ([], [CHUFF]), ([Work("reseal", 1)], [replace(CHUFF, answer="absent")])))


@pytest.mark.parametrize(
    ("answer", "message"),
    [
        (Answer("chuffing", 1, "present"), "there is no finding or reading 'chuffing'; did you mean 'chuff'"),
        (Answer("chuff", 9, "present"), "'chuff' was told of '9'; it belongs to a cylinder of the engine"),
        (Answer("chuff", None, "present"), "'chuff' was told of no place; it belongs to a cylinder"),
        (Answer("rough_idle", 1, "present"), "'rough_idle' was told of '1'; it belongs to the vehicle"),
    ],
)
def test_what_the_engine_or_the_knowledge_does_not_have_is_refused(answer: Answer, message: str) -> None:
    """One clear sentence each."""
    with pytest.raises(CaseError, match=message):
        build(KNOWLEDGE, case_of(engine(2), ([], [answer])))


def test_impossible_evidence_names_what_contradicts() -> None:
    """A finding that only a worn pump gives, and one that only a sound pump gives."""
    findings = {
        name: {**dict(KNOWLEDGE.findings["pump_noise"]), "chance": chance}
        for name, chance in (("howls", {"worn": 0.9}), ("proven", {"sound": 0.9}))
    }
    findings["howls"]["name"], findings["proven"]["name"] = "howling pump", "pump proven sound"
    knowledge = tiny_knowledge(findings={**KNOWLEDGE.findings, **findings})
    case = case_of(engine(2), ([], [Answer("howls", None, "present"), Answer("proven", None, "present"), ROUGH]))
    with pytest.raises(ImpossibleEvidence) as error:
        weigh(knowledge, case)
    assert error.value.findings == ("howling pump", "pump proven sound")


# ---- readings over versions ----------------------------------------------------------------------------------------


def measured(value: float, censored: str = "") -> Measured:
    """A reading of one number or bound."""
    return Measured("x", None, value, "bar", censored)  # type: ignore[arg-type]


def as_taken(told: list[list[Measured]], error: float) -> list[list[Taken]]:
    """Readings of an instrument with one error."""
    return [[Taken(each.value, each.censored, error) for each in version] for version in told]


BATCHES = mixed([Share(0.6, Spread("normal", 0.0, 0.5)), Share(0.4, Spread("log-normal", 2.0, 0.3))])
LAWS = {
    "normal": (Spread("normal", 0.0, 1.0), Spread("normal", 2.0, 1.5)),
    "log-normal": (Spread("log-normal", 1.0, 0.5), Spread("log-normal", 3.0, 0.3)),
    "student t": (Spread("student t", 0.0, 1.0, 4.0), Spread("student t", 3.0, 1.5, 6.0)),
    "mixed": (Spread("normal", 0.0, 1.0), Spread("student t", 3.0, 1.5, 6.0)),
    "two batches": (BATCHES, Spread("normal", 2.0, 1.5)),
    "outliers": (BATCHES, mixed([Share(0.9, Spread("normal", 3.0, 0.4)), Share(0.1, Spread("student t", 6.0, 1.0))])),
}


def density(law: Spread, x: float) -> float:
    """By scipy: density of true values; of a mixture weighted."""
    if law.shares:
        return sum(share.weight * density(share.law, x) for share in law.shares)
    if law.shape == "student t":
        return float(t.pdf(x, law.freedom, law.middle, law.width))
    if law.shape == "log-normal":
        return float(lognorm.pdf(x, law.width, scale=law.middle))
    return float(norm.pdf(x, law.middle, law.width))


@pytest.mark.parametrize("shape", LAWS)
def test_readings_of_two_versions_share_a_true_value_where_the_level_stays(shape: str) -> None:
    """Against scipy's adaptive quadrature over the true value; where the level changes, it is another one."""
    told = ([measured(1.2), measured(1.4)], [measured(2.0, "above")])
    found = np.exp(reading_pattern(LAWS[shape], as_taken(told, 0.4)))

    def first(x: float) -> float:
        return float(norm.pdf(1.2, x, 0.4) * norm.pdf(1.4, x, 0.4))

    def second(x: float) -> float:
        return float(norm.sf(2.0, x, 0.4))

    def over(law: Spread, seen: Callable[[float], float]) -> float:
        pieces = pairwise((-np.inf, -8, -1, 0, 0.5, 1, 1.3, 2, 3, 8, np.inf))
        return sum(quad(lambda x: density(law, x) * seen(x), a, b, limit=400, epsabs=1e-14)[0] for a, b in pieces)

    for one, two in product(range(2), repeat=2):
        before, after = LAWS[shape][one], LAWS[shape][two]
        expected = (
            over(before, lambda x: first(x) * second(x)) if one == two else over(before, first) * over(after, second)
        )
        assert found[one, two] == pytest.approx(expected, rel=1e-6, abs=1e-11)


def test_readings_of_three_versions_at_two_levels() -> None:
    """Normal laws in closed form: what lies at one level is jointly normal, with the spread in common."""
    low, high, error = LAWS["normal"][0], LAWS["normal"][1], 0.4
    found = reading_pattern((low, high), as_taken([[measured(0.3)], [measured(2.4)], [measured(0.5)]], error))
    both = np.full((2, 2), low.width**2) + error**2 * np.eye(2)
    expected = multivariate_normal.logpdf([0.3, 0.5], [low.middle] * 2, both)
    expected += norm.logpdf(2.4, high.middle, np.hypot(high.width, error))
    assert found[0, 1, 0] == pytest.approx(expected, abs=1e-9)


def test_a_number_read_again_after_useless_work_says_hardly_more() -> None:
    """With a good instrument the second, equal reading leaves the belief where the first had put it."""
    laws = LAWS["normal"]
    for value in (-1.0, 0.5, 1.5, 3.0):
        once = np.exp(reading_pattern(laws, as_taken([[measured(value)]], 0.001)))
        twice = np.exp(reading_pattern(laws, as_taken([[measured(value)], [measured(value)]], 0.001)))
        same_level = np.diag(twice) / np.diag(twice).sum()
        np.testing.assert_allclose(same_level, once / once.sum(), atol=1e-4)


# ---- what is still to come -----------------------------------------------------------------------------------------

OPEN = [("chuff", 1, None), ("tar", 1, None), ("tar", 2, None), ("rough_idle", None, "cold"), ("loom_code", "A", None),
        ("slow_rail", None, None), ("pump_noise", None, None), ("hard_start", None, None)]  # fmt: skip
TRIED = case_of(
    engine(2), ([], [ROUGH, CHUFF, TAR, START, Answer("loom_code", "A", "present")]),
    ([Work("new_injector", 1), Work("mend_loom", "A")], [ROUGH]),
)  # fmt: skip


@pytest.mark.parametrize(("item", "place", "condition"), OPEN)
def test_an_outcome_is_the_same_as_its_answer(item: str, place: int | str | None, condition: str | None) -> None:
    """The outlook's likelihood, multiplied in, gives what building the case with that answer gives."""
    network = build(KNOWLEDGE, TRIED)
    outlook = network.outcomes(item, place, condition)
    assert outlook is not None and outlook.names == ("present", "absent")
    chances = finding_chances(network, item, place, condition)
    assert chances is not None and sum(chances.values()) == pytest.approx(1.0)
    log_now = weigh(KNOWLEDGE, TRIED).log_evidence
    for name, chance in chances.items():
        last = TRIED.epochs[-1]
        told = replace(last, answers=(*last.answers, Answer(item, place, name, condition)))
        with_answer = replace(TRIED, epochs=(*TRIED.epochs[:-1], told))
        if not chance:  # what was only disturbed cannot fall silent
            with pytest.raises(ImpossibleEvidence):
                weigh(KNOWLEDGE, with_answer)
            continue
        assert chance == pytest.approx(np.exp(weigh(KNOWLEDGE, with_answer).log_evidence - log_now), rel=1e-9)


@pytest.mark.parametrize(("item", "place", "condition"), [*OPEN, ("correction", 1, None), ("correction", 2, None)])
def test_outcomes_sum_to_one_wherever_the_case_is_possible(
    item: str, place: int | str | None, condition: str | None
) -> None:
    """In every cell of the one likelihood that an outlook holds."""
    last = TRIED.epochs[-1]
    first = replace(TRIED.epochs[0], measured=(Measured("correction", 1, 2.0, "mg/stroke"),))
    outlook = build(KNOWLEDGE, replace(TRIED, epochs=(first, last))).outcomes(item, place, condition)
    assert outlook is not None
    added = outlook.evidence
    likelihoods = [*added.components.values(), *(a[2] for a in added.axes), *(s[1] for s in added.shared)]
    assert len(likelihoods) == 1
    total = likelihoods[0].sum(axis=0)
    np.testing.assert_allclose(total[total > 0], 1.0, rtol=1e-12)
    assert (total > 0).any()


def test_what_was_answered_now_has_no_outcomes_any_more() -> None:
    """Be it 'not sure'; what was answered before the work that reaches it, has."""
    network = build(KNOWLEDGE, case_of(engine(2), ([], [ROUGH, replace(CHUFF, answer="not_sure")])))
    assert network.outcomes("rough_idle", None, None) is None
    assert network.outcomes("chuff", 1, None) is None
    assert network.outcomes("chuff", 1, "cold") is None  # not told apart from 'at any time' for this finding
    assert network.outcomes("chuff", 1, "load") is not None


def test_levels_of_the_vehicle_sum_to_one() -> None:
    """Over the levels of each severity, and soft and contradictory evidence included."""
    totals: dict[str, float] = {}
    for chance in vehicle_severity_chances(build(KNOWLEDGE, TRIED)):
        totals[chance.severity] = totals.get(chance.severity, 0.0) + chance.probability
    assert totals == pytest.approx(dict.fromkeys(("rail", "start", "rough"), 1.0))


def test_combinations_have_names() -> None:
    """The most probable joint states by component and place, those that were mended apart."""
    weighed = weigh(KNOWLEDGE, TRIED, combinations=5)
    assert len(weighed.combinations) == 5
    best = [combination.probability for combination in weighed.combinations]
    assert best == sorted(best, reverse=True)
    names = {key for combination in weighed.combinations for key, _ in combination.faults}
    names |= {each.key for combination in weighed.combinations for each in combination.mended}
    assert names <= set(weighed.network.layout.versions)
    assert any(combination.mended for combination in weighed.combinations)


def test_the_shipped_knowledge_tells_a_repaired_seal_from_the_others() -> None:
    """Chuffing and tar on 2, resealed, quiet since: the seal of 2 is sound again."""
    first = Epoch((), (Answer("chuff", 2, "present"), Answer("tar", 2, "present")))
    then = Epoch((Work("reseal", 2),), (Answer("chuff", 2, "absent"),))
    case = Case("a test", WHOLE.engines["ostrel_3"], "ostrel_3", 187_000.0, 11.0, (), (first, then))
    weighed = weigh(WHOLE, case)
    before = weigh(WHOLE, replace(case, epochs=(first,)))
    now = component_states(weighed.network, weighed.posterior)
    assert now["seal", 2][0] > component_states(before.network, before.posterior)["seal", 2][0] + 0.4
