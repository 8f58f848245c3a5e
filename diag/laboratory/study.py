"""Many simulated cases under several policies, on all cores: every policy meets the same vehicles and answers.

Cases are spread evenly over starts (a complaint on a vehicle of an age); what comes out depends on the seed alone, not
on how many processes share the work. May import: casebook, knowledge_base, crew, basics, and the modules of this room.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from statistics import fmean, stdev

from diag.basics import UsageError, did_you_mean
from diag.casebook import PRESENT, Answer, Case, Epoch, as_the_maker_numbers
from diag.crew import ONE_AT_A_TIME, crew_of
from diag.knowledge_base import Knowledge
from diag.laboratory.policies import POLICIES, policy_named
from diag.laboratory.running import CaseRun, Workshop
from diag.laboratory.vehicles import draw_fleet

__all__ = ["VEHICLES", "Plan", "PolicyScore", "Study", "complaints", "starts_of", "study"]

VEHICLES = ((90_000.0, 5.0), (160_000.0, 9.0), (240_000.0, 13.0))  # distance in km, age in years
CHUNK = 25  # cases that one process runs at a time: of one start, so that what is decided once serves many


@dataclass(frozen=True)
class Plan:
    """What to simulate: `cases` on one engine, spread over `starts`; `belief` is what policies know, `truth` what is
    true (the same, unless one wants to see what wrong numbers cost)."""

    belief: Knowledge
    truth: Knowledge
    starts: tuple[Case, ...]
    cases: int
    seed: int
    policies: tuple[str, ...] = POLICIES


@dataclass(frozen=True)
class PolicyScore:
    """One policy over all cases, money in the currency: means with the standard error of the mean of `total`.

    `beyond`: mean total less that of perfect information; `dearer`: mean difference to the first policy of the study on
    the same cases, with its standard error; `stuck`: share of cases whose answers its numbers could not explain.
    """

    policy: str
    total: float
    error: float
    checks: float
    check_cost: float
    wrong: float
    returns: float
    beyond: float
    dearer: float
    dearer_error: float
    stuck: float


@dataclass(frozen=True)
class Study:
    """All runs, by case and policy, and the scores; `least`: mean cost where the truth is known from the start."""

    runs: tuple[CaseRun, ...]
    scores: tuple[PolicyScore, ...]
    least: float
    least_error: float
    currency: str


def complaints(knowledge: Knowledge) -> tuple[str, ...]:
    """Symptoms of the whole vehicle that a customer may come with, without those of danger (there a rule decides)."""
    severities = {name for name, severity in knowledge.severities.items() if severity.per == "vehicle"}
    return tuple(
        name
        for name, finding in knowledge.findings.items()
        if finding.kind == "symptom" and not finding.danger and finding.shows in severities
    )


def starts_of(
    knowledge: Knowledge,
    engine_id: str,
    told: Sequence[str] = (),
    vehicles: Sequence[tuple[float, float]] = VEHICLES,
) -> tuple[Case, ...]:
    """Starts on one engine: each complaint by itself, or `told` together, on vehicles of each distance and age."""
    if engine_id not in knowledge.engines:
        raise UsageError(f"there is no engine '{engine_id}'; {did_you_mean(engine_id, knowledge.engines, most=20)}")
    engine = knowledge.engines[engine_id]
    sets = [tuple(told)] if told else [(name,) for name in complaints(knowledge)]
    return tuple(
        Case(
            title=f"{' and '.join(some)}, {distance:,.0f} km",
            engine=engine,
            engine_id=engine_id,
            distance_km=distance,
            age_years=age,
            numbering=as_the_maker_numbers(knowledge),  # vehicles are drawn so, and policies may know it
            epochs=(Epoch(answers=tuple(Answer(name, None, PRESENT) for name in some)),),
        )
        for some in sets
        for distance, age in vehicles
    )


@dataclass(frozen=True)
class _Chunk:
    start: int
    first: int
    count: int


def study(plan: Plan, processes: int = 1, told: Callable[[int, int], None] | None = None, cluster: str = "") -> Study:
    """Run it. `told(done, cases)` is called as cases come in. The same plan gives the same study, however many
    `processes` share it, or the workers of a Dask `cluster` at an address. Raises UsageError where there is none."""
    if plan.cases < 2:
        raise UsageError("at least two cases are needed for a standard error")
    paid, true = (known.prices.currency for known in (plan.belief, plan.truth))
    if paid != true:
        raise UsageError(f"the prices of what is true are in {true}, those that are known in {paid}; give both in one")
    chunks = _chunks(plan)
    found: dict[_Chunk, tuple[CaseRun, ...]] = {}
    done = 0
    for chunk, runs in _all(plan, chunks, processes, cluster):
        found[chunk] = runs
        done += chunk.count
        if told is not None:
            told(done, plan.cases)
    runs = tuple(run for chunk in chunks for run in found[chunk])
    return scored(runs, plan.policies, plan.belief.prices.currency)


def _chunks(plan: Plan) -> list[_Chunk]:
    """Cases of one start side by side, so that what is decided once serves them all."""
    share, rest = divmod(plan.cases, len(plan.starts))
    chunks = []
    for start in range(len(plan.starts)):
        mine = share + (1 if start < rest else 0)
        chunks += [_Chunk(start, first, min(CHUNK, mine - first)) for first in range(0, mine, CHUNK)]
    return chunks


def _all(
    plan: Plan, chunks: Sequence[_Chunk], processes: int, cluster: str
) -> Iterator[tuple[_Chunk, tuple[CaseRun, ...]]]:
    if processes <= 1 and not cluster:
        workshops: dict[int, Workshop] = {}
        for chunk in chunks:
            yield chunk, _run(plan, chunk, workshops)
        return
    with crew_of(pickle.dumps(plan, pickle.HIGHEST_PROTOCOL), processes, cluster) as crew:
        yield from crew.each(_work, chunks)


@lru_cache(maxsize=2)
def _unpacked(packed: bytes) -> tuple[Plan, dict[int, Workshop]]:
    """The plan of one who shares the work, and the workshops that it has open."""
    return pickle.loads(packed), {}


def _work(packed: bytes, chunk: _Chunk) -> tuple[CaseRun, ...]:
    with ONE_AT_A_TIME:
        plan, workshops = _unpacked(packed)
        return _run(plan, chunk, workshops)


def _run(plan: Plan, chunk: _Chunk, workshops: dict[int, Workshop]) -> tuple[CaseRun, ...]:
    start = plan.starts[chunk.start]
    if chunk.start not in workshops:
        workshops.clear()
        workshops[chunk.start] = Workshop(plan.belief, plan.truth, start)
    seed = plan.seed * 1_000 + chunk.start
    policies = [policy_named(name) for name in plan.policies]
    fleet = draw_fleet(plan.truth, start, chunk.count, seed, chunk.first)
    return workshops[chunk.start].run_all(fleet, policies)


def scored(runs: Sequence[CaseRun], policies: Sequence[str], currency: str) -> Study:
    """The scores of all runs; the first policy is what others are compared with."""
    by_policy = {name: [run for run in runs if run.policy == name] for name in policies}
    first = by_policy[policies[0]]
    scores = tuple(_score(name, mine, first) for name, mine in by_policy.items())
    least = [run.least for run in first]
    return Study(tuple(runs), scores, fmean(least), _error(least), currency)


def _score(name: str, mine: Sequence[CaseRun], first: Sequence[CaseRun]) -> PolicyScore:
    totals = [run.total for run in mine]
    dearer = [run.total - other.total for run, other in zip(mine, first, strict=True)]
    return PolicyScore(
        policy=name,
        total=fmean(totals),
        error=_error(totals),
        checks=fmean(run.checks for run in mine),
        check_cost=fmean(run.check_cost for run in mine),
        wrong=fmean(run.wrong for run in mine),
        returns=fmean(run.returns for run in mine),
        beyond=fmean(run.total - run.least for run in mine),
        dearer=fmean(dearer),
        dearer_error=_error(dearer),
        stuck=fmean(run.stuck for run in mine),
    )


def _error(values: Sequence[float]) -> float:
    return stdev(values) / sqrt(len(values))
