"""What belongs to the cost of a plan: waiting for parts, how hard an injector comes out, driving on, the horizon."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from diag.basics import Place
from diag.decision import Job, RepairDecision, Tariff, decide_repair, reckon
from diag.decision.binding import horizon, plan_of
from diag.decision.search import all_plans, best_plan, cost_in_parts
from diag.decision.tariff import WAITING
from diag.knowledge_base import Knowledge
from tests.decision.tiny import USUAL, Figures, case_of, knowledge, network_of

Told = dict[tuple[str, Place], str]
BLOWS: Told = {("chuff", 1): "present", ("tar", 1): "present", ("chuff", 2): "absent", ("tar", 2): "absent"}


def changed(figures: Figures = USUAL, **more: dict[str, Any]) -> Knowledge:
    """The tiny workshop with other `customer`, `parts` (days to wait) or `reseal` risk."""
    plain = knowledge(figures)
    raw = plain.model_dump()
    raw["prices"]["customer"] |= more.get("customer", {})
    for part, days in more.get("wait_days", {}).items():
        raw["prices"]["parts"][part]["wait_days"] = {"value": days}
    for repair in ("reseal", "replace_injector"):
        risks = raw["repairs"][repair]["risks"]
        raw["repairs"][repair]["risks"] = [risk | more.get("risk", {}) for risk in risks]
    return type(plain).model_validate(raw)


def decide(known: Knowledge, told: Told = BLOWS, **more: Any) -> RepairDecision:
    case = case_of(known, told, **more)
    return decide_repair(reckon(known, case, network_of(known, case)))


def option_of(found: RepairDecision, *jobs: Job):  # type: ignore[no-untyped-def]
    return next(option for option in found.options if set(option.jobs) == set(jobs))


def test_a_plan_waits_once_for_its_slowest_part() -> None:
    """An injector takes two days, a pump three; a day costs 40. Two injectors wait as long as one, with the pump three
    days; a washer from the store waits for nothing; and none of it stands on the invoice."""
    known = changed(customer={"day_without_vehicle": 40}, wait_days={"injector": 2, "pump": 3})
    case = case_of(known, {("shaking", None): "present", ("spray", 1): "present", ("spray", 2): "present"})
    ready = reckon(known, case, network_of(known, case), also=[[Job("replace_injector", n)] for n in (1, 2)])

    def waiting(*jobs: Job) -> float:
        plan = plan_of(ready.bound, jobs)
        assert plan is not None
        return cost_in_parts(ready.problem, plan).waiting

    assert waiting(Job("reseal", 1)) == 0.0
    assert waiting(Job("replace_injector", 1)) == pytest.approx(80)
    assert waiting(Job("replace_injector", 1), Job("replace_injector", 2)) == pytest.approx(80)
    assert waiting(Job("replace_injector", 1), Job("replace_pump", None)) == pytest.approx(120)
    option = option_of(decide_repair(ready), Job("replace_injector", 1), Job("replace_injector", 2))
    breakdown = option.breakdown
    assert option.invoice.amount == pytest.approx(
        breakdown.access + breakdown.labour + breakdown.parts + breakdown.finish + breakdown.complications
    )
    assert all(kind != WAITING for kind, _ in option.opens)
    assert breakdown.access == pytest.approx(80)  # opening alone: waiting is a part of its own


def test_waiting_is_in_the_optimum() -> None:
    """With days in it the search still finds what the enumeration of all plans finds."""
    known = changed(
        Figures(injector_bad=0.2, pump_worn=0.2),
        customer={"day_without_vehicle": 90},
        wait_days={"injector": 1, "pump": 4},
    )
    case = case_of(known, {("shaking", None): "present", ("spray", 1): "present"})
    problem = reckon(known, case, network_of(known, case)).problem
    totals = [cost_in_parts(problem, plan).total.amount for plan in all_plans(problem)]
    assert best_plan(problem).total == pytest.approx(min(totals), abs=1e-9)


def test_an_injector_that_was_long_in_its_place_comes_out_harder() -> None:
    """Past the years the odds are so many times as high: 0.02, 0.1, 0.3 become p t / (1 - p + p t); one that was out
    lately is as it was. Chances stay below 1 whatever the times."""
    known = changed(risk={"older": {"years": 8, "times": 3}})
    risk = known.repairs["reseal"].risks[0]
    tariff = Tariff(known, known.engines["tiny"], {1: 12.0, 2: 1.0})
    assert tariff.risk_chances(risk, 2) == {"none": 0.02, "slight": 0.1, "strong": 0.3}
    assert list(tariff.risk_chances(risk, 1).values()) == pytest.approx([0.06 / 1.04, 0.3 / 1.2, 0.9 / 1.6])
    assert max(tariff.risk_chances(risk, 1, times=1e9).values()) < 1.0
    old, young = (option_of(decide(known, age_years=age), Job("reseal", 1)).breakdown for age in (12.0, 4.0))
    assert old.complications > 1.5 * young.complications


def test_damage_grows_with_the_months_of_driving_on() -> None:
    """At once 50, and 30 for each month: the damage of leaving it is linear in the months; a renewed seal has none of
    it, and waiting makes the injector come out harder, so mending it later costs more."""
    mending, damages = [], []
    for months in (0, 2, 6):
        customer = {
            "damage_of_driving_on": 50, "damage_per_month": 30, "driven_on_months": months, "removal_odds_in_a_year": 3
        }  # fmt: skip
        found = decide(changed(customer=customer))
        nothing, one = option_of(found), option_of(found, Job("reseal", 1))
        damages.append(nothing.breakdown.damage / (50 + 30 * months))
        mending.append(nothing.breakdown.mending)
        assert one.breakdown.damage < 0.1 * nothing.breakdown.damage
    assert damages[0] == pytest.approx(damages[1]) == pytest.approx(damages[2])
    assert mending[0] < mending[1] < mending[2]


def test_after_a_year_of_driving_on_the_odds_are_those_of_a_year() -> None:
    """Twelve months: three times the odds of what hangs on how hard it blows; the rest of the mending is the same."""
    customer = {"driven_on_months": 12, "removal_odds_in_a_year": 3}
    lately, year = (Tariff(known, known.engines["tiny"]) for known in (changed(), changed(customer=customer)))
    risk = lately.knowledge.repairs["reseal"].risks[0]
    levels = {"none": 0.6 * 0.2 + 0.4 * 0.05, "slight": 0.6 * 0.7 + 0.4 * 0.1, "strong": 0.6 * 0.1 + 0.4 * 0.85}
    for tariff, times in ((lately, 1.0), (year, 3.0)):
        chance = sum(levels[level] * p for level, p in tariff.risk_chances(risk, 1, times).items())
        mending = tariff.mending_of(("seal", 1))
        assert mending.risks[0] == pytest.approx((chance, 120.0))
        assert mending.certain == tariff.alone(Job("reseal", 1))


@pytest.mark.parametrize(("km", "months"), [(None, 36.0), (60_000, 36.0), (15_000, 12.0), (0, 0.0)])
def test_the_horizon_ends_by_time_or_by_distance(km: float | None, months: float) -> None:
    """15,000 km a year: 15,000 km are a year; 60,000 come after the 36 months."""
    customer = {} if km is None else {"horizon_km": km}
    known = changed(customer=customer)
    assert horizon(Tariff(known, known.engines["tiny"])).ends[-1] == pytest.approx(months)
    later = option_of(decide(known), Job("reseal", 1)).breakdown.later
    assert (later == 0.0) is (months == 0.0)


def test_early_failures_of_later_work_count() -> None:
    """A workshop whose new seals are often unsound pays more at later visits, too; the first visit is in the cure."""
    from diag.decision.lives import Steps, visits_expected

    steps = Steps(4, 6.0, 0.0)
    new = np.array([[0.9, 0.8, 0.7, 0.6]])
    plain, early = visits_expected(new, new, steps), visits_expected(new, new * 0.9, steps)
    assert early > plain
    careful, careless = (
        option_of(decide(knowledge(Figures(fresh=share))), Job("reseal", 1)).breakdown.later for share in (0.0, 0.2)
    )
    assert careless > careful


@pytest.mark.parametrize("shape", [1.0, 2.5])
def test_with_a_constant_failure_rate_renewing_a_sound_part_never_pays(shape: float) -> None:
    """Shape 1, whatever the age: renewing a seal that is most likely sound brings no later visit less, so only the
    failed one is renewed though nothing has to be opened; with wear it does."""
    figures = Figures(
        shape=shape, stress=0.0, fresh=0.0, upset=0.0, injector_bad=1e-6, pump_worn=1e-6, access=0.0,
        scale=260_000.0,
    )  # fmt: skip
    found = decide(knowledge(figures))
    all_seals, one = option_of(found, Job("reseal", 1), Job("reseal", 2)), option_of(found, Job("reseal", 1))
    if shape == 1.0:
        assert all_seals.breakdown.later == pytest.approx(one.breakdown.later, rel=2e-3)
        assert found.best.jobs == (Job("reseal", 1),)
    else:
        assert all_seals.breakdown.later < 0.8 * one.breakdown.later


def test_what_this_case_teaches_of_wear_counts_for_seals_that_stay_and_for_new_ones() -> None:
    """A seal blown at 60,000 km speaks for harsh stress, which a new washer does not renew: even with both seals new
    another visit is likelier than on an engine whose seals are sound, and by exactly as much as the stress is likelier
    (both chances by hand: Weibull 2.5, scale 300,000 km, half of it under stress; a new one is sound by 98 in 100)."""
    figures, jobs = Figures(distance=60_000.0), [Job("reseal", 1), Job("reseal", 2)]
    sound: Told = {("chuff", n): "absent" for n in (1, 2)} | {("tar", n): "absent" for n in (1, 2)}
    found = []
    for told in (BLOWS, sound):
        known = knowledge(figures)
        case = case_of(known, told, figures.distance)
        ready = reckon(known, case, network_of(known, case), also=[[job] for job in jobs])
        states = ready.network.configuration_states("stress", None)
        harsh = float(ready.posterior.configurations[0][states == 1].sum())
        holds = [0.98 * np.exp(-((45_000.0 / scale) ** 2.5)) for scale in (300_000.0, 150_000.0)]
        wanted = 1.0 - ((1 - harsh) * holds[0] ** 2 + harsh * holds[1] ** 2)
        option = option_of(decide_repair(ready), *jobs)
        assert option.again[36] == pytest.approx(wanted, rel=1e-9)
        found.append((harsh, option.again[36]))
    assert found[0][0] > 0.4 > 0.31 > found[1][0]
    assert found[0][1] > found[1][1]


def test_an_engine_in_line_has_no_bank_in_its_options() -> None:
    """On the shipped engine in line what a bank shares is 'of the engine', without a letter."""
    from tests.worksheet.demo import decided

    for name, banks in (("one_blown_seal", 1), ("whole_bank_silent", 2)):
        case, _, decision = decided(name)
        assert len(case.engine.banks) == banks
        titles = " / ".join(option.title for option in decision.options)
        assert ("bank" in titles) is (banks == 2)
