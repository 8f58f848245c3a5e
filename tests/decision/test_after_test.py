"""What follows each result of a test, and how the money of testing first spreads: against cases in which the result was
told, weighed and decided from the start."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib import import_module

import numpy as np
import pytest
from msgspec import structs

from diag.casebook import ABSENT, PRESENT, Answer, Case, read_case
from diag.decision import (
    OptionSpread,
    PlanOption,
    Reckoning,
    RepairDecision,
    decide_repair,
    reckon,
    spreads_of,
    with_first_tested,
)
from diag.knowledge_base import Knowledge, load_knowledge, with_values
from diag.network import build

HEAD = "title: t\nengine: {engine}\ndistance: 190000 km\nage: 10 years\nfindings: {{{findings}}}\n"
ONE = "hard_start: present, white_smoke: present, rough_idle: present, weak_cutout: {2: present}"
TWO = "hard_start: present, nozzle_wet: {1: present, 2: present}"
CASES = (("ostrel_3", ONE), ("ostrel_3", TWO), ("velm_5", ONE))


@cache
def knowledge() -> Knowledge:
    return load_knowledge()


def ready_of(case: Case, known: Knowledge | None = None) -> Reckoning:
    using = known or knowledge()
    return reckon(using, case, build(using, case))


@cache
def shown(engine: str, findings: str) -> tuple[Case, Reckoning, RepairDecision, PlanOption]:
    case = read_case("t.yaml", knowledge(), HEAD.format(engine=engine, findings=findings))
    ready = ready_of(case)
    decision = with_first_tested(ready, decide_repair(ready))
    return case, ready, decision, next(option for option in decision.options if option.after)


@cache
def spread(engine: str, findings: str) -> OptionSpread:
    _, ready, decision, option = shown(engine, findings)
    return spreads_of(ready, decision)[option.name]


def told(case: Case, answers: tuple[tuple[str, object, str], ...]) -> Case:
    """The case with the answers of the test among its findings."""
    latest = case.epochs[-1]
    said = (Answer(finding, place, {"present": PRESENT, "absent": ABSENT}[word]) for finding, place, word in answers)
    return replace(case, epochs=(*case.epochs[:-1], replace(latest, answers=(*latest.answers, *said))))


@pytest.mark.parametrize(("engine", "findings"), CASES)
def test_the_results_make_up_the_option(engine: str, findings: str) -> None:
    *_, option = shown(engine, findings)
    assert len(option.after) == 2 ** len(option.jobs)
    assert sum(each.chance for each in option.after) == pytest.approx(1.0, abs=1e-9)
    chances = [each.chance for each in option.after]
    assert chances == sorted(chances, reverse=True)
    for name in ("total", "invoice"):
        mean = sum(each.chance * getattr(each, name).amount for each in option.after)
        assert mean == pytest.approx(getattr(option, name).amount, abs=1e-6)
    assert sum(each.chance * each.cures for each in option.after) == pytest.approx(option.cures, abs=1e-12)
    for each in option.after:
        assert [(finding, place) for finding, place, _ in each.answers] == [
            ("bench_fails", job.place) for job in option.jobs
        ]


@pytest.mark.parametrize(("engine", "findings"), CASES)
def test_an_injector_that_fails_is_replaced_and_one_that_passes_goes_back(engine: str, findings: str) -> None:
    """Common practice, no source: that is what a test is for."""
    *_, option = shown(engine, findings)
    assert len(option.jobs) == (2 if findings == TWO else 1)
    for each in option.after:
        replaced = {job.place for job in each.jobs if job.repair == "replace_injector"}
        assert replaced == {place for _, place, said in each.answers if said == "present"}


@pytest.mark.parametrize(("engine", "findings"), CASES)
def test_the_chance_of_a_cure_is_that_of_cases_in_which_the_result_was_told(engine: str, findings: str) -> None:
    """Each result told as a finding; what is then done cures the complaint there with the chance that the spread of
    the same work has in that case. Their mean is the chance of testing first."""
    case, *_, option = shown(engine, findings)
    mine = spread(engine, findings)
    cured, left_out = 0.0, mine.left_out
    for each in option.after:
        known = told(case, each.answers)
        ready = reckon(knowledge(), known, build(knowledge(), known), also=[each.jobs])
        plain = decide_repair(ready)
        work = replace(plain.best, name="work", jobs=each.jobs, breakdown=each.breakdown, later=each.later)
        found = spreads_of(ready, structs.replace(plain, best=work, options=(work,)), draws=10)["work"]
        cured += each.chance * found.cures_complaint
        left_out += each.chance * found.left_out
    assert left_out < 0.01
    assert mine.cures_complaint == pytest.approx(cured, abs=left_out)  # worlds left out are the one difference
    assert mine.cures_complaint >= option.cures - left_out


@pytest.mark.parametrize(("engine", "findings"), CASES)
def test_the_drawn_money_is_that_of_the_option_on_average(engine: str, findings: str) -> None:
    *_, option = shown(engine, findings)
    found = spread(engine, findings)
    assert found.total.mean == pytest.approx(option.total.amount, abs=4.5 * found.total.mean_error)
    assert found.invoice.mean == pytest.approx(option.invoice.amount, abs=4.5 * found.invoice.mean_error)


def test_nine_in_ten_invoices_reach_the_dearer_result_where_it_comes_often_enough() -> None:
    """Dearer invoices that come more often than one in ten are within nine in ten; a mean alone would hide them."""
    *_, option = shown("ostrel_3", ONE)
    dearer = max(option.after, key=lambda each: each.invoice.amount)
    assert dearer.chance > 0.15 and dearer.invoice.amount > option.invoice.amount + 20.0
    found = spread("ostrel_3", ONE).invoice
    assert found.high > option.invoice.amount + 20.0 and found.low < option.invoice.amount


def test_a_test_that_says_nothing_spreads_as_the_work_that_follows_it() -> None:
    """With a blind bench the same is done whatever it says: only its own money lies between the two spreads."""
    blind = {("findings", "bench_fails", "chance", state): 0.5 for state in knowledge().components["injector"].states}
    known = with_values(knowledge(), blind)
    case, *_ = shown("ostrel_3", ONE)
    ready = ready_of(case, known)
    decision = with_first_tested(ready, decide_repair(ready))
    option = next(each for each in decision.options if each.after)
    assert len({each.jobs for each in option.after}) == 1
    first = option.after[0]
    work = replace(option, name="work", jobs=first.jobs, breakdown=first.breakdown, later=first.later, after=())
    found = spreads_of(ready, structs.replace(decision, options=(option, work)))
    assert found[option.name].invoice == found["work"].invoice
    assert found[option.name].total == found["work"].total
    assert found[option.name].cures_complaint == pytest.approx(found["work"].cures_complaint, abs=1e-12)


def test_what_is_told_of_something_that_is_not_drawn_has_no_spread() -> None:
    _, ready, decision, option = shown("ostrel_3", ONE)
    blank = replace(option, after=tuple(replace(each, likelihoods=()) for each in option.after))
    found = spreads_of(ready, structs.replace(decision, options=(decision.best, blank)), draws=10)
    assert option.name not in found and decision.best.name in found


def test_the_likelihoods_are_those_of_the_knowledge() -> None:
    *_, option = shown("ostrel_3", ONE)
    chance = knowledge().findings["bench_fails"].chance
    states = [chance[state].value for state in knowledge().components["injector"].states]
    for each in option.after:
        ((key, told_by_state),) = each.likelihoods
        assert key == ("injector", option.jobs[0].place)
        wanted = np.array(states) if each.answers[0][2] == "present" else 1.0 - np.array(states)
        assert told_by_state == pytest.approx(wanted, abs=1e-12)


def test_what_hangs_on_the_configuration_or_on_no_component_is_not_drawn() -> None:
    """A test of such things still decides; only its spread is left out."""
    likelihoods = import_module("diag.decision.first_tested")._likelihoods
    _, ready, _, option = shown("ostrel_3", ONE)
    outlook = ready.network.outcomes("bench_fails", option.jobs[0].place, None)
    assert outlook is not None
    plain = outlook.evidence
    (spot, table), configurations = next(iter(plain.components.items())), len(ready.network.model.configurations)
    assert [key for key, _ in likelihoods(ready.bound, [plain], [0])] == [("injector", option.jobs[0].place)]
    widened = structs.replace(plain, components={spot: np.repeat(table, configurations, axis=1)})
    assert likelihoods(ready.bound, [widened], [0]) == ()
    assert likelihoods(ready.bound, [structs.replace(plain, components={})], [0]) == ()
