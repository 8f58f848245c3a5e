"""What a plan comes to on one vehicle of which every fault is known: the objective, with the truth for a belief.

For judging policies on simulated vehicles. Everything that is decided only after the plan (whether a new part is good,
when a sound seal fails) is averaged as the objective does, not drawn: the mean is the same, and the noise is less.
May import: inference, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diag.decision.binding import BoundSite, plan_of
from diag.decision.later import LaterCosts, Policy, expectation
from diag.decision.objective import Breakdown
from diag.decision.parts import Feature
from diag.decision.plans import Reckoning
from diag.decision.search import best_plan, pattern_of, policy_of
from diag.decision.sites import SOUND, Job, Plan, cure_factor
from diag.decision.tariff import SPECIALIST, SPECIALIST_JOB, WAITING
from diag.decision.treatments import FactorSpec
from diag.inference import Array

__all__ = ["Realised", "Vehicle", "least_total", "realised"]


class Vehicle(Struct, frozen=True):
    """The truth about one vehicle, as indices of the network that it was drawn from: its configuration, the state of
    every component of every plate, and the level of every axis."""

    configuration: int
    components: tuple[tuple[int, ...], ...]
    axes: tuple[tuple[int, ...], ...]


class Realised(Struct, frozen=True):
    """`breakdown`: what the plan costs on this vehicle, from the repair on; `returns`: chance that it comes back with
    something not mended."""

    breakdown: Breakdown
    returns: float

    @property
    def total(self) -> float:
        """All of it, in the currency."""
        return self.breakdown.total.amount


def realised(ready: Reckoning, jobs: Sequence[Job], vehicle: Vehicle, later: Policy | None = None) -> Realised | None:
    """Cost of doing these jobs on a vehicle; `ready` is a reckoning made with them (`also`) on the network that the
    vehicle is of, `later` the way of acting at later failures (none: as the reckoning has it). None where they are no
    plan. A way out (the specialist, letting it stand) is a plan of its own."""
    out = next((job for job in jobs if ready.knowledge.repairs[job.repair].kind == "way out"), None)
    plan = tuple(0 for _ in ready.bound.sites) if out is not None else plan_of(ready.bound, tuple(jobs))
    if plan is None:
        return None
    found = _at_home(ready, plan, vehicle, later)
    return _by_way_out(ready, found, vehicle, out) if out is not None else found


def least_total(ready: Reckoning) -> float:
    """Least expected total over all plans and the specialist, danger set aside: for a reckoning in which the truth is
    told, the bound that no policy can be below."""
    nothing = tuple(0 for _ in ready.bound.sites)
    best = best_plan(ready.problem, tuple(site.useful for site in ready.bound.sites)).total
    if SPECIALIST not in ready.knowledge.repairs:
        return best
    states = tuple(tuple(int(np.argmax(each[0])) for each in plate) for plate in ready.posterior.components)
    axes = tuple(tuple(int(np.argmax(each[0])) for each in plate) for plate in ready.posterior.axes)
    vehicle = Vehicle(int(np.argmax(ready.posterior.configurations[0])), states, axes)
    return min(best, _by_way_out(ready, _at_home(ready, nothing, vehicle, None), vehicle, SPECIALIST_JOB).total)


def _at_home(ready: Reckoning, plan: Plan, vehicle: Vehicle, later: Policy | None) -> Realised:
    problem, fees = ready.problem, ready.problem.fees
    chosen = [site.treatments[choice] for site, choice in zip(problem.sites, plan, strict=True)]
    told = [_features(site, vehicle) for site in ready.bound.sites]
    specs = [site.factors[cure_factor(choice)] for site, choice in zip(ready.bound.sites, plan, strict=True)]
    cured = float(np.prod([_value(spec, vehicle) for spec in specs]))
    keys = frozenset().union(*(treatment.opens for treatment in chosen))
    damage, visits = _later(ready, plan, vehicle, later)
    breakdown = Breakdown(
        currency=fees.currency,
        access=sum(fees.access.get(key, 0.0) for key in sorted(keys) if key[0] != WAITING),
        waiting=sum(fees.access.get(key, 0.0) for key in sorted(keys) if key[0] == WAITING),
        labour=sum(treatment.labour for treatment in chosen),
        parts=sum(treatment.parts for treatment in chosen),
        charges=sum(treatment.charges for treatment in chosen),
        finish=fees.finish if any(treatment.jobs for treatment in chosen) else 0.0,
        complications=sum(float(t.complications @ f) for t, f in zip(chosen, told, strict=True)),
        come_back=fees.come_back * (1.0 - cured),
        mending=sum(float(t.mending @ f) for t, f in zip(chosen, told, strict=True)),
        damage=damage,
        later=visits,
    )
    return Realised(breakdown, 1.0 - cured)


def _by_way_out(ready: Reckoning, nothing: Realised, vehicle: Vehicle, job: Job) -> Realised:
    """Nothing is done here and nothing is driven to damage; what the specialist mends is in his money, and with him
    there is no return visit."""
    tariff = ready.bound.tariff
    ends = job.repair == SPECIALIST
    money, renewed = tariff.job_money(job), tariff.renewed(job)
    keys = sorted(key for key in tariff.job_opens(job) if key in ready.problem.fees.access)
    spared = sum(
        part.mending
        for site in ready.bound.sites
        for part in site.parts
        if part.fault and part.key in renewed and part.spot is not None
        if vehicle.components[part.spot[0]][part.spot[1]] != 0
    )
    breakdown = replace(
        nothing.breakdown,
        access=tariff.opening(keys),
        waiting=tariff.days_money([job]),
        labour=money.labour,
        parts=money.parts,
        charges=money.charges,
        come_back=0.0 if ends else nothing.breakdown.come_back,
        mending=nothing.breakdown.mending - spared,
        damage=0.0,
    )
    return Realised(breakdown, 0.0 if ends else nothing.returns)


def _features(site: BoundSite, vehicle: Vehicle) -> Array:
    """`[feature]`: 1 for what is the case."""
    return np.concatenate([_block(feature, vehicle) for feature in site.features])


def _block(feature: Feature, vehicle: Vehicle) -> Array:
    at = {
        "component": lambda: vehicle.components[feature.plate][feature.index],
        "axis": lambda: vehicle.axes[feature.plate][feature.index],
        "configuration": lambda: vehicle.configuration,
    }[feature.kind]()
    return np.asarray(np.eye(feature.size)[at])


def _value(spec: FactorSpec, vehicle: Vehicle) -> float:
    """A factor of a site on this vehicle."""
    value = 1.0 if spec.configurations is None else float(spec.configurations[vehicle.configuration])
    for plate, factors in spec.plates.items():
        for component, table in factors.items():
            row = vehicle.configuration if len(table) > 1 else 0
            value *= float(table[row, vehicle.components[plate][component]])
    return value


def _later(ready: Reckoning, plan: Plan, vehicle: Vehicle, later: Policy | None) -> tuple[float, float]:
    """Damage, and later visits under a fixed way of acting."""
    problem = ready.problem
    known = problem.later
    if not known.wears:
        return 0.0, 0.0
    pattern = pattern_of(problem, plan)
    way = policy_of(problem, plan) if later is None else later
    sound = [_value(ready.bound.sites[index].factors[SOUND], vehicle) > 0.5 for index in known.sites]
    table = np.zeros((1, 1, 2 ** len(sound)))
    table[0, 0, int("".join("1" if each else "0" for each in sound), 2)] = 1.0
    here = slice(vehicle.configuration, vehicle.configuration + 1)
    wears = tuple(replace(wear, left=wear.left[here], new=wear.new[here]) for wear in known.wears)
    exact = LaterCosts(table, known.sites, wears, known.visit, known.damage, known.steps)
    blowing = any(not fine and not renewed for fine, renewed in zip(sound, pattern, strict=True))
    damage = known.damage if blowing else 0.0
    return damage, float(expectation(exact.events(pattern, way), table).sum()) - damage
