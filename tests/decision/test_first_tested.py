"""Testing a part away from the vehicle and deciding by the result: the option against cases in which it was tested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib import import_module
from itertools import pairwise
from math import prod
from random import Random

import numpy as np
import pytest

from diag.basics import KnowledgeError
from diag.casebook import ABSENT, PRESENT, Answer, Case, load_case, read_case
from diag.decision import Reckoning, advise_on, first_tested, reckon, with_first_tested, with_test_as_option
from diag.decision.search import Found, Problem, best_plan, cost_in_parts
from diag.knowledge_base import Knowledge, load_knowledge, with_values
from diag.network import build
from tests.support.cases import MANY_SYMPTOMS, every_case

module = import_module("diag.decision.first_tested")  # the room's door has the function of that name
HEAD = "title: t\nengine: {engine}\ndistance: 190000 km\nage: 10 years\nfindings: {{{findings}}}\n"
DRIPPING = "hard_start: present, white_smoke: present, rough_idle: present, weak_cutout: {2: present}"
BLOWN = "chuff: {2: present}, tar: {2: present}, bubbles: {2: present}"
FREE = {
    ("prices", "parts", "bench_test_fee", "price"): 0.0,
    ("repairs", "bench_test", "minutes"): 30.0,
    ("prices", "customer", "day_without_vehicle"): 0.0,
}
STATES = ("dribbling", "restricted", "excess_return", "electrical", "stuck_open")


@cache
def knowledge() -> Knowledge:
    return load_knowledge()


def case_of(findings: str = DRIPPING, engine: str = "ostrel_3") -> Case:
    return read_case("t.yaml", knowledge(), HEAD.format(engine=engine, findings=findings))


def ready_of(case: Case, known: Knowledge | None = None) -> Reckoning:
    using = known or knowledge()
    return reckon(using, case, build(using, case))


def least_taking_out(ready: Reckoning, places: tuple[object, ...]) -> float:
    """Least cost over all plans that renew the seals at these places."""
    allowed = [
        tuple(n for n, each in enumerate(site.treatments) if each.renews_wear or site.place not in places)
        for site in ready.problem.sites
    ]
    return best_plan(ready.problem, allowed).total


@pytest.mark.parametrize("engine", ["ostrel_3", "velm_5"])
def test_its_total_is_the_mean_over_cases_in_which_the_result_was_told(engine: str) -> None:
    """Each result told as a finding of the case, weighed and decided from the start; the test itself costs nothing."""
    case, known = case_of(engine=engine), with_values(knowledge(), FREE)
    ready = ready_of(case, known)
    option = first_tested(ready)
    assert option is not None and len(option.jobs) == 1
    place, latest = option.jobs[0].place, case.epochs[-1]
    total, chance = 0.0, 0.0
    for said in (PRESENT, ABSENT):
        told = replace(latest, answers=(*latest.answers, Answer("bench_fails", place, said)))
        after = ready_of(replace(case, epochs=(told,)), known)
        mine = float(np.exp(after.posterior.log_evidence[0] - ready.posterior.log_evidence[0]))
        chance += mine
        total += mine * least_taking_out(after, (place,))
    assert chance == pytest.approx(1.0, abs=1e-9)
    assert option.total.amount == pytest.approx(total, abs=0.01)


@pytest.mark.parametrize("name", ["all_returns_high", MANY_SYMPTOMS])
def test_treatments_left_out_before_the_search_are_in_no_best_plan(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With all of them the same option comes out; of each result's plans many times as many are looked at."""
    ready = ready_of(load_case(every_case()[name], knowledge()))
    fewer, counts = first_tested(ready), []

    def counted(problem: Problem, allowed: Sequence[Sequence[int]]) -> Found:
        counts.append(prod(map(len, allowed)))
        return best_plan(problem, allowed)

    monkeypatch.setattr(module, "best_plan", counted)
    assert first_tested(ready) == fewer
    few, counts = sum(counts), []
    monkeypatch.setattr(module, "hopeful", lambda sites, some, *_: some)
    every = first_tested(ready)
    assert fewer is not None and every is not None and sum(counts) > 10 * few
    assert every.total.amount == pytest.approx(fewer.total.amount, abs=1e-6) and every.jobs == fewer.jobs


