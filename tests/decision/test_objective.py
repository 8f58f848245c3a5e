"""The objective, against the sum over every world that the model allows, and against simulated lives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import Place
from diag.decision import Job, Money, decide_repair, reckon
from diag.decision.binding import plan_of
from diag.decision.plans import Reckoning
from diag.decision.search import cost_in_parts
from tests.decision.reference import Slow, expected, expected_total, later, slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

Told = dict[tuple[str, Place], str]
USUAL = Figures()
EARLY = USUAL.fresh
PLANS: dict[str, tuple[Job, ...]] = {
    "nothing": (),
    "one seal": (Job("reseal", 1),),
    "all seals": (Job("reseal", 1), Job("reseal", 2)),
    "injector": (Job("replace_injector", 1),),
    "pump": (Job("replace_pump", None),),
    "injector, other seal and pump": (Job("replace_injector", 1), Job("reseal", 2), Job("replace_pump", None)),
}


def ready_of(told: Told, figures: Figures = USUAL) -> tuple[Reckoning, Slow]:
    """A case made ready, and the same case world by world."""
    known = knowledge(figures)
    case = case_of(known, told, figures.distance)
    network = network_of(known, case)
    return reckon(known, case, network), slow_of(known, case, network)


TOLD: Told = {("shaking", None): "present", ("chuff", 1): "present", ("spray", 1): "present"}


@pytest.mark.parametrize("name", PLANS)
def test_a_plan_costs_what_its_worlds_cost_on_average(name: str) -> None:
    """Every part of the objective equals the sum over all worlds of its value there."""
    figures = Figures(injector_bad=0.2, pump_worn=0.2)
    ready, slow = ready_of(TOLD, figures)
    plan = plan_of(ready.bound, PLANS[name])
    assert plan is not None
    found = cost_in_parts(ready.problem, plan)
    wanted = expected(slow, PLANS[name])
    assert found.access + found.labour + found.parts + found.charges == pytest.approx(wanted["certain"], abs=1e-9)
    for part in ("finish", "complications", "come_back", "mending", "damage"):
        assert getattr(found, part) == pytest.approx(wanted[part], rel=1e-9, abs=1e-9), part
    ways = [later(slow, PLANS[name], way) for way in ("alone", "together")]
    assert found.later == pytest.approx(min(ways), rel=1e-9)
    assert found.total.amount == pytest.approx(expected_total(slow, PLANS[name]), rel=1e-9)


def test_the_parts_add_up_to_the_total() -> None:
    """What an option shows in parts is what it shows in sum, and the invoice is a part of it."""
    ready, _ = ready_of(TOLD)
    for option in decide_repair(ready).options:
        amounts = option.breakdown.amounts
        assert sum(amount.amount for amount in amounts.values()) == pytest.approx(option.total.amount, abs=1e-9)
        assert option.invoice.amount <= option.total.amount + 1e-9
        assert option.invoice_tax.amount == pytest.approx(0.2 * option.invoice.amount)


def test_later_visits_are_those_of_simulated_lives() -> None:
    """The expected cost of later visits, each way of acting, agrees with 40,000 drawn histories of two seals."""
    figures = Figures(stress=0.0, scale=250_000.0)
    ready, slow = ready_of({("chuff", 1): "absent"}, figures)
    random = np.random.default_rng(11)
    problem, jobs = ready.problem, (Job("reseal", 1),)
    life = slow.knowledge.components["seal"].life
    assert life is not None
    drawn = [_history(random, (0.0, figures.distance), life.shape.value, life.scale.value) for _ in range(40_000)]
    visit = problem.fees.come_back + problem.later.wears[0].opening + problem.later.wears[0].job
    costs = np.array([sum(1.04 ** (-month / 12) for month in months) * visit for months in drawn])
    sound = float(slow.chance[slow.state("seal", 2) == 0].sum())
    # a seal that is left unsound is renewed at the return visit: both start anew
    anew = [_history(random, (0.0, 0.0), life.shape.value, life.scale.value) for _ in range(40_000)]
    fresh = np.array([sum(1.04 ** (-month / 12) for month in months) * visit for months in anew])
    mean = sound * costs.mean() + (1 - sound) * fresh.mean()
    error = float(np.hypot(sound * costs.std(), (1 - sound) * fresh.std()) / np.sqrt(len(costs)))
    assert abs(later(slow, jobs, "alone") - mean) < 4 * error


def _history(random: np.random.Generator, used: tuple[float, ...], shape: float, scale: float) -> list[float]:
    """Months (middles of half-years) at which seals of these ages fail within 36 months, each renewed at its end."""
    months: list[float] = []
    for age in used:
        step = 0
        while step < 6:
            life = scale * ((age / scale) ** shape + random.exponential()) ** (1 / shape) - age
            step += int(life / 7_500)
            if step < 6:
                months.append(6 * step + 3)
            step, age = step + 1, 0.0
            while step < 6 and random.random() < EARLY:  # not sealed well: it fails in its first half-year
                months.append(6 * step + 3)
                step += 1
    return months


def test_time_already_spent_never_counts() -> None:
    """What stands open costs nothing more."""
    known = knowledge()
    closed, open_now = case_of(known, TOLD), case_of(known, TOLD, open_access=(("bare", "A"),))
    totals = []
    for case in (closed, open_now):
        ready = reckon(known, case, network_of(known, case))
        plan = plan_of(ready.bound, PLANS["one seal"])
        assert plan is not None
        totals.append(cost_in_parts(ready.problem, plan))
    assert totals[0].access == pytest.approx(80.0)
    assert totals[1].access == 0.0
    assert totals[0].total.amount - totals[1].total.amount == pytest.approx(80.0)


def test_a_tow_is_paid_only_where_it_does_not_start() -> None:
    """No severity of the tiny workshop knows 'no start', so no return visit has a tow in it."""
    ready, _ = ready_of(TOLD)
    assert ready.problem.fees.come_back == pytest.approx(150 + 45)


def test_money_of_two_currencies_is_never_added() -> None:
    """Crowns and euros do not mix."""
    with pytest.raises(Exception, match="use one currency"):
        _ = Money(1.0, "EUR") + Money(1.0, "SEK")


@settings(max_examples=8, deadline=None)
@given(
    chuff=st.tuples(*[st.sampled_from(["present", "absent", None])] * 2),
    shaking=st.sampled_from(["present", "absent"]),
    shape=st.sampled_from([0.7, 1.0, 2.5]),
    distance=st.integers(20_000, 400_000),
)
def test_totals_hold_for_any_evidence(chuff: tuple[str | None, ...], shaking: str, shape: float, distance: int) -> None:
    """On random cases, falling and rising failure rates, the total of a plan is the sum over worlds."""
    told: Told = {("shaking", None): shaking}
    told |= {("chuff", place): answer for place, answer in enumerate(chuff, start=1) if answer is not None}
    ready, slow = ready_of(told, Figures(shape=shape, distance=float(distance)))
    for jobs in (PLANS["nothing"], PLANS["all seals"]):
        plan = plan_of(ready.bound, jobs)
        assert plan is not None
        assert cost_in_parts(ready.problem, plan).total.amount == pytest.approx(expected_total(slow, jobs), rel=1e-8)
