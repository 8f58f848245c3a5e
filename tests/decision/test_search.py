"""The search finds the plan that enumeration finds, and what is left out beforehand is never missed."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import structs

from diag.decision import Job, reckon, search
from diag.decision.binding import plan_of
from diag.decision.later import LaterCosts, expectation, seal_table
from diag.decision.lives import Steps
from diag.decision.objective import Fees
from diag.decision.search import Problem, _descend_all, all_plans, best_plan, cost_in_parts
from diag.decision.sites import Belief, Site, Treatment, Wear
from diag.decision.small import costs_now
from tests.decision.reference import expected_total, slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

OPENING = ("bare", "A")


def random_problem(seed: int, cylinders: int = 3, shape: float = 2.0) -> Problem:
    """A hand-made problem: cylinders with seal and one other part, one shared site, two configurations, random terms.

    The belief is a true mixture: terms are worlds of a few hidden patterns, so that all chances are real ones.
    """
    random = np.random.default_rng(seed)
    terms = 6
    weights = random.dirichlet(np.ones(terms))
    configuration = random.integers(0, 2, terms)
    sites, factors, features = [], [], []
    for number in range(cylinders + 1):
        seal = random.random(terms) < 0.8
        part = random.random(terms) < 0.8
        wears = number < cylinders
        treatments = _treatments(random, wears)
        sites.append(Site(f"site {number}", number + 1, treatments, _wear(random, shape) if wears else None))
        cures = [seal * part, 0.95 * part, 0.97 * seal, 0.9 * np.ones(terms)][: len(treatments)]
        ideal = np.where(seal, 1.0, 0.95) * np.where(part, 1.0, 0.97)
        factors.append(np.stack([np.ones(terms), seal.astype(float), *cures, ideal])[:, None])
        features.append(np.array([[weights @ seal, weights @ ~seal, weights @ part, weights @ ~part]]))
    belief = Belief(weights[None], configuration, tuple(factors), tuple(features), np.ones(1))
    fees = Fees("EUR", 1.0, 20.0, float(random.uniform(50, 400)), 100.0, {OPENING: float(random.uniform(0, 200))}, 0.2)
    wearing = tuple(range(cylinders))
    wears_of = tuple(site.wear for site in sites if site.wear is not None)
    later = LaterCosts(
        seal_table(belief, wearing, 2), wearing, wears_of, fees.come_back, fees.damage, Steps(4, 9.0, 0.04)
    )
    return Problem(tuple(sites), fees, belief, later)


def _treatments(random: np.random.Generator, wears: bool) -> tuple[Treatment, ...]:
    def treatment(jobs: tuple[str, ...], seal: float, part: float) -> Treatment:
        mending = np.array([0.0, 80.0 * (1 - seal), 0.0, 120.0 * (1 - part)])
        money = float(random.uniform(20, 250)) if jobs else 0.0
        opens = frozenset({OPENING}) if jobs else frozenset[tuple[str, str]]()
        done = tuple(Job(name, None) for name in jobs)
        risk = np.array([0.0, 30.0 * seal, 0.0, 0.0])
        return Treatment(done, money, 0.0, 0.0, opens, risk, mending, np.ones(4), np.ones(4), bool(seal) and wears)

    return (treatment((), 0, 0), treatment(("a",), 1, 0), treatment(("b",), 0, 1), treatment(("a", "b"), 1, 1))


def _wear(random: np.random.Generator, shape: float) -> Wear:
    scale = random.uniform(2, 10, (2, 1))
    time, used = np.arange(1, 5)[None], random.uniform(0, 5)
    new = np.exp(-((time / scale) ** shape))
    left = np.exp((used / scale) ** shape - ((used + time) / scale) ** shape)
    return Wear("A" if random.random() < 0.5 else "B", left, new, 150.0, 100.0, 60.0, np.array([0.0, 1.0, 0.0, 0.0]))


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), shape=st.sampled_from([0.6, 1.0, 2.5]))
def test_branch_and_bound_finds_what_enumeration_finds(seed: int, shape: float) -> None:
    """On random problems of 256 plans, with failure rates that fall, stay or rise, the least total is found exactly."""
    problem = random_problem(seed, shape=shape)
    totals = [cost_in_parts(problem, plan).total.amount for plan in all_plans(problem)]
    found = best_plan(problem)
    assert found.total == pytest.approx(min(totals), abs=1e-7)
    assert cost_in_parts(problem, found.plan).total.amount == pytest.approx(found.total, abs=1e-9)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), shape=st.sampled_from([0.6, 2.5]))
def test_a_search_without_a_table_finds_the_same(seed: int, shape: float) -> None:
    """What it begins with is a plan that no other treatment at one site betters, and it ends with the least total."""
    problem = random_problem(seed, shape=shape)
    every = [range(len(site.treatments)) for site in problem.sites]
    start = _descend_all(problem, every)
    begun = cost_in_parts(problem, start).total.amount
    for site, choices in enumerate(every):
        others = [(*start[:site], choice, *start[site + 1 :]) for choice in choices]
        assert all(cost_in_parts(problem, plan).total.amount >= begun - 1e-7 for plan in others)
    with mock.patch.object(search, "MOST_PLANS", 0):
        searched = best_plan(problem)
    assert searched.total == pytest.approx(best_plan(problem).total, abs=1e-7)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6), cylinders=st.integers(1, 5), shape=st.sampled_from([0.6, 2.5]))
def test_a_table_of_all_plans_holds_what_each_costs(seed: int, cylinders: int, shape: float) -> None:
    """Damage and later visits of every pattern, and what every plan costs besides, as each costs by itself; later
    visits also straight from their events, without what patterns share."""
    problem = random_problem(seed, cylinders, shape)
    later = problem.later
    for row in product((0, 1), repeat=cylinders):
        pattern = tuple(map(bool, row))
        damage, visits, policy = later.cost(pattern)
        assert later.of_all_patterns[row] == pytest.approx(damage + visits, rel=1e-12, abs=1e-9)
        assert expectation(later.events(pattern, policy), later.table).sum() == pytest.approx(damage + visits, rel=1e-9)
    every = [range(len(site.treatments)) for site in problem.sites]
    table = costs_now(problem.sites, problem.fees, problem.belief, every)
    for plan in random_plans(problem, seed):
        parts = cost_in_parts(problem, plan)
        assert table[plan] == pytest.approx(parts.total.amount - parts.damage - parts.later, abs=1e-8)


def test_configurations_in_which_seals_wear_alike_are_reckoned_as_one() -> None:
    """As many numberings and shifts are: ten of each configuration, with shares of its chance, cost what the one does,
    and take no more products."""
    later = random_problem(3, 4, 2.5).later
    shares = np.random.default_rng(3).dirichlet(np.ones(10))
    wears = tuple(
        structs.replace(
            each,
            left=np.repeat(each.left, 10, axis=0),
            new=np.repeat(each.new, 10, axis=0),
            early=np.repeat(each.early, 10) if isinstance(each.early, np.ndarray) else each.early,
        )
        for each in later.wears
    )
    table = (later.table[:, :, None] * shares[None, None, :, None]).reshape(1, -1, later.table.shape[2])
    many = LaterCosts(table, later.sites, wears, later.visit, later.damage, later.steps)
    for pattern in product((False, True), repeat=4):
        assert many.cost(pattern)[:2] == pytest.approx(later.cost(pattern)[:2], rel=1e-12)
    assert many.of_all_patterns == pytest.approx(later.of_all_patterns, rel=1e-12)
    assert len(many._kinds[0]) == len(later._kinds[0]) < len(wears[0].new)


def random_plans(problem: Problem, seed: int, count: int = 12) -> list[tuple[int, ...]]:
    random = np.random.default_rng(seed)
    return [tuple(int(random.integers(len(site.treatments))) for site in problem.sites) for _ in range(count)]


def test_the_search_looks_at_few_of_many_plans() -> None:
    """Six cylinders and 16,384 plans: bounds cut nearly all of them off."""
    found = best_plan(random_problem(3, cylinders=6))
    assert found.nodes < 2_000


@settings(max_examples=4, deadline=None)
@given(
    chuff=st.tuples(*[st.sampled_from(["present", "absent", None])] * 2),
    spray=st.sampled_from(["present", "absent", None]),
    shaking=st.sampled_from(["present", "absent"]),
    figures=st.builds(
        Figures,
        shape=st.sampled_from([0.8, 2.5]),
        injector_bad=st.sampled_from([0.01, 0.1]),
        access=st.sampled_from([0.0, 60.0, 200.0]),
        return_visit=st.sampled_from([20.0, 300.0, 2000.0]),
        distance=st.sampled_from([60_000.0, 250_000.0]),
    ),
)
def test_no_plan_at_all_beats_the_one_found(
    chuff: tuple[str | None, ...], spray: str | None, shaking: str, figures: Figures
) -> None:
    """All 128 sets of jobs on two cylinders, each reckoned world by world, jobs that are left out before included:
    none is cheaper than the plan found. `fuel_jet` is not told, so nothing is barred."""
    known = knowledge(replace(figures, refer=1e6))
    told = {("shaking", None): shaking} | {("chuff", n): a for n, a in enumerate(chuff, 1) if a is not None}
    told |= {("spray", 1): spray} if spray is not None else {}
    case = case_of(known, told, figures.distance)
    network = network_of(known, case)
    ready = reckon(known, case, network)
    found = best_plan(ready.problem, [site.useful for site in ready.bound.sites])
    slow = slow_of(known, case, network)
    cylinder = ("reseal", "replace_injector", "replace_pipe")
    every = [Job(repair, place) for place in (1, 2) for repair in cylinder] + [Job("replace_pump", None)]
    sets = (tuple(job for job, done in zip(every, chosen, strict=True) if done) for chosen in product((0, 1), repeat=7))
    assert found.total == pytest.approx(min(expected_total(slow, jobs) for jobs in sets), rel=1e-8)


def test_jobs_that_no_treatment_holds_give_no_plan() -> None:
    """A set of jobs that cannot be done gives no plan, rather than another one."""
    known = knowledge()
    case = case_of(known, {("shaking", None): "present"})
    ready = reckon(known, case, network_of(known, case))
    assert plan_of(ready.bound, [Job("replace_pipe", 9)]) is None
