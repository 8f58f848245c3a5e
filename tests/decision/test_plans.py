"""One seal or all, and what is barred: the limits in which the answer is known."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from diag.basics import Place
from diag.decision import Job, Reckoning, RepairDecision, decide_repair, reckon
from diag.decision.candidates import base_plans
from diag.decision.danger import reason_against
from diag.decision.objective import DANGER_THRESHOLD
from diag.decision.search import cost_in_parts
from tests.decision.tiny import Figures, case_of, knowledge, network_of

Told = dict[tuple[str, Place], str]
BLOWS: Told = {("chuff", 1): "present", ("tar", 1): "present", ("chuff", 2): "absent", ("tar", 2): "absent"}
FREE = Figures(stress=0.0, fresh=0.0, upset=0.0, injector_bad=0.001, pump_worn=0.001)


def decide(figures: Figures, told: Told = BLOWS, banks: dict[str, tuple[int, ...]] | None = None) -> RepairDecision:
    known = knowledge(figures, banks)
    case = case_of(known, told, figures.distance)
    return decide_repair(reckon(known, case, network_of(known, case)))


def test_without_wear_shared_access_or_common_cause_only_the_failed_seal() -> None:
    """Shape 1, no common stress, nothing to open: renewing a sound seal brings nothing (limits of checks 9 and 10)."""
    found = decide(replace(FREE, shape=1.0, access=0.0))
    assert found.best.jobs == (Job("reseal", 1),)


def test_with_free_work_and_strong_wear_all_seals() -> None:
    """Hardly any work once open, and old seals of a steep life: all of them."""
    found = decide(replace(FREE, shape=4.0, scale=230_000.0, job=1.0, access=150.0))
    assert set(found.best.jobs) == {Job("reseal", 1), Job("reseal", 2)}


def test_a_dear_other_bank_is_left_closed() -> None:
    """Two banks with much to dismantle at each: the seals of the opened bank, the other bank stays closed."""
    figures = replace(FREE, shape=4.0, scale=230_000.0, job=1.0, access=400.0, distance=150_000.0)
    told = {**BLOWS, ("chuff", 3): "absent", ("tar", 3): "absent", ("chuff", 4): "absent", ("tar", 4): "absent"}
    found = decide(figures, told, {"A": (1, 2), "B": (3, 4)})
    assert {job.place for job in found.best.jobs} == {1, 2}


def test_the_higher_the_distance_the_nearer_all_seals() -> None:
    """The difference between all seals and only the failed one falls with the age of the others."""
    gaps = []
    for distance in (60_000.0, 160_000.0, 260_000.0):
        found = {option.name: option for option in decide(replace(FREE, distance=distance)).options}
        one = next(each for each in found.values() if set(each.jobs) == {Job("reseal", 1)})
        gaps.append(found["all seals"].total.amount - one.total.amount)
    assert gaps[0] > gaps[1] > gaps[2]


def test_renewed_seals_come_back_less() -> None:
    """Another seal visit is likelier the longer one waits, and less likely after all seals than after one."""
    options = decide(Figures()).options
    for option in options:
        assert option.again[12] <= option.again[24] <= option.again[36]
    by_jobs = {frozenset(option.jobs): option for option in options}
    one, every = frozenset({Job("reseal", 1)}), frozenset({Job("reseal", 1), Job("reseal", 2)})
    assert by_jobs[every].again[36] < by_jobs[one].again[36] < by_jobs[frozenset()].again[36]


def test_the_best_is_the_least_of_what_is_shown() -> None:
    """No option that is not barred is cheaper than the one advised, and exactly one is advised."""
    found = decide(Figures())
    fine = [option.total.amount for option in found.options if not option.barred]
    assert found.best.total.amount == pytest.approx(min(fine))
    assert sum(option.best for option in found.options) == 1


def test_danger_bars_leaving_it_whatever_the_money() -> None:
    """With a finding of danger 'nothing now' is barred, says why, and stands last, even where it is cheapest."""
    told: Told = {("fuel_jet", 1): "present"}
    cheap = Figures(return_visit=0.0, damage=0.0, refer=1e5)
    free = decide(cheap, {("spray", 1): "present"})
    barred = decide(cheap, told)
    nothing = next(option for option in barred.options if option.name == "nothing")
    assert free.danger.told == ()
    assert "not to be driven on, whatever the money" in nothing.barred
    assert not barred.best.barred
    assert barred.best.jobs
    assert barred.danger.cautions == ("fire",)
    assert [bool(option.barred) for option in barred.options] == sorted(bool(o.barred) for o in barred.options)


def test_a_probable_dangerous_state_is_not_left_behind() -> None:
    """Where an injector is probably in a dangerous state, every plan that is not barred renews it or hands it on."""
    found = decide(Figures(injector_bad=0.3, refer=1e5), {("spray", 2): "present"})
    assert [state[:2] for state in found.danger.states] == [("injector", 2), ("injector", 1)] or found.danger.states
    for option in found.options:
        if not option.barred and option.name not in ("refer", "stop_driving"):
            assert Job("replace_injector", 2) in option.jobs, option.title


def in_danger(returns: float = 150.0) -> Reckoning:
    """Fuel jets at one of four cylinders, and one more injector is suspect enough that it may not be left."""
    told: Told = {("fuel_jet", 1): "present", ("spray", 2): "present", ("spray", 3): "absent", ("spray", 4): "absent"}
    known = knowledge(Figures(injector_bad=0.02, return_visit=returns, refer=1e5), {"A": (1, 2, 3, 4)})
    case = case_of(known, told)
    return reckon(known, case, network_of(known, case))


@pytest.mark.parametrize("returns", [150.0, 900.0])
def test_in_danger_the_best_is_the_cheapest_of_all_plans_that_are_not_barred(returns: float) -> None:
    """Against every plan that there is; none of the usual options is it."""
    ready = in_danger(returns)
    problem, found = ready.problem, decide_repair(ready)
    totals = [
        cost_in_parts(problem, plan).total.amount
        for plan in product(*(range(len(site.treatments)) for site in problem.sites))
        if not reason_against(ready.knowledge, ready.danger, ready.bound, problem.belief, plan)
    ]
    assert len(totals) > 1
    assert found.best.total.amount == pytest.approx(min(totals))
    assert set(found.best.jobs) not in [set(option.jobs) for option in ready.named]


def test_around_the_best_only_work_that_leaves_no_danger_is_looked_at() -> None:
    """At each site where that can be done; with no danger all that may be best after some answer."""
    ready = in_danger()
    _, allowed = base_plans(ready, decide_repair(ready))
    left = 0
    for site, features, some in zip(ready.bound.sites, ready.problem.belief.features, allowed, strict=True):
        assert all(float(site.danger[choice] @ features[0]) < DANGER_THRESHOLD for choice in some), site.site.name
        left += len(set(site.thinkable) - set(some))
    assert left
    known = knowledge(Figures(injector_bad=0.001))
    calm = reckon(known, case_of(known, BLOWS), network_of(known, case_of(known, BLOWS)))
    assert not calm.danger.present
    assert base_plans(calm, decide_repair(calm))[1] == tuple(site.thinkable for site in calm.bound.sites)


def test_a_rare_dangerous_state_bars_nothing() -> None:
    """Below the threshold nothing is barred."""
    found = decide(Figures(injector_bad=0.001), BLOWS)
    assert DANGER_THRESHOLD > 0.05
    assert not found.danger.present
    assert not any(option.barred for option in found.options)


def test_standing_still_is_offered_only_for_danger() -> None:
    """'Stop driving' costs nothing here, so it would always look cheap; it answers danger, not a fault."""
    assert "stop_driving" not in {option.name for option in decide(Figures()).options}
    assert "stop_driving" in {option.name for option in decide(Figures(), {("fuel_jet", 1): "present"}).options}


def test_a_cheap_specialist_is_found() -> None:
    """Where nothing is clear and handing it on costs little, that is the advice."""
    told: Told = {("shaking", None): "present"}
    assert decide(Figures(refer=0.0, return_visit=900.0), told).best.name == "refer"
    assert decide(Figures(refer=5_000.0, return_visit=900.0), told).best.name != "refer"
