"""The option of having suspected parts tested away from the vehicle first, and deciding by the result.

A way out whose repair `tells` a finding (the test bench) is an option by itself: the part comes out, goes away, comes
back with its result, and then the best of all plans is done in the same visit, of those that take that part's seal out
anyway. So its removal, its new seals and what may go wrong on the way are counted once, in that plan:

cost = sum over results r:  P(r) x [min over plans d that renew the seal there of cost(d | r) + days beyond those of d]
       + the test's own parts and minutes, beyond those of taking out and fitting again.

It is never the best of the plans, for it ends in one of them: where it costs less, testing is the check to do first.
May import: inference, numpy, and the modules of this room below `advice`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from msgspec import Struct, structs
from numpy.typing import NDArray

from diag.basics import Place
from diag.decision.believing import belief_of
from diag.decision.binding import Bound
from diag.decision.danger import allowed_treatments, reason_against
from diag.decision.dominance import hopeful
from diag.decision.later import LaterCosts, seal_table
from diag.decision.needs import OutcomesView
from diag.decision.objective import Breakdown
from diag.decision.options import likeliest_first
from diag.decision.parts import Key, part_chances
from diag.decision.plans import AfterTest, PlanOption, Reckoning, RepairDecision, _again
from diag.decision.search import Problem, best_plan, chance_of_cure, cost_in_parts, policy_of
from diag.decision.sites import Belief, Job, Plan
from diag.decision.tariff import WAITING
from diag.inference import Array, Evidence, infer
from diag.knowledge_base import Repair

__all__ = ["Tested", "first_tested", "tested_of", "with_first_tested"]

LEAST = 0.05  # chance from which the likeliest part is worth a thought of testing
SUSPECTED = 0.20  # chance from which another one goes along
MOST = 2  # parts that go together

Said = tuple[str, Place, str]  # finding, place, answer


class Tested(Struct, frozen=True):
    """What the test of some parts may tell: its repair, the parts' places, and of each joint result the answers it
    consists of, its chance, the belief after it, and `likelihoods` (see `AfterTest`). Money changes none of it."""

    repair: str
    places: tuple[Place, ...]
    answers: tuple[tuple[Said, ...], ...]
    chances: Array
    beliefs: tuple[Belief, ...]
    likelihoods: tuple[tuple[tuple[Key, Array], ...], ...]


class _Result(Struct, frozen=True):
    """One result of the test: which of them, the case after it, and the best plan then."""

    number: int
    chance: float
    ready: Reckoning
    plan: Plan
    breakdown: Breakdown
    barred: str


def with_first_tested(ready: Reckoning, decision: RepairDecision, tested: Tested | None = None) -> RepairDecision:
    """The decision with such an option among the others, in its place by its total. `tested` as in `first_tested`."""
    option = first_tested(ready, tested)
    if option is None:
        return decision
    ordered = sorted((*decision.options, option), key=lambda each: (bool(each.barred), each.total.amount))
    return structs.replace(decision, options=tuple(ordered))


def first_tested(ready: Reckoning, tested: Tested | None = None) -> PlanOption | None:
    """The option; none where no part is suspected, where it was tested already, or where the knowledge has no test.
    `tested`: what the test may tell, where it is known already, from the same treatments under whatever money."""
    known = tested if tested is not None else tested_of(ready)
    if known is None:
        return None
    results = _results(ready, known)
    return _option(ready, known, results) if results else None


def tested_of(ready: Reckoning) -> Tested | None:
    """What testing the suspected parts may tell; none where `first_tested` has no option."""
    for repair_id, repair in ready.knowledge.repairs.items():
        if repair.kind == "way out" and repair.tells and not _impossible(ready, repair):
            places = _suspects(ready, repair)
            asked = [(finding, place) for place in places for finding in repair.tells]
            told = [(each, ready.network.outcomes(*each, None)) for each in asked]
            heard = {each: outcomes for each, outcomes in told if outcomes is not None}
            if heard and len(heard) == len(told):  # else nothing new could come of the test
                return _told(ready, repair_id, places, heard)
    return None


def _told(
    ready: Reckoning, repair: str, places: Sequence[Place], heard: Mapping[tuple[str, Place], OutcomesView]
) -> Tested:
    outcomes = [each.evidence for each in heard.values()]
    numbers = np.indices([each.cases for each in outcomes]).reshape(len(outcomes), -1)
    model, evidence = ready.network.model, _heard_too(ready.network.evidence, outcomes, numbers)
    posterior = infer(model, evidence)
    chances = np.exp(posterior.log_evidence - ready.posterior.log_evidence[0])
    belief = belief_of(ready.bound, model, evidence, posterior, ready.posterior)
    beliefs = tuple(_one_of(belief, case) for case in range(len(chances)))
    answers = tuple(
        tuple((*each, known.names[number]) for (each, known), number in zip(heard.items(), joint, strict=True))
        for joint in numbers.T.tolist()
    )
    likelihoods = tuple(_likelihoods(ready.bound, outcomes, joint) for joint in numbers.T.tolist())
    return Tested(repair, tuple(places), answers, chances, beliefs, likelihoods)


def _likelihoods(bound: Bound, outcomes: Sequence[Evidence], joint: Sequence[int]) -> tuple[tuple[Key, Array], ...]:
    """The component that each answer is about, with the chance of the answer in each of its states; empty where one is
    about something else, or where its chance is not the same in all configurations."""
    keys = {part.spot: part.key for site in bound.sites for part in site.parts if part.fault}
    found = []
    for each, number in zip(outcomes, joint, strict=True):
        for spot, table in each.components.items():
            if spot not in keys or table.shape[1] > 1:
                return ()
            found.append((keys[spot], table[number, 0]))
    return tuple(found) if len(found) == len(outcomes) else ()


def _impossible(ready: Reckoning, repair: Repair) -> bool:
    """Whether a check that brings the same was said to be impossible here."""
    checks = ready.knowledge.checks
    return any(
        {each.item for each in checks[check].yields} & set(repair.tells)
        for check in ready.case.cannot
        if check in checks
    )


def _suspects(ready: Reckoning, repair: Repair) -> list[Place]:
    """Where the part that is tested is most likely unsound, the likeliest first."""
    shown = {ready.knowledge.findings[finding].shows for finding in repair.tells}
    chances: dict[Key, float] = {}
    for site in ready.bound.sites:
        for part in site.parts:
            if part.key[0] in shown and part.spot is not None and site.site.wear is not None:
                chances[part.key] = 1.0 - float(part_chances(part, ready.posterior)[0, 0])
    ordered = likeliest_first(ready.bound.tariff, chances)[:MOST]
    return [key[1] for number, key in enumerate(ordered) if chances[key] >= (SUSPECTED if number else LEAST)]


def _results(ready: Reckoning, tested: Tested) -> list[_Result]:
    """Every joint result with what follows it; none where nothing can be done after one of them."""
    found = []
    for number, (chance, belief) in enumerate(zip(tested.chances.tolist(), tested.beliefs, strict=True)):
        after = _after(ready, belief)
        allowed = _taking_out(after, tested.places)
        if any(not some for some in allowed):
            return []
        plan = best_plan(after.problem, allowed).plan
        barred = reason_against(ready.knowledge, ready.danger, ready.bound, after.problem.belief, plan)
        found.append(_Result(number, chance, after, plan, cost_in_parts(after.problem, plan), barred))
    return found


def _heard_too(evidence: Evidence, results: Sequence[Evidence], numbers: NDArray[np.intp]) -> Evidence:
    """The evidence with every joint result, one a case; `numbers[thing tested, joint result]`."""
    components, axes = dict(evidence.components), list(evidence.axes)
    for mine, each in zip(numbers, results, strict=True):
        for key, table in each.components.items():
            components[key] = components[key] * table[mine] if key in components else table[mine]
        axes += [(plate, some, table[mine]) for plate, some, table in each.axes]
    return structs.replace(evidence, cases=numbers.shape[1], components=components, axes=tuple(axes))


def _one_of(belief: Belief, case: int) -> Belief:
    """One case of a belief, as if there were no other."""

    def cut(values: Array) -> Array:
        return values[:, [case]] if values.shape[1] > 1 else values

    return Belief(
        belief.weights[[case]],
        belief.configuration,
        tuple(cut(factors) for factors in belief.factors),
        tuple(features[[case]] for features in belief.features),
        np.ones(1),
    )


def _after(ready: Reckoning, belief: Belief) -> Reckoning:
    """The same case with another belief."""
    known = ready.problem.later
    table = seal_table(belief, known.sites, ready.problem.configurations)
    later = LaterCosts(table, known.sites, known.wears, known.visit, known.damage, known.steps)
    return replace(ready, problem=Problem(ready.problem.sites, ready.problem.fees, belief, later))


def _taking_out(ready: Reckoning, places: Sequence[Place]) -> tuple[tuple[int, ...], ...]:
    """The treatments of each site that may be chosen; where a part was tested, only those that renew the seal there;
    and of them only those that may be in the best plan."""
    every = tuple(site.thinkable for site in ready.bound.sites)
    if ready.danger.present:
        every = allowed_treatments(ready.bound, ready.problem.belief, after_answers=True)
    found = []
    for site, some in zip(ready.bound.sites, every, strict=True):
        if site.site.place in places and site.site.place is not None:
            renewing = [number for number, each in enumerate(site.site.treatments) if each.renews_wear]
            some = tuple(number for number in renewing if number in some) or tuple(renewing)
        found.append(some)
    problem, later = ready.problem, ready.problem.later
    lasting = later.wears, later.steps
    return hopeful(problem.sites, found, problem.belief.features, problem.fees, lasting)


def _option(ready: Reckoning, tested: Tested, results: Sequence[_Result]) -> PlanOption:
    """What all results come to on average; the policy for later is that after the likeliest one."""
    jobs = [Job(tested.repair, place) for place in tested.places]
    after = [_following(ready, jobs, result, tested) for result in results]
    chances = np.array([result.chance for result in results])
    names = [name for name in Breakdown.__struct_fields__ if name != "currency"]
    mean = {name: float(chances @ [getattr(each.breakdown, name) for each in after]) for name in names}
    again = [_again(result.ready, result.plan) for result in results]
    tariff = ready.bound.tariff
    opens = sorted({key for job in jobs for key in tariff.job_opens(job)} & ready.problem.fees.access.keys())
    places = " and ".join(str(job.place) for job in jobs)
    return PlanOption(
        name=jobs[0].repair,
        title=f"{ready.knowledge.repairs[jobs[0].repair].name} ({places}), then decide",
        jobs=tuple(jobs),
        opens=tuple(opens),
        breakdown=Breakdown(ready.problem.fees.currency, **mean),
        tax=ready.problem.fees.tax,
        cures=float(chances @ [each.cures for each in after]),
        again={months: float(chances @ [each[months] for each in again]) for months in again[0]},
        later=max(after, key=lambda each: each.chance).later,
        barred=_barred(results),
        after=tuple(sorted(after, key=lambda each: -each.chance)),
    )


def _following(ready: Reckoning, jobs: Sequence[Job], result: _Result, tested: Tested) -> AfterTest:
    problem = result.ready.problem
    chosen = [site.treatments[choice] for site, choice in zip(problem.sites, result.plan, strict=True)]
    return AfterTest(
        answers=tested.answers[result.number],
        chance=result.chance,
        jobs=tuple(job for treatment in chosen for job in treatment.jobs),
        breakdown=_with_test(ready, jobs, result),
        cures=chance_of_cure(problem, result.plan),
        later=policy_of(problem, result.plan),
        likelihoods=tested.likelihoods[result.number],
    )


def _barred(results: Sequence[_Result]) -> str:
    """Why the option is barred: it is where what follows one of the results is, and the shares named there hold after
    that result alone, not for the whole option."""
    barred = [result for result in results if result.barred]
    if not barred:
        return ""
    first = max(barred, key=lambda each: each.chance)
    if len(barred) == len(results):
        return (
            f"whatever the test says, something stands against what would follow; in the likeliest case {first.barred}"
        )
    chance = sum(result.chance for result in barred)
    much = f"{100 * chance:.0f} %" if chance >= 0.005 else "under 1 %"
    return f"the test may come out so that what would follow is barred ({much}); then {first.barred}"


def _with_test(ready: Reckoning, jobs: Sequence[Job], result: _Result) -> Breakdown:
    """The money of the plan after a result, with what the test takes beyond taking the part out and fitting one."""
    tariff, fees = ready.bound.tariff, ready.problem.fees
    chosen = [site.treatments[choice] for site, choice in zip(ready.problem.sites, result.plan, strict=True)]
    opened = frozenset().union(*(treatment.opens for treatment in chosen))
    days = sorted({key for job in jobs for key in tariff.waits(job)} - opened)
    minutes = parts = 0.0
    for job in jobs:
        repairs = ready.knowledge.repairs
        out = [each for treatment in chosen for each in treatment.jobs if each.place == job.place]
        own = repairs[job.repair].parts
        beyond = {
            part: count - sum(repairs[each.repair].parts.get(part, 0) for each in out) for part, count in own.items()
        }
        parts += tariff.parts({part: count for part, count in beyond.items() if count > 0})
        minutes += max(0.0, tariff.job_minutes(job) - max(tariff.job_minutes(each) for each in out))
    known = result.breakdown
    return structs.replace(
        known,
        waiting=known.waiting + sum(fees.access.get(key, 0.0) for key in days if key[0] == WAITING),
        parts=known.parts + parts,
        labour=known.labour + tariff.labour(minutes),
    )
