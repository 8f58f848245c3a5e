"""Why this advice: the money adds up, and what is said of each answer is what deciding again says."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from diag.casebook import demo_cases, load_case, with_answer
from diag.decision import Advice, advise, decide_repair, reckon
from diag.explain import AdviceReasons, explain_advice
from diag.knowledge_base import load_knowledge
from diag.network import Weighed, build, foreseen, weigh

WHOLE = load_knowledge()
SPOKEN = "low_compression"
ANEW = 5e-3  # of a total: the nodes of a shift that readings share are placed anew for the other case


@cache
def advised(name: str) -> tuple[Weighed, Advice, AdviceReasons]:
    case = load_case(demo_cases()[name], WHOLE)
    weighed = weigh(WHOLE, case)
    advice = advise(WHOLE, case, weighed.network, weighed.posterior)
    return weighed, advice, explain_advice(weighed, advice)


def test_the_parts_add_up_to_what_the_best_plan_is_ahead() -> None:
    found = advised(SPOKEN)[2]
    assert found.other is not None
    ahead = found.other.total.amount - found.best.total.amount
    assert sum(part.more.amount for part in found.parts) == pytest.approx(ahead, abs=1e-9)
    assert ahead >= 0


def test_no_answer_was_worth_less_than_nothing() -> None:
    """The best plan on everything known costs no more than a plan chosen on less (Raiffa 1968)."""
    weighed, _, found = advised(SPOKEN)
    assert [each.step for each in found.worth] == list(range(len(weighed.network.factors)))
    for each in found.worth:
        assert each.barred or (each.saved is not None and each.saved.amount >= -1e-9)
        assert each.turned or each.saved is None or each.saved.amount == 0.0


def test_an_answer_without_which_the_advice_turns_is_found_by_deciding_without_it() -> None:
    """The compression reading: without it, on the case written anew, another plan is best."""
    weighed, advice, found = advised(SPOKEN)
    turned = [each for each in found.worth if each.turned]
    assert turned, "this case holds an answer that decides the advice"
    case = weighed.network.case
    for one in turned:
        question = list(weighed.network.factors)[one.step]
        epoch = case.epochs[0]
        without = replace(
            epoch,
            answers=tuple(
                a for a in epoch.answers if weighed.network.question(a.item, a.place, a.condition) != question
            ),
            measured=tuple(m for m in epoch.measured if (m.item, m.place) != (question.item, question.place)),
        )
        less = replace(case, epochs=(without,))
        again = decide_repair(reckon(WHOLE, less, build(WHOLE, less)))
        assert set(again.best.jobs) == set(one.plan.jobs) != set(advice.repair.best.jobs)
        assert again.best.total.amount == pytest.approx(one.total_then.amount, rel=ANEW)


def test_an_answer_said_to_turn_the_advice_turns_it_when_it_is_told() -> None:
    weighed, advice, found = advised(SPOKEN)
    case, tried = weighed.network.case, 0
    for each in found.turning:
        if each.item not in WHOLE.findings:
            continue
        told = with_answer(case, WHOLE, each.item, each.place, each.outcomes[0], each.condition)
        best = decide_repair(reckon(WHOLE, told, build(WHOLE, told))).best
        assert set(best.jobs) == set(each.plan.jobs) != set(advice.repair.best.jobs)
        assert best.total.amount == pytest.approx(each.plan.total.amount, rel=ANEW)
        assert each.saved is None or each.saved.amount > 0
        tried += 1
    assert tried


def test_chances_of_answers_to_come_add_up_and_are_those_of_the_network() -> None:
    weighed = advised(SPOKEN)[0]
    answers = foreseen(weighed.network, "washer_burnt", 1)
    assert sum(each.chance for each in answers) == pytest.approx(1.0, abs=1e-12)
    assert foreseen(weighed.network, "washer_burnt", 1, least=1.1) == ()


def test_what_turns_the_advice_stands_in_the_order_of_what_it_is_worth() -> None:
    found = advised(SPOKEN)[2]
    worth = [each.chance * (each.saved.amount if each.saved else float("inf")) for each in found.turning]
    assert worth == sorted(worth, reverse=True)
    assert len({(each.item, each.place, each.condition, each.plan.jobs) for each in found.turning}) == len(worth)
