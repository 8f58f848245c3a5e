"""Looking ahead: against the exact optimum of small cases, and pairs of checks against the sum over all answers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from msgspec import structs

from diag.basics import Place
from diag.casebook import demo_cases, load_case
from diag.decision import advise, advise_on, check_cost, decide_repair, rank_checks, reckon
from diag.decision.appraisal import Question
from diag.decision.checks import _cost_after, _prospects, in_order
from diag.knowledge_base import load_knowledge
from diag.network import weigh
from tests.decision.small_cases import ACCESS, CHECKS, Followed, SmallCase, outcomes, small_case
from tests.decision.tiny import network_of
from tests.support.effort import LONG

MODELS = 30 if LONG else 6


@pytest.mark.parametrize("number", range(MODELS))
def test_advice_followed_to_the_end_is_within_two_per_cent_of_the_exact_optimum(number: int) -> None:
    """Backward induction over all that can be told gives the least that any policy can cost."""
    small = small_case(number)
    optimum = small.value()
    followed = Followed(small, ahead=True).value()
    assert optimum <= followed * (1 + 1e-9)
    assert followed <= 1.02 * optimum


def two_steps(small: SmallCase, first: tuple[str, Place], second: tuple[str, Place]) -> float:
    """What the first check saves with the second after it where that pays, by the sum over worlds and answers."""
    nothing: frozenset[tuple[str, Place, bool]] = frozenset()
    opened = frozenset((kind, "A") for kind in ACCESS[first[0]])
    both = opened | {(kind, "A") for kind in ACCESS[second[0]]}
    total = small.check_cost(first[0], frozenset())
    for answers in outcomes(CHECKS[first]):
        here = float(small.chance @ small.weight(answers))
        go = small.check_cost(second[0], opened) * here
        go += sum(small.stop(answers | more, both) for more in outcomes(CHECKS[second]))
        total += min(small.stop(answers, opened), go)
    return small.stop(nothing, frozenset()) - total


@pytest.mark.parametrize("number", range(6))
def test_a_pair_is_worth_what_the_sum_over_all_answers_says(number: int) -> None:
    """The value of two checks never exceeds the sum over worlds and answers with all plans, and reaches it where the
    pool holds the plans that count."""
    small = small_case(number)
    known, case = small.slow.knowledge, small.slow.case
    ready = reckon(known, case, small.slow.network)
    ranking = rank_checks(ready, decide_repair(ready), share=1.0)
    looked_at = 0
    for check in ranking.checks:
        if check.follow is None:
            continue
        looked_at += 1
        exact = two_steps(small, (check.check, check.place), check.follow)
        assert check.ahead.amount <= exact + 1e-6
        assert check.ahead.amount > check.net.amount
    assert ranking.checks[0].ahead.amount == pytest.approx(max(check.ahead.amount for check in ranking.checks))
    assert looked_at or ranking.stop


def test_a_pair_that_is_useful_only_together_is_found() -> None:
    """On the demo case of a second seal that may weep a look into the wells is not worth its cost, but it is with the
    gas tester after it; and no single check is worth as much."""
    knowledge = load_knowledge()
    case = load_case(demo_cases()["second_seal_weeping"], knowledge)
    weighed = weigh(knowledge, case)
    alone = advise(knowledge, case, weighed.network, weighed.posterior, ahead=False)
    ahead = advise(knowledge, case, weighed.network, weighed.posterior)
    assert ahead.check is not None
    assert alone.check is None or alone.check.net.amount < ahead.check.ahead.amount
    assert ahead.check.net.amount <= 0 < ahead.check.ahead.amount
    assert ahead.check.follow is not None


@pytest.mark.parametrize("more", ["cannot", "open"])
def test_what_cannot_be_done_here_is_in_no_pair(more: str) -> None:
    """A check told impossible stands in no pair and no batch; with the covers off, what is behind them is cheaper."""
    small = small_case(0)
    known, case = small.slow.knowledge, small.slow.case
    first = rank_checks(ready := reckon(known, case, small.slow.network), decide_repair(ready)).checks[0]
    if more == "cannot":
        without = replace(case, cannot=(first.check,))
        again = reckon(known, without, network_of(known, without))
        ranking = rank_checks(again, decide_repair(again))
        named = {each.check for each in ranking.checks}
        named |= {each.follow[0] for each in ranking.checks if each.follow is not None}
        named |= {check for each in ranking.checks for check, _ in each.along}
        assert first.check not in named
    else:
        opened = replace(case, open_access=(("bare", "A"),))
        again = reckon(known, opened, network_of(known, opened))
        probes = [each for each in rank_checks(again, decide_repair(again)).checks if each.check == "probe"]
        assert all(each.opens == () for each in probes)
        assert all(each.amounts["access"].amount == 0 for each in probes)


@pytest.mark.parametrize("name", ["all_returns_high", "vibration_not_the_engine", "second_seal_weeping"])
def test_where_only_the_first_check_is_asked_for_it_is_the_same(name: str) -> None:
    """What the bounds leave out changes neither the check to do first nor the repair."""
    known = load_knowledge()
    weighed = weigh(known, case := load_case(demo_cases()[name], known))
    ready = reckon(known, case, weighed.network, weighed.posterior)
    whole, first = advise_on(ready), advise_on(ready, best_alone=True)
    assert first.repair.best.jobs == whole.repair.best.jobs
    assert (first.check is None) == (whole.check is None)
    if first.check is not None and whole.check is not None:
        assert (first.check.check, first.check.place) == (whole.check.check, whole.check.place)
        assert first.check.ahead.amount == pytest.approx(whole.check.ahead.amount, rel=1e-9)


@pytest.mark.parametrize("name", ["one_blown_seal", "excess_return_behind_hard_start"])
def test_a_second_check_costs_what_it_costs_with_what_the_first_opened(name: str) -> None:
    """Of every pair, though most are not reckoned again: what the first opens matters to what needs it, and to what
    wants the engine to run."""
    known = load_knowledge()
    ready = reckon(known, case := load_case(demo_cases()[name], known), weigh(known, case).network)
    prospects, _ = _prospects(ready)
    costs = [check_cost(ready, each.check, each.place) for each in prospects]
    questions = [Question(each, frozenset(cost.opens), cost.total) for each, cost in zip(prospects, costs, strict=True)]
    after, changed = _cost_after(ready, questions, costs), 0
    for first, opening in enumerate(questions):
        for second, each in enumerate(questions):
            wanted = check_cost(ready, each.prospect.check, each.prospect.place, opening.opened).total
            assert after(first, second) == pytest.approx(wanted, abs=1e-9)
            changed += bool(wanted != each.cost)
    assert changed > 0


def test_checks_of_cylinders_that_are_alike_stand_in_the_order_of_the_cylinders() -> None:
    """Rounding decides no order: of the V8 with a silent bank, the cylinders of each bank have the same findings."""
    known = load_knowledge()
    ready = reckon(known, case := load_case(demo_cases()["whole_bank_silent"], known), weigh(known, case).network)
    ranking = rank_checks(ready, decide_repair(ready))
    ties = 0
    for one, two in zip(ranking.checks, ranking.checks[1:], strict=False):
        alike = one.check == two.check and isinstance(one.place, int) and isinstance(two.place, int)
        if alike and one.ahead.amount == pytest.approx(two.ahead.amount, abs=1e-9) and one.net == two.net:
            ties += 1
            assert one.place < two.place
    assert ties > 10


def test_a_check_is_not_put_first_for_what_another_is_worth_alone() -> None:
    """What needs the best check after it to be worth much stands behind what is worth more by itself; a pair that is
    worth more than any check alone comes first."""
    knowledge = load_knowledge()
    case = load_case(demo_cases()["all_returns_high"], knowledge)
    ready = reckon(knowledge, case, weigh(knowledge, case).network)
    by_net = sorted(rank_checks(ready, decide_repair(ready)).checks, key=lambda each: -each.net.amount)
    best, second, last = by_net[0], by_net[1], by_net[-1]
    amounts = [structs.replace(best.net, amount=best.net.amount + more) for more in (-1, 1)]
    late, early = (structs.replace(last, safety=False, ahead=amount) for amount in amounts)
    assert in_order([late, second, best]) == (best, second, late)
    assert in_order([second, early, best]) == (early, best, second)