@pytest.mark.parametrize("findings", [DRIPPING, "rough_idle: present, weak_cutout: {1: present, 2: present}"])
def test_a_test_that_costs_nothing_is_never_dearer_than_taking_it_out_untested(findings: str) -> None:
    """Howard (1966): with free information the mean of the least is no more than the least of the mean."""
    ready = ready_of(case_of(findings), with_values(knowledge(), FREE))
    option = first_tested(ready)
    assert option is not None
    places = tuple(job.place for job in option.jobs)
    assert option.total.amount <= least_taking_out(ready, places) + 1e-6


def test_a_free_test_that_tells_nothing_is_as_dear_as_taking_it_out_untested() -> None:
    blind = {("findings", "bench_fails", "chance", state): 0.5 for state in ("sound", *STATES)}
    ready = ready_of(case_of(), with_values(knowledge(), {**FREE, **blind}))
    option = first_tested(ready)
    assert option is not None
    assert option.total.amount == pytest.approx(least_taking_out(ready, (option.jobs[0].place,)), abs=1e-6)


def test_of_equally_suspected_injectors_the_one_that_is_easiest_to_reach_is_tested() -> None:
    """Nothing tells the cylinders apart but the work at the first of them; common practice, no source."""
    case = case_of("rough_idle: present")
    awkward = replace(case, engine=case.engine.model_copy(update={"awkward_minutes": {1: 20.0, 2: 5.0}}))
    ready = ready_of(awkward)
    option = first_tested(ready)
    assert option is not None
    assert [job.place for job in option.jobs] == [3]
    assert {each.name: each.jobs[0].place for each in ready.named if each.name in ("injector", "code")} == {
        "injector": 3,
        "code": 3,
    }


def test_options_are_the_same_in_whatever_order_the_findings_were_told() -> None:
    """The cylinders without a finding are as likely but for rounding, and one of them is dearer to reach."""
    told = set()
    for seed in range(4):
        ready = ready_of(_resealed_in_vain(Random(seed)))
        option = first_tested(ready)
        assert option is not None
        told.add((option.jobs, ready.named))
    assert len(told) == 1


def _resealed_in_vain(order: Random) -> Case:
    """A seal that blew, was renewed, and blows as before; told in some order."""

    def at_each(third: str, second: str = "absent") -> str:
        words = {1: "absent", 2: second, 3: third, 4: "absent", 5: "absent"}
        return "{" + ", ".join(f"{place}: {words[place]}" for place in order.sample(range(1, 6), 5)) + "}"

    symptoms = [f"{each}: present" for each in ("rough_idle", "rough_cold", "fumes")]
    first = [*symptoms, f"chuff: {at_each('a_bit', 'not sure')}", f"bubbles under cold: {at_each('present')}"]
    then = [*symptoms, f"chuff: {at_each('present')}"]
    order.shuffle(first)
    order.shuffle(then)
    tried = f"tried: [{{did: reseal, cylinder: 3, helped: no, then: {{findings: {{{', '.join(then)}}}}}}}]\n"
    head = f"engine: velm_5\ndistance: 230136 km\nage: 130 months\nfindings: {{{', '.join(first)}}}\n"
    return read_case("t.yaml", knowledge(), head + tried)


def test_fee_and_days_are_paid_in_full() -> None:
    """Ten more for the fee is ten more in the end, for the decision after each result stays as it is."""
    known = with_values(knowledge(), {("prices", "parts", "bench_test_fee", "price"): 55.0})
    before, after = first_tested(ready_of(case_of())), first_tested(ready_of(case_of(), known))
    assert before is not None and after is not None
    assert after.total.amount - before.total.amount == pytest.approx(10.0, abs=1e-6)
    assert sum(money.amount for money in after.breakdown.amounts.values()) == pytest.approx(after.total.amount)


@pytest.mark.parametrize("findings", [BLOWN, f"{DRIPPING}, bench_fails: {{2: present}}"])
def test_no_test_is_offered_where_no_injector_is_suspected_or_the_result_is_known(findings: str) -> None:
    option = first_tested(ready_of(case_of(findings)))
    assert option is None or 2 not in {job.place for job in option.jobs}


def test_no_test_is_offered_where_the_bench_cannot_be_had() -> None:
    assert first_tested(ready_of(replace(case_of(), cannot=("bench",)))) is None


def test_it_stands_among_the_options_and_is_never_the_best_of_the_plans() -> None:
    ready = ready_of(case_of())
    plain = advise_on(ready)
    shown = with_test_as_option(ready, plain)
    assert shown.checks.stop == all(check.ahead.amount <= 0 for check in shown.checks.checks)
    option = next(each for each in shown.repair.options if each.name == "bench_test")
    assert not option.best and shown.repair.best == plain.repair.best
    totals = [each.total.amount for each in shown.repair.options if not each.barred]
    assert totals == sorted(totals)
    check = next(each for each in shown.checks.checks if (each.check, each.place) == ("bench", option.jobs[0].place))
    saved = shown.repair.best.total.amount - option.total.amount
    assert saved <= 0.0 or check.net.amount >= saved - 1e-9
    assert check.worth.amount - check.cost.amount == pytest.approx(check.net.amount)


