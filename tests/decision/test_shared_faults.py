"""Plans beside shared faults that reach into cylinders: what becomes of new parts, in the decision and in practice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diag.casebook import Epoch, Work, read_case
from diag.decision import Job, decide_repair, reckon
from diag.decision.binding import plan_of
from diag.decision.search import chance_of_cure
from diag.decision.tariff import tariff_of
from diag.knowledge_base import load_knowledge
from diag.network import build
from diag.training.worlds import World, after_work

KNOWN = load_knowledge()
DEBRIS = read_case(
    "case.yaml",
    KNOWN,
    "engine: ostrel_4\ndistance: 187000 km\nage: 11 years\nnumbering: confirmed\n"
    "findings: {rough_idle: present, hard_start: present, metal_in_fuel: present}\n"
    "readings: {return_flow: {1: 60 mL/min, 2: 20 mL/min, 3: 25 mL/min, 4: 70 mL/min}}\n",
)
FLUSH, NEW = Job("flush_fuel_system", None), tuple(Job("replace_injector", cylinder) for cylinder in (1, 2, 3, 4))
PLANS = {
    "flushed": (FLUSH, *NEW),
    "two of them": (FLUSH, NEW[0], NEW[3]),
    "not flushed": NEW,
    "flushed alone": (FLUSH,),
}


@pytest.mark.parametrize("name", PLANS)
def test_a_plan_cures_as_often_as_nothing_is_wrong_once_it_was_done(name: str) -> None:
    """The same work told as tried, with nothing found since: there the epochs of the network say what becomes of new
    injectors, in a system with debris or in one that was cleaned in the same visit."""
    jobs = PLANS[name]
    ready = reckon(KNOWN, DEBRIS, build(KNOWN, DEBRIS), also=(jobs,))
    plan = plan_of(ready.bound, jobs)
    assert plan is not None
    every = [each for site, n in zip(ready.bound.plain, plan, strict=True) for each in site.treatments[n].jobs]
    done = Epoch(tuple(Work(job.repair, job.place) for job in every))
    after = replace(DEBRIS, epochs=(*DEBRIS.epochs, done))
    then = reckon(KNOWN, after, build(KNOWN, after))
    nothing_wrong = chance_of_cure(then.problem, tuple(0 for _ in then.problem.sites))
    assert chance_of_cure(ready.problem, plan) == pytest.approx(nothing_wrong, rel=1e-4)


def test_metal_in_the_filter_and_two_bad_injectors_call_for_both() -> None:
    """It had been 'nothing now', since the new injectors counted as spoilt by what the plan takes out."""
    best = decide_repair(reckon(KNOWN, DEBRIS, build(KNOWN, DEBRIS))).best
    assert {FLUSH, NEW[0], NEW[3]} <= set(best.jobs)


@pytest.mark.parametrize(("jobs", "often"), [((FLUSH, NEW[0]), 0.036), ((NEW[0],), 0.464)])
def test_a_new_injector_of_a_practice_case_is_spoilt_by_debris_that_is_left_alone(
    jobs: tuple[Job, ...], often: float
) -> None:
    """Of 2,000 vehicles with debris, within five standard errors; flushing leaves some in one of two hundred."""
    network = build(KNOWN, DEBRIS)
    states = dict.fromkeys(network.layout.versions, 0) | {("fuel_debris", None): 1}
    tariff = tariff_of(KNOWN, DEBRIS.engine)
    worlds = (World(seed, states, (), {}, {}) for seed in range(2_000))
    bad = sum(after_work(tariff, network, world, jobs).states["injector", 1] != 0 for world in worlds)
    assert abs(bad / 2_000 - often) < 5.0 * (often * (1.0 - often) / 2_000) ** 0.5
