"""A check is worth what deciding again after each of its answers saves, on the shipped engines.

The definition itself (Raiffa 1968): the case is told each joint answer, weighed and decided anew, and the totals are
averaged by how likely each answer was. What a ranking leaves out may only make a check look worth less.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from diag.basics import Place
from diag.casebook import Answer, Case
from diag.decision import decide_repair, rank_checks, reckon
from diag.inference import infer
from diag.network import Weighed, weigh
from diag.network.marginals import multiplied
from tests.sense.asking import case_of, knowledge, told

Asked = Sequence[tuple[str, Place, str | None]]


def with_answers(case: Case, asked: Asked, answers: Sequence[str]) -> Case:
    """The case told these answers too."""
    last = case.epochs[-1]
    said = [Answer(item, place, answer, under) for (item, place, under), answer in zip(asked, answers, strict=True)]
    return replace(case, epochs=(*case.epochs[:-1], replace(last, answers=(*last.answers, *said))))


def least_total(case: Case, weighed: Weighed) -> float:
    """Expected total of the best plan."""
    return decide_repair(reckon(knowledge(), case, weighed.network, weighed.posterior)).best.total.amount


def saved_by_asking(case: Case, asked: Asked) -> float:
    """Expected total of the best plan now, less that after each joint answer."""
    now = weigh(knowledge(), case)
    after = 0.0
    for answers in product(("present", "absent"), repeat=len(asked)):
        told_more = with_answers(case, asked, answers)
        weighed = weigh(knowledge(), told_more)
        after += math.exp(weighed.log_evidence - now.log_evidence) * least_total(told_more, weighed)
    return least_total(case, now) - after


SILENT = told(findings="bank_silent: {A: present}, misfire_felt: present", distance="120000 km", age="10 years")
LINKED = [
    ("karrick_v6", "ask_about_running", SILENT),
    ("ostrel_3", "ask_about_running", SILENT),
    ("ostrel_4", "ask_about_starting", told(findings="rough_cold: present")),
    ("velm_5", "ask_about_starting", told(findings="rough_cold: present, white_smoke under cold: present")),
]
LINKED_ITEMS = {
    "ask_about_running": ("rough_idle", "vibration_without_misfire"),
    "ask_about_starting": ("hard_start", "no_start"),
}


@pytest.mark.parametrize(("engine", "check", "text"), LINKED[:2])
def test_answers_that_speak_of_the_same_are_not_counted_as_two_facts(engine: str, check: str, text: str) -> None:
    """Whether it shakes, and whether it shakes without limping, are seen of one shaking.
    Given how rough it runs these hang together, and asking both is worth no more than deciding after both saves."""
    case = case_of(engine, text)
    weighed = weigh(knowledge(), case)
    ready = reckon(knowledge(), case, weighed.network, weighed.posterior)
    ranking = rank_checks(ready, decide_repair(ready), share=1.0, ahead=False)
    ranked = next(each for each in ranking.checks if each.check == check)
    under = {each.item: each.under for each in knowledge().checks[check].yields}
    open_items = [(item, place, under[item]) for item, place in ranked.items]
    assert ranked.error == 0.0 and len(open_items) > 1
    saved = saved_by_asking(case, open_items)
    assert ranked.worth.amount <= saved + 1e-6 * (1.0 + saved)


@pytest.mark.parametrize(("engine", "check", "text"), LINKED)
def test_joint_answers_are_as_likely_as_they_are_told(engine: str, check: str, text: str) -> None:
    """The chance of each joint answer about linked severities, foretold, is that of the case with both told."""
    case = case_of(engine, text)
    weighed = weigh(knowledge(), case)
    asked = [(item, None, None) for item in LINKED_ITEMS[check]]
    outlook = weighed.network.outcomes_together(asked)
    assert outlook is not None
    foretold = infer(weighed.network.model, multiplied(weighed.network.evidence, outlook.evidence)).log_evidence
    for name, chance in zip(outlook.names, np.exp(foretold - weighed.posterior.log_evidence), strict=True):
        more = weigh(knowledge(), with_answers(case, asked, name.split("; ")))
        assert chance == pytest.approx(math.exp(more.log_evidence - weighed.log_evidence), rel=1e-9), name


MISMATCH = "rough_idle: present, code_mismatch: {2: present}"
FITTED = "{did: [replace_injector, write_code], cylinder: 2, ago: 2 months}"
BESIDE = [
    (
        "ostrel_4",
        "listen_at_cylinder",
        2,
        told(findings=MISMATCH, history=FITTED, distance="120000 km", age="17 years"),
    ),
    (
        "ostrel_3",
        "listen_at_cylinder",
        2,
        told(findings=MISMATCH, history=FITTED, distance="120000 km", age="14 years"),
    ),
]


@pytest.mark.parametrize(("engine", "check", "place", "text"), BESIDE)
def test_a_check_that_asks_for_more_work_at_the_same_cylinder_is_worth_that(
    engine: str, check: str, place: int, text: str
) -> None:
    """The code of a new injector is wrong, so it is written anyway; where its new seal blows as well, that is renewed
    beside. Listening there saves what deciding again saves, not nothing because two works would then be best."""
    case = case_of(engine, text)
    weighed = weigh(knowledge(), case)
    ready = reckon(knowledge(), case, weighed.network, weighed.posterior)
    decision = decide_repair(ready)
    assert {(job.repair, job.place) for job in decision.best.jobs} == {("write_code", place)}
    ranking = rank_checks(ready, decision, share=1.0, ahead=False)
    ranked = next(each for each in ranking.checks if (each.check, each.place) == (check, place))
    saved = saved_by_asking(case, [(item, where, None) for item, where in ranked.items])
    assert saved > ranked.cost.amount
    assert ranked.worth.amount == pytest.approx(saved, rel=1e-4)


DEAD = told(
    findings="rough_idle: present, misfire_felt: present, weak_cutout: {1: present}",
    readings="injector_resistance: {1: 1 x limit injector_resistance}",
    codes="P0201",
)


@pytest.mark.parametrize("engine", ["ostrel_3", "velm_5"])
def test_a_check_of_what_a_bank_shares_may_lead_to_mending_that(engine: str) -> None:
    """One cylinder is dead and its wiring the likeliest; where the common feed is found missing the loom of the bank is
    mended instead. A repair of what cylinders share is thought of after an answer, like any other."""
    case = case_of(engine, DEAD)
    weighed = weigh(knowledge(), case)
    ready = reckon(knowledge(), case, weighed.network, weighed.posterior)
    decision = decide_repair(ready)
    assert "mend_bank_circuit" not in {job.repair for job in decision.best.jobs}
    ranking = rank_checks(ready, decision, share=1.0, ahead=False)
    ranked = next(each for each in ranking.checks if each.check == "bank_feed")
    opened = replace(case, open_access=ranked.opens)  # a worth is that with what the check opens open
    saved = saved_by_asking(opened, [(item, where, None) for item, where in ranked.items])
    assert ranked.worth.amount == pytest.approx(saved, rel=0.02)
