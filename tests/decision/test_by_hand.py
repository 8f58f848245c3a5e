"""Small rules of the decision, each with an example that is worked by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from msgspec import structs

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch
from diag.decision import Job, decide_repair, reckon
from diag.decision.appraisal import setting_of
from diag.decision.binding import horizon
from diag.decision.candidates import with_ways_out
from diag.decision.check_costs import why_not
from diag.decision.danger import allowed_treatments
from diag.decision.dominance import surviving
from diag.decision.later import together_events, together_weights
from diag.decision.lighter import _telling
from diag.decision.lives import Steps
from diag.decision.luck import _guarantee_months
from diag.decision.objective import Breakdown, Fees
from diag.decision.parts import Part
from diag.decision.plans import _sound_chance, no_start
from diag.decision.pool import candidates, neighbours
from diag.decision.search import cost_in_parts
from diag.decision.sequences import Action, best_order
from diag.decision.sites import Site, Treatment, Wear
from diag.decision.spread import _percentiles
from diag.decision.tariff import SPECIALIST, Tariff
from diag.decision.treatments import _left
from diag.decision.worlds import world_table
from diag.decision.worth import functionals_of
from diag.knowledge_base import load_knowledge
from tests.decision.reference import slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

TOLD: dict[tuple[str, Place], str] = {("shaking", None): "present", ("chuff", 1): "present"}
FEES = Fees("EUR", 1.0, 0.0, 0.0, 100.0, {}, 0.0)
HALF = np.array([[0.5, 0.5]])  # sound, unsound


def treatment(money: float, renews: bool, cures: float = 0.0) -> Treatment:
    """Something for so much money that renews the seal or does not, and cures with this chance whatever is wrong."""
    nothing, cure = np.zeros(2), np.full(2, cures)
    return Treatment((), money, 0.0, 0.0, frozenset(), nothing, nothing, cure, cure, renews)


def site(*treatments: Treatment) -> Site:
    wear = Wear("A", np.ones((1, 1)), np.ones((1, 1)), 0.0, 0.0, 0.0, np.array([0.0, 1.0]))
    return Site("a cylinder", 1, treatments, wear)


@pytest.mark.parametrize(("money", "stays"), [(40.0, True), (60.0, False)])
def test_renewing_a_seal_stays_where_it_may_save_the_damage(money: float, stays: bool) -> None:
    """Driving on costs 100 where the seal blows, with a chance of a half: renewing it may be worth 50 more, not 60."""
    found = surviving(site(treatment(0.0, False), treatment(money, True)), HALF, FEES, 0.0, 0.0)
    assert (1 in found) is stays


@pytest.mark.parametrize(("money", "stays"), [(5.0, True), (15.0, False)])
@pytest.mark.parametrize("renews", [True, False])
def test_what_renews_as_the_other_does_saves_no_damage(money: float, stays: bool, renews: bool) -> None:
    """Of two that both renew, or both do not, only the come-back counts: 5 % of 200 more cure is worth 10."""
    fees = structs.replace(FEES, come_back=200.0)
    some = (treatment(0.0, renews, 0.5), treatment(money, renews, 0.55))
    assert (1 in surviving(site(*some), HALF, fees, 0.0, 0.0)) is stays


def test_leaving_a_seal_may_save_later_what_it_may_save() -> None:
    """Only what renews has a claim to what renewing saves, only what leaves to what leaving saves."""
    one, other = treatment(0.0, False), treatment(30.0, True)
    free = structs.replace(FEES, damage=0.0)
    assert 1 in surviving(site(one, other), HALF, free, 40.0, 0.0)
    assert 1 not in surviving(site(one, other), HALF, free, 20.0, 40.0)
    assert 1 in surviving(site(other, structs.replace(one, labour=50.0)), HALF, free, 0.0, 40.0)
    assert 1 not in surviving(site(other, structs.replace(one, labour=80.0)), HALF, free, 90.0, 40.0)


def test_a_chance_after_work_is_the_mean_over_shared_causes() -> None:
    """A new part is unsound with 0.1 in the one state of a shared cause and with 0.5 in the other, which has 0.25."""
    fresh, disturbed = np.array([[0.9, 0.1], [0.5, 0.5]]), np.array([[1.0, 0.0], [0.8, 0.2]])
    part = Part(("part", 1), (0, 0), 2, True, (False, True), fresh, disturbed, 0.0)
    prior = np.array([0.75, 0.25])
    unsound, dangerous = _left(part, "renewed", prior)
    assert unsound == pytest.approx([0.2, 0.2])
    assert dangerous == pytest.approx([0.2, 0.2])
    unsound, dangerous = _left(part, "disturbed", prior)
    assert unsound == pytest.approx([0.05, 1.0])
    assert dangerous == pytest.approx([0.05, 1.0])
    alone = structs.replace(part, fresh=fresh[1:])
    assert _left(alone, "renewed", prior)[0] == pytest.approx([0.5, 0.5])


@pytest.mark.parametrize("failed_more", [0.0, 7.0])
def test_the_first_failure_of_a_bank_costs_one_visit_and_all_jobs(failed_more: float) -> None:
    """Two seals, one step, no discount: visit 100, opening 30 once for the bank, jobs 20 and 25, and the one that has
    failed costs so much more. With survivals of 0.9 and 0.8 of new seals a first failure has a chance of 0.28."""
    steps = Steps(1, 12.0, 0.0)
    one = Wear("A", np.array([[0.5]]), np.array([[0.9]]), 20.0 + failed_more, 20.0, 30.0, np.zeros(1))
    two = Wear("A", np.array([[0.6]]), np.array([[0.8]]), 25.0 + failed_more, 25.0, 30.0, np.zeros(1))
    money = together_weights((one, two), (0, 1), 100.0, steps)
    assert money == pytest.approx(np.array([[175.0 + failed_more]]))
    events = together_events((one, two), (0, 1), (True, True), money)
    assert (events.weight * events.plain.prod(axis=1)).sum() == pytest.approx(0.28 * (175.0 + failed_more))


def test_where_nothing_useful_is_safe_other_safe_work_is_looked_at() -> None:
    """A dangerous state may be left with at most 10 %: of what is useful what is safe; else what else is safe; else,
    where nothing is, all that is useful."""

    def allowed(useful: tuple[int, ...], *chances: float) -> tuple[int, ...]:
        bound = SimpleNamespace(sites=[SimpleNamespace(useful=useful, danger=np.array(chances)[:, None])])
        belief = SimpleNamespace(features=[np.ones((1, 1))])
        return allowed_treatments(cast(Any, bound), cast(Any, belief))[0]

    assert allowed((0, 1), 0.5, 0.05, 0.01) == (1,)
    assert allowed((0,), 0.5, 0.05, 0.2, 0.01) == (1, 3)
    assert allowed((0, 2), 0.5, 0.3, 0.2) == (0, 2)


def test_a_complication_costs_its_work_its_parts_and_its_charges() -> None:
    known = load_knowledge()
    tariff = Tariff(known, known.engines["ostrel_4"])
    risks = {risk.name: risk for repair in known.repairs.values() for risk in repair.risks if risk.parts}
    assert risks
    for risk in risks.values():
        bare = risk.model_copy(update={"parts": {}})
        price = sum(count * known.prices.parts[part].price.value for part, count in risk.parts.items())
        assert tariff.risk_money(risk) - tariff.risk_money(bare) == pytest.approx(price)
        charged = risk.model_copy(update={"money": risk.money.model_copy(update={"value": risk.money.value + 12.0})})
        assert tariff.risk_money(charged) - tariff.risk_money(risk) == pytest.approx(12.0)


def test_the_order_does_not_depend_on_the_currency() -> None:
    """Gluss (1959): by falling p/C. The same actions priced in a currency a hundred times as dear."""
    actions = [Action("a", 0.4, 5.0), Action("b", 0.3, 15.0), Action("c", 0.2, 1.0), Action("d", 0.1, 2.0)]
    dear = [structs.replace(action, cost=action.cost / 100.0) for action in actions]
    assert [each.name for each in best_order(dear)] == [each.name for each in best_order(actions)]
    assert [each.name for each in best_order(dear)] == ["c", "a", "d", "b"]
    assert best_order([*dear, Action("free", 0.01, 0.0)])[0].name == "free"


def test_a_finding_tells_as_much_as_its_likelihoods_lie_apart() -> None:
    """The logarithm of ten to one; all the same tells nothing; what rules something out tells most."""
    assert _telling(np.array([[0.09, 0.9]])) == pytest.approx(np.log(10.0))
    assert _telling(np.array([[0.5, 0.5]])) == 0.0
    assert _telling(np.array([[0.0, 0.5]])) == np.inf


@pytest.mark.parametrize(("finding", "towed"), [("no_start", True), ("hard_start", False)])
def test_it_is_towed_where_it_does_not_start(finding: str, towed: bool) -> None:
    known = load_knowledge()
    engine = known.engines["ostrel_4"]
    case = Case("x", engine, "ostrel_4", 150_000.0, 9.0, epochs=(Epoch((), (Answer(finding, None, "present"),)),))
    assert no_start(known, case) is towed
    silent = replace(case, epochs=(Epoch((), (Answer(finding, None, "absent"),)),))
    assert not no_start(known, silent)


@pytest.mark.parametrize(
    ("months", "km", "yearly", "covered"),
    [(24.0, 20_000.0, 20_000.0, 12.0), (24.0, 80_000.0, 20_000.0, 24.0), (24.0, None, 20_000.0, 24.0),
     (24.0, 20_000.0, 0.0, 24.0), (None, 20_000.0, 20_000.0, 0.0)],
)  # fmt: skip
def test_a_guarantee_ends_with_its_months_or_its_kilometres(
    months: float | None, km: float | None, yearly: float, covered: float
) -> None:
    terms = SimpleNamespace(guarantee_months=months, guarantee_km=km)
    prices = SimpleNamespace(terms=terms, customer=SimpleNamespace(km_per_year=SimpleNamespace(value=yearly)))
    luck = SimpleNamespace(ready=SimpleNamespace(knowledge=SimpleNamespace(prices=prices)))
    assert _guarantee_months(cast(Any, luck)) == covered


@pytest.mark.parametrize(("yearly", "km", "months"), [(0.0, 30_000.0, 36.0), (20_000.0, 30_000.0, 18.0)])
def test_a_horizon_in_kilometres_ends_when_they_are_driven(yearly: float, km: float, months: float) -> None:
    """And not at all for a vehicle that is not driven."""
    figure = SimpleNamespace
    customer = SimpleNamespace(
        horizon_months=figure(value=36.0),
        horizon_km=figure(value=km),
        km_per_year=figure(value=yearly),
        discount_per_year=figure(value=0.04),
    )
    tariff = SimpleNamespace(knowledge=SimpleNamespace(prices=SimpleNamespace(customer=customer)))
    assert horizon(cast(Any, tariff)).ends[-1] == pytest.approx(months)


def test_a_check_for_one_kind_of_injector_is_not_for_the_other() -> None:
    known = load_knowledge()
    (check,) = (name for name, each in known.checks.items() if each.only_injector is not None)
    kind = known.checks[check].only_injector
    said = {}
    for name, engine in known.engines.items():
        case = SimpleNamespace(engine=engine, cannot=(), epochs=())
        ready = SimpleNamespace(knowledge=known, case=case, danger=SimpleNamespace(cautions=()))
        said[name] = why_not(cast(Any, ready), check)
    assert {name for name, why in said.items() if not why} == {
        name for name, engine in known.engines.items() if engine.injector == kind
    }
    assert any(said.values())


def test_what_is_not_named_costs_nothing() -> None:
    assert Breakdown("EUR").total.amount == 0.0
    assert Breakdown("EUR", come_back=3.0, labour=4.0).total.amount == pytest.approx(7.0)
    assert Breakdown("EUR", come_back=3.0, labour=4.0).invoice.amount == pytest.approx(4.0)


def test_worlds_of_evidence_made_lighter_say_that_they_are_approximate() -> None:
    known = knowledge(Figures(injector_bad=0.2, pump_worn=0.2))
    case = case_of(known, TOLD)
    ready = reckon(known, case, network_of(known, case))
    assert not world_table(ready.bound, ready.network, ready.posterior).approximate
    assert world_table(ready.bound, ready.network, ready.posterior, most_terms=1).approximate


def test_what_has_to_follow_a_job_is_done_with_it() -> None:
    """Every job that a repair asks to be done after it, and what these ask for; none twice."""
    known = load_knowledge()
    tariff = Tariff(known, known.engines["karrick_v6"])
    asking = [job for job in tariff.jobs("mend") if known.repairs[job.repair].then]
    assert asking
    for job in asking:
        found = tariff.with_followers(job)
        assert found[0] == job and len(set(found)) == len(found)
        assert set(known.repairs[job.repair].then) <= {each.repair for each in found[1:]}
        for each in found:
            assert set(known.repairs[each.repair].then) <= {other.repair for other in found}
        for each in found[1:]:
            assert each.place == (job.place if known.repairs[each.repair].on == "cylinder" else each.place)


def test_the_chance_that_a_part_is_sound_is_that_of_all_worlds() -> None:
    known = knowledge(Figures(injector_bad=0.2, pump_worn=0.2))
    case = case_of(known, TOLD)
    ready = reckon(known, case, network_of(known, case))
    slow = slow_of(known, case, ready.network)
    for key in (("seal", 1), ("seal", 2), ("injector", 1), ("pump", None)):
        expected = float(slow.chance[slow.state(*key) == 0].sum())
        assert _sound_chance(ready, key) == pytest.approx(expected, abs=1e-9)
    assert _sound_chance(ready, ("no such thing", 1)) == 1.0


@pytest.mark.parametrize("shipped", [False, True])
@pytest.mark.parametrize("focus", [None, 0, 1, 2])
def test_costs_split_for_the_checks_add_up_to_the_totals_of_the_plans(focus: int | None, shipped: bool) -> None:
    """Between all plans around which checks are valued, the specialist included: the same differences as their
    totals have, whether they are read at one plate or at none (the sum over all that may be there)."""
    known = knowledge(Figures(injector_bad=0.2, pump_worn=0.2, refer=300.0, return_visit=400.0))
    case = case_of(known, TOLD)
    if shipped:
        known = load_knowledge()
        told = tuple(Answer(name, place, "present") for name, place in (("rough_idle", None), ("weak_cutout", 2)))
        case = Case("x", known.engines["ostrel_3"], "ostrel_3", 190_000.0, 10.0, epochs=(Epoch((), told),))
    ready = reckon(known, case, network_of(known, case))
    decision = decide_repair(ready)
    setting = setting_of(ready, decision, 1.0)
    sites = tuple(range(len(ready.bound.sites)))
    every = [site.thinkable for site in ready.bound.sites]
    some = {*setting.bases, *neighbours(setting.bases[:2], sites, every)}
    pool = with_ways_out(ready, setting.catalogue, candidates(setting.catalogue, tuple(sorted(some))))
    split = functionals_of(setting.catalogue, pool, setting.ground, focus, setting.ratios)
    values = np.ones((1, len(setting.ground.weights))) if focus is None else setting.ground.values[focus]
    weights = setting.ground.weights if focus is None else 1.0
    rows = (split.gradient * values[split.option] * weights).sum(axis=1)
    told = split.combine @ rows
    specialist = next(option for option in decision.options if option.name == SPECIALIST)
    totals = [
        specialist.total.amount if plan is None else cost_in_parts(ready.problem, plan).total.amount
        for plan in pool.plans
    ]
    assert len(totals) > 3 and np.ptp(totals) > 50.0
    close = 0.01 if shipped else 1e-6  # money: totals leave out configurations below 1e-5 together
    assert told - told[0] == pytest.approx(np.array(totals) - totals[0], abs=close)


def test_the_error_of_a_mean_is_that_of_the_textbook() -> None:
    """Of 1, 2, 3, 4, 5: mean 3, s^2 = 10/4, and s over the root of 5 is 0.7071."""
    found = _percentiles(np.array([4.0, 1.0, 5.0, 3.0, 2.0]))
    assert (found.mean, found.mean_error) == (pytest.approx(3.0), pytest.approx(np.sqrt(0.5)))


@pytest.mark.parametrize(("money", "stays"), [(10.0, True), (30.0, False)])
def test_doing_nothing_saves_the_road_test(money: float, stays: bool) -> None:
    """Leak check and road test cost 20 where anything is done: what costs 10 more and does nothing may still pay."""
    fees, job = structs.replace(FEES, finish=20.0), Job("reseal", 1)
    works, idle = structs.replace(treatment(0.0, False), jobs=(job,)), treatment(money, False)
    assert (1 in surviving(site(works, idle), HALF, fees, 0.0, 0.0)) is stays
    assert 1 not in surviving(site(works, structs.replace(idle, jobs=(job,))), HALF, fees, 0.0, 0.0)
