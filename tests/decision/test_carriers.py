"""What may be behind a danger, and how much of it a plan takes away: against the sum over worlds, and as a rule."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from msgspec import structs

from diag.basics import Place
from diag.casebook import DangerTold, read_case
from diag.decision import Job, decide_repair, reckon
from diag.decision.believing import belief_of
from diag.decision.binding import plan_of
from diag.decision.candidates import base_plans
from diag.decision.carriers import carriers_of, chance_gone, with_carriers
from diag.decision.danger import cure_share, is_carried, reason_against
from diag.decision.objective import DANGER_THRESHOLD, LEAST_CURE_IN_DANGER
from diag.decision.plans import Reckoning
from diag.decision.tariff import tariff_of
from diag.knowledge_base import load_knowledge
from diag.network import build
from tests.decision.reference import slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

KNOWLEDGE = load_knowledge()
DANGERS = ("cabin_smell: present", "knock: present", "fuel_drips: likely", "oil_level_rising: present")
BESIDE = ("", "rough_idle: present", "tar: {2: present}, chuff: {2: present}", "return_joint_wet: {3: present}")


def test_carriers_are_what_the_knowledge_has_behind_it_and_only_in_the_states_that_bring_it() -> None:
    """Fuel thins the oil from an injector that dribbles or stays open, not from one that is electrically dead."""
    tariff = tariff_of(KNOWLEDGE, KNOWLEDGE.engines["ostrel_3"])
    found = carriers_of(tariff, DangerTold("oil_level_rising"))
    states = list(KNOWLEDGE.components["injector"].states)
    assert {state for state, brings in zip(states, found["injector", 2], strict=True) if brings} == {
        "dribbling",
        "stuck_open",
    }
    assert {place for name, place in found if name == "injector"} == {1, 2, 3}
    assert ("wiring", 1) not in found and ("glow", None) not in found
    here = carriers_of(tariff, DangerTold("return_joint_wet", places=(3,)))
    assert here == {("return_pipe", 3): (False, True)}
    joint = carriers_of(tariff, DangerTold("wet_joint", places=(2,)))
    assert {place for _, place in joint} == {2}
    assert {"seal", "clamp", "return_pipe", "pressure_pipe"} <= {name for name, _ in joint}


PLANS: tuple[tuple[Job, ...], ...] = (
    (),
    (Job("reseal", 1),),
    (Job("replace_injector", 1),),
    (Job("replace_injector", 1), Job("reseal", 2), Job("replace_pump", None)),
)


@pytest.mark.parametrize("jobs", PLANS)
def test_the_chance_that_it_is_gone_is_the_sum_over_worlds(jobs: tuple[Job, ...]) -> None:
    """Renewed parts count with their chance to be unsound from new, everything else as it is in each world."""
    figures = Figures(injector_bad=0.2, pump_worn=0.2)
    known = knowledge(figures)
    case = case_of(known, {("shaking", None): "present", ("chuff", 1): "present"}, figures.distance)
    network = network_of(known, case)
    ready, slow = reckon(known, case, network, also=[jobs] if jobs else ()), slow_of(known, case, network)
    told = (DangerTold("shaking"), DangerTold("chuff", places=(1,)), DangerTold("fuel_jet", places=(2,)))
    bound = with_carriers(ready.bound, told)
    belief = belief_of(bound, network.model, network.evidence, ready.posterior)
    plan = plan_of(bound, jobs)
    assert plan is not None
    behind: tuple[tuple[tuple[str, Place], ...], ...] = (
        (*(("seal", cylinder) for cylinder in case.engine.cylinders), ("injector", 1), ("injector", 2), ("pump", None)),
        (("seal", 1),),
        (("injector", 2),),
    )
    renewed = {("seal", job.place) for job in jobs if job.place is not None}
    renewed |= {("injector", job.place) for job in jobs if job.repair == "replace_injector"}
    renewed |= {("pump", None) for job in jobs if job.repair == "replace_pump"}
    for number, keys in enumerate(behind):
        chance = np.ones(len(slow.chance))
        for key in keys:
            new = network.fresh(*key, mended=True)[0, 0]
            chance *= new if key in renewed else slow.state(*key) == 0
        assert chance_gone(bound, belief, plan, number) == pytest.approx(float(slow.chance @ chance), rel=1e-9)


def _ready(engine: str, findings: str) -> Reckoning:
    text = f"engine: {engine}\ndistance: 180000 km\nage: 9 years\nfindings: {{{findings}}}\n"
    case = read_case("x.yaml", KNOWLEDGE, text)
    return reckon(KNOWLEDGE, case, build(KNOWLEDGE, case))


@pytest.mark.parametrize("engine", KNOWLEDGE.engines)
def test_no_plan_that_is_allowed_leaves_a_danger_likelier_than_the_rule_says(engine: str) -> None:
    """The rule was that a plan mends half of everything. One that mends half of what is behind the danger leaves that
    no likelier than such a plan might: P(gone) >= (1 + P(nothing behind it)) / 2 >= (1 + P(nothing wrong)) / 2."""
    draw, allowed = random.Random(engine), 0
    for told in (", ".join(each for each in (danger, other) if each) for danger in DANGERS for other in BESIDE):
        ready = _ready(engine, told)
        bound, belief, problem = ready.bound, ready.problem.belief, ready.problem
        nothing = tuple(0 for _ in problem.sites)
        unharmed = chance_gone(bound, belief, nothing)
        best = plan_of(bound, decide_repair(ready, briefly=True).best.jobs)
        plans = [best] if best is not None and any(best) else []
        for _ in range(200):
            plan = list(nothing)
            for site in draw.sample(range(len(plan)), draw.choice((1, 2, 3))):
                plan[site] = draw.randrange(len(problem.sites[site].treatments))
            plans.append(tuple(plan))
        for plan in plans:
            if any(plan) and not reason_against(KNOWLEDGE, ready.danger, bound, belief, plan):
                allowed += 1
                for number in range(len(ready.danger.told)):
                    gone = chance_gone(bound, belief, plan, number)
                    assert gone >= (1.0 + unharmed) / 2.0 - 1e-9, told
                    share = cure_share(gone, chance_gone(bound, belief, nothing, number))
                    assert 1.0 - gone < DANGER_THRESHOLD or share >= LEAST_CURE_IN_DANGER, told
    assert allowed > 10


def test_a_harmless_fault_that_is_left_bars_no_work_on_the_danger() -> None:
    """A wet return joint is mended whatever the glow plugs may have; work on these alone is no answer to it."""
    ready = _ready("ostrel_4", "return_joint_wet: {3: present}, wet_joint: {3: present}, hard_start: present")
    pipe, glow = ((Job("replace_return_pipe", 3),), (Job("replace_glow", None),))
    ready = reckon(KNOWLEDGE, ready.case, ready.network, also=[pipe, glow])
    plans = [plan_of(ready.bound, jobs) for jobs in (pipe, glow)]
    reasons = []
    for plan in plans:
        assert plan is not None
        reasons.append(reason_against(KNOWLEDGE, ready.danger, ready.bound, ready.problem.belief, plan))
    plan, nothing = plans[0], tuple(0 for _ in ready.bound.sites)
    assert plan is not None
    every = (chance_gone(ready.bound, ready.problem.belief, each) for each in (plan, nothing))
    assert cure_share(*every) < LEAST_CURE_IN_DANGER
    assert is_carried(ready.bound, ready.problem.belief, 0)
    assert reasons[0] == ""
    assert "of what may be behind the danger, too little while" in reasons[1]


def test_where_a_way_out_is_best_answers_may_still_make_work_at_one_place_worth_doing() -> None:
    """All injectors may be fitted while it knocks, but that is far from what a code of one injector would lead to."""
    ready = _ready("karrick_v6", "knock: present, rough_idle: present, cabin_smell: likely")
    decision = decide_repair(ready, briefly=True)
    assert decision.best.name == "stop_driving"
    renewing = tuple(Job("replace_injector", cylinder) for cylinder in ready.case.engine.cylinders)
    plan = plan_of(ready.bound, renewing)
    assert plan is not None
    open_too = replace(decision.best, name="own", jobs=renewing, barred="")
    bases, _ = base_plans(ready, structs.replace(decision, options=(*decision.options, open_too)))
    assert {plan, tuple(0 for _ in plan)} <= set(bases)