@pytest.mark.parametrize(
    ("findings", "left_out"),
    [
        (DRIPPING, False),
        (BLOWN, True),
        ("rough_idle: present", True),
        ("rough_idle: present, weak_cutout: {2: present}", False),
    ],
)
def test_of_checks_alone_nothing_is_worked_out_where_testing_first_saves_nothing(
    findings: str, left_out: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ranking is the same, whether the option was worked out or not."""
    ready = ready_of(case_of(findings))
    plain = advise_on(ready)
    whole = with_test_as_option(ready, plain)
    asked: list[Reckoning] = []
    monkeypatch.setattr(
        "diag.decision.advice.with_first_tested", lambda r, d: (asked.append(r), with_first_tested(r, d))[1]
    )
    short = with_test_as_option(ready, plain, checks_alone=True)
    assert short.checks == whole.checks
    assert bool(asked) is not left_out


def test_where_testing_first_is_cheapest_no_plan_is_done_untested() -> None:
    """Common practice, no source: with a free bench at hand nobody buys an injector, or leaves it, on suspicion."""
    ready = ready_of(case_of("rough_idle: present, weak_cutout: {2: present}"), with_values(knowledge(), FREE))
    option, plain = first_tested(ready), advise_on(ready)
    assert option is not None
    saved = plain.repair.best.total.amount - option.total.amount
    assert saved > 10.0
    shown = with_test_as_option(ready, plain)
    assert shown.checks.stop == all(check.ahead.amount <= 0 for check in shown.checks.checks)
    bench = next(each for each in shown.checks.checks if (each.check, each.place) == ("bench", 2))
    assert bench.net.amount >= saved - 1e-9
    assert shown.check is not None and shown.check.ahead.amount >= saved - 1e-9


def test_a_dearer_bench_is_less_worth() -> None:
    """Each day more without the vehicle costs at most what a day costs, and never nothing less."""
    totals = []
    for days in (1.0, 2.0, 3.0):
        known = with_values(knowledge(), {("repairs", "bench_test", "days"): days})
        option = first_tested(ready_of(case_of(), known))
        assert option is not None
        totals.append(option.total.amount)
    day = knowledge().prices.customer.day_without_vehicle.value
    assert all(-1e-9 <= later - before <= day + 1e-9 for before, later in pairwise(totals))
    assert totals[2] > totals[0]


def test_only_a_way_out_tells_something(tmp_path: object) -> None:
    from pathlib import Path

    assert isinstance(tmp_path, Path)
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text("repairs:\n  reseal:\n    tells: [bench_fails]\n")
    with pytest.raises(KnowledgeError, match="only a way out tells something"):
        load_knowledge(overlays=[wrong])


def test_the_parts_of_a_plan_after_a_result_are_those_of_the_objective() -> None:
    """What the option adds to the plans' own money is waiting, parts and labour, and nothing else."""
    ready = ready_of(case_of())
    option = first_tested(ready)
    assert option is not None
    nothing = cost_in_parts(ready.problem, tuple(0 for _ in ready.problem.sites))
    assert option.breakdown.come_back <= nothing.come_back + 1e-6
    assert option.breakdown.access > 0.0 and option.breakdown.finish > 0.0


def test_a_bar_after_one_result_is_told_as_that() -> None:
    """In danger the option is barred for what would follow one result; 'it mends only 22 %' beside a cure of 56 % had
    been said of the whole option."""
    findings = "knock: present, white_smoke: present, oil_level_rising: present, nozzle_wet: {1: present}"
    case = case_of(findings, "ostrel_4")
    ready = ready_of(case)
    option = first_tested(ready)
    assert option is not None
    answers = (*case.epochs[0].answers, Answer("bench_fails", 1, ABSENT))
    passes = ready_of(replace(case, epochs=(replace(case.epochs[0], answers=answers),)))
    chance = float(np.exp(passes.posterior.log_evidence[0] - ready.posterior.log_evidence[0]))
    assert 0.01 < chance < 0.5 < option.cures
    assert option.barred.startswith(
        f"the test may come out so that what would follow is barred ({100 * chance:.0f} %);"
    )
