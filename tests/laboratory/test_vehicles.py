"""Simulated vehicles and their money, against the model's own exact answers on the tiny workshop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.basics import ImpossibleEvidence, UsageError
from diag.casebook import Answer, Case, Epoch, Measured, with_answer
from diag.decision import Job, price, realised, reckon
from diag.inference import infer
from diag.knowledge_base import Knowledge, load_knowledge, with_values
from diag.laboratory import (
    POLICIES,
    CheckStep,
    Plan,
    RepairStep,
    Workshop,
    certain_posterior,
    certainty_of,
    draw_fleet,
    policy_named,
    starts_of,
    study,
)
from diag.network import build, component_states, foreseen, severity_chances, weigh
from tests.decision.small_cases import calm
from tests.decision.tiny import Figures, case_of, knowledge, network_of

FIGURES = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=500.0)
VEHICLES = 2_000


@pytest.fixture(scope="module")
def tiny() -> Knowledge:
    return calm(knowledge(FIGURES))


@pytest.fixture(scope="module")
def start(tiny: Knowledge) -> Case:
    return case_of(tiny, {("shaking", None): "present"}, FIGURES.distance)


def near(share: float, chance: float, draws: int) -> bool:
    """Within four and a half standard errors."""
    return abs(share - chance) < 4.5 * np.sqrt(max(chance * (1 - chance), 1e-6) / draws)


def test_vehicles_come_as_often_as_the_model_says(tiny: Knowledge, start: Case) -> None:
    """After the complaint, states and levels of the vehicles drawn are as frequent as their exact posteriors."""
    fleet = draw_fleet(tiny, start, VEHICLES, seed=5)
    weighed = weigh(tiny, start)
    for key, chances in component_states(weighed.network, weighed.posterior).items():
        for state, chance in enumerate(chances):
            share = float(np.mean([drawn.levels[key] == state for drawn in fleet]))
            assert near(share, float(chance), VEHICLES), key
    for line in severity_chances(weighed.network, weighed.posterior):
        levels = list(tiny.severities[line.severity].levels)
        share = float(np.mean([levels[drawn.levels[line.severity, line.place]] == line.level for drawn in fleet]))
        assert near(share, line.probability, VEHICLES), line


def test_what_a_vehicle_shows_under_another_condition_is_what_the_model_expects() -> None:
    """One luck may be behind a finding under all conditions: after the complaint under one, another is as frequent as
    its exact posterior, for the vehicle and, of two that were not told, for a cylinder."""
    shipped = load_knowledge()
    told = (Answer("rough_idle", None, "present", "cold"), Answer("white_smoke", None, "present", "cold"))
    case = Case("luck", shipped.engines["ostrel_3"], "ostrel_3", 187_000.0, 11.0, (), (Epoch((), told),))
    network, fleet = build(shipped, case), draw_fleet(shipped, case, VEHICLES, seed=9)
    for item in ("rough_idle", "white_smoke"):
        share = float(np.mean([drawn.answer(item, None, "warm").answer == "present" for drawn in fleet]))
        expected = {each.outcome: each.chance for each in foreseen(network, item, None, "warm")}["present"]
        assert near(share, expected, VEHICLES), item
        alone = foreseen(build(shipped, replace(case, epochs=(Epoch(),))), item, None, "warm")
        assert not near(share, {each.outcome: each.chance for each in alone}["present"], VEHICLES)
    both = [(drawn.answer("chuff", 2, "cold").answer, drawn.answer("chuff", 2, "load").answer) for drawn in fleet]
    after = with_answer(case, shipped, "chuff", 2, "present", "cold")
    (first,) = (each.chance for each in foreseen(network, "chuff", 2, "cold") if each.outcome == "present")
    (then,) = (each.chance for each in foreseen(build(shipped, after), "chuff", 2, "load") if each.outcome == "present")
    assert near(both.count(("present", "present")) / VEHICLES, first * then, VEHICLES)


@pytest.mark.parametrize("engine", ["tiny", "karrick_v8"])
def test_what_is_known_for_certain_is_what_weighing_it_says(engine: str, start: Case, tiny: Knowledge) -> None:
    shipped = load_knowledge()
    known, case = (tiny, start) if engine == "tiny" else (shipped, starts_of(shipped, engine)[5])
    network = build(known, case)
    for drawn in draw_fleet(known, case, 8, seed=11):
        told = certainty_of(network, drawn.vehicle)
        weighed, certain = infer(network.model, told), certain_posterior(network, drawn.vehicle)
        np.testing.assert_allclose(certain.configurations, weighed.configurations, atol=1e-12)
        for here, there in zip(certain.components, weighed.components, strict=True):
            for one, other in zip(here, there, strict=True):
                np.testing.assert_allclose(one, other, atol=1e-12)
        for here, axes in zip(certain.axes, weighed.axes, strict=True):
            for one, other in zip(here, axes, strict=True):
                np.testing.assert_allclose(one, other, atol=1e-12)


def test_the_objective_is_the_mean_of_simulated_money(tiny: Knowledge, start: Case) -> None:
    """What a plan is expected to cost is the mean of what it costs on vehicles drawn, within four and a half standard
    errors, for three plans."""
    fleet = draw_fleet(tiny, start, VEHICLES, seed=6)
    for jobs in ((), (Job("reseal", 1),), (Job("replace_injector", 2), Job("replace_pump", None))):
        ready = reckon(tiny, start, network_of(tiny, start), also=[jobs] if jobs else ())
        expected = price(ready, jobs)
        assert expected is not None
        found = [realised(ready, jobs, drawn.vehicle) for drawn in fleet]
        money = np.array([each.total for each in found if each is not None])
        assert len(money) == VEHICLES
        assert abs(money.mean() - expected.breakdown.total.amount) < 4.5 * money.std() / np.sqrt(VEHICLES)


@pytest.mark.parametrize(
    ("job", "days"), [(Job("replace_injector", 2), 1), (Job("replace_pump", None), 2), (Job("refer", None), 3)]
)
def test_days_without_the_vehicle_cost_a_known_vehicle_what_they_were_expected_to(job: Job, days: int) -> None:
    """They are in the total, not in the invoice, of work here (by the part it waits for) and of a way out alike."""
    known = with_values(load_knowledge(), {("repairs", "refer", "days"): 3.0})
    case = starts_of(known, "ostrel_4")[0]
    network = build(known, case)
    ready = reckon(known, case, network, also=[(job,)] if job.repair != "refer" else ())
    expected = price(ready, (job,))
    found = realised(ready, (job,), draw_fleet(known, case, 1, seed=3)[0].vehicle)
    assert expected is not None and found is not None
    assert found.breakdown.waiting == expected.breakdown.waiting == days * 35.0
    for part in ("access", "labour", "parts", "charges", "finish"):
        assert getattr(found.breakdown, part) == pytest.approx(getattr(expected.breakdown, part)), part


def test_no_policy_is_cheaper_than_knowing_the_truth(tiny: Knowledge, start: Case) -> None:
    """On every vehicle and under every policy, the truth known from the start costs no more."""
    workshop = Workshop(tiny, tiny, start)
    for drawn in draw_fleet(tiny, start, 25, seed=7):
        for name in POLICIES:
            run = workshop.run(drawn, policy_named(name))
            assert run.least <= run.total + 1e-6, (name, drawn.number)


def test_one_ranking_serves_with_and_without_looking_ahead(tiny: Knowledge, start: Case) -> None:
    """What 'one step' does is the same whether or not pairs of checks were looked at for another policy before."""
    both, alone = Workshop(tiny, tiny, start), Workshop(tiny, tiny, start)
    for drawn in draw_fleet(tiny, start, 12, seed=12):
        both.run(drawn, policy_named("looking ahead"))
        assert both.run(drawn, policy_named("one step")) == alone.run(drawn, policy_named("one step"))


class _Baffled:
    """Listens once, and then finds what it heard impossible."""

    name = "baffled"

    def __init__(self, repair: RepairStep) -> None:
        self.repair = repair

    def step(self, desk: object, case: Case, spent: float) -> CheckStep:
        if spent:
            raise ImpossibleEvidence
        return CheckStep("listen", 1, 5.0, (), self.repair)


def test_where_no_answer_fits_the_numbers_what_seemed_best_before_is_done(tiny: Knowledge, start: Case) -> None:
    """Its money is that of the repair which the last step named, and the case is told as stuck."""
    drawn = draw_fleet(tiny, start, 1, seed=13)[0]
    repair = RepairStep((Job("reseal", 1),))
    run = Workshop(tiny, tiny, start).run(drawn, _Baffled(repair))
    ready = reckon(tiny, start, network_of(tiny, start), also=[repair.jobs])
    expected = realised(ready, repair.jobs, drawn.vehicle)
    assert expected is not None
    assert run.stuck and run.checks == 1
    assert run.repair == pytest.approx(expected.total)


def test_what_the_advice_expects_is_what_it_costs(tiny: Knowledge, start: Case) -> None:
    """Over many cases the cost that was expected at the repair is the cost that came, within its standard error."""
    workshop, policy = Workshop(tiny, tiny, start), policy_named("looking ahead")
    runs = [workshop.run(drawn, policy) for drawn in draw_fleet(tiny, start, 300, seed=8)]
    off = np.array([run.repair - run.expected for run in runs if run.expected is not None])
    assert len(off) == len(runs)
    assert abs(off.mean()) < 4.5 * off.std() / np.sqrt(len(off))


def test_answers_do_not_depend_on_who_asks_or_when(tiny: Knowledge, start: Case) -> None:
    """The same vehicle gives the same answers in any order; another seed gives other vehicles."""
    one, again = (draw_fleet(tiny, start, 40, seed=9) for _ in range(2))
    asked = [("chuff", 1), ("spray", 2), ("whine", None)]
    forwards = [[drawn.answer(item, place, None) for item, place in asked] for drawn in one]
    backwards = [[drawn.answer(item, place, None) for item, place in reversed(asked)][::-1] for drawn in again]
    assert forwards == backwards
    other = [
        [drawn.answer(item, place, None) for item, place in asked] for drawn in draw_fleet(tiny, start, 40, seed=10)
    ]
    assert other != forwards


def test_readings_are_drawn_as_the_instrument_shows_them() -> None:
    """On a shipped engine corrections of all cylinders sum to about zero, and readings stay within their range."""
    shipped = load_knowledge()
    start = starts_of(shipped, "ostrel_4", ["rough_idle"])[1]
    for drawn in draw_fleet(shipped, start, 10, seed=3):
        shown = [drawn.answer("correction", cylinder, None) for cylinder in (1, 2, 3, 4)]
        values = [each.value for each in shown if isinstance(each, Measured)]
        reading = shipped.readings["correction"]
        assert len(values) == 4
        assert all(reading.lowest <= value <= reading.highest for value in values)
        assert max(abs(value) for value in values) >= 9 or abs(sum(values)) < 3.0
        assert isinstance(drawn.answer("tar", 2, None), Answer)


def test_wrong_numbers_cost_money(tiny: Knowledge, start: Case) -> None:
    """On vehicles whose pumps wear far more often than the policy believes, knowing that is cheaper on average."""
    true = calm(knowledge(Figures(injector_bad=0.02, pump_worn=0.6, refer=1e6, return_visit=500.0)))
    fleet, policy = draw_fleet(true, start, 400, seed=11), policy_named("looking ahead")
    misled, knowing = Workshop(tiny, true, start), Workshop(true, true, start)
    lost = np.array([misled.run(each, policy).total - knowing.run(each, policy).total for each in fleet])
    assert lost.mean() > 2 * lost.std() / np.sqrt(len(lost))
    assert [misled.least(each.vehicle) for each in fleet] == [knowing.least(each.vehicle) for each in fleet]


def test_a_study_is_the_same_however_many_processes_share_it() -> None:
    """Two processes find exactly what one does."""
    shipped = load_knowledge()
    starts = starts_of(shipped, "ostrel_3", ["no_power"])[:2]
    plan = Plan(shipped, shipped, starts, 2, 1, ("likeliest at once", "chance over cost", "change everything"))
    alone, together = study(plan), study(plan, processes=2)
    assert alone == together
    assert alone.scores[0].dearer == 0.0
    assert all(score.beyond >= 0.0 for score in alone.scores)


def test_too_few_cases_and_no_such_start_are_refused(tiny: Knowledge, start: Case) -> None:
    """A standard error needs two cases; vehicles are drawn from a complaint alone."""
    with pytest.raises(UsageError, match="at least two cases"):
        study(Plan(tiny, tiny, (start,), 1, 1))
    crowns = tiny.model_copy(update={"prices": tiny.prices.model_copy(update={"currency": "CZK"})})
    with pytest.raises(UsageError, match="what is true are in CZK, those that are known in EUR; give both in one"):
        study(Plan(tiny, crowns, (start,), 2, 1))
    with pytest.raises(UsageError, match="there is no engine 'nowhere'"):
        starts_of(tiny, "nowhere")
