"""Which plans stand at the head of the pool, and the ways out beside them.

May import: inference, numpy, and `danger`, `later`, `plans`, `pool`, `search`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from diag.decision.binding import plan_of
from diag.decision.danger import allowed_treatments
from diag.decision.plans import Reckoning, RepairDecision
from diag.decision.pool import Candidates, Catalogue, coefficient_table
from diag.decision.search import pattern_of, policy_of
from diag.decision.sites import Plan
from diag.decision.tariff import SPECIALIST, SPECIALIST_JOB
from diag.inference import Array

__all__ = ["base_plans", "with_ways_out"]


def base_plans(ready: Reckoning, decision: RepairDecision) -> tuple[tuple[Plan, ...], tuple[tuple[int, ...], ...]]:
    """Plans around which the pool is formed (the best, nothing, the usual options that are not barred), and for each
    site the treatments that may be chosen: where there is danger, only those after which none is likely. In danger
    'nothing' stands for a way out that is best: what an answer makes worth doing is mostly near it."""
    nothing = tuple(0 for _ in ready.bound.sites)
    allowed = tuple(site.thinkable for site in ready.bound.sites)
    if ready.danger.present:
        allowed = allowed_treatments(ready.bound, ready.problem.belief, after_answers=True)
    found: dict[Plan, None] = {}
    best = plan_of(ready.bound, decision.best.jobs)
    if best is not None:
        found[best] = None
    if best is None or not ready.danger.present:
        found[nothing] = None
    for option in decision.options:
        plan = plan_of(ready.bound, option.jobs)
        if plan is not None and not option.barred:
            found[plan] = None
    return tuple(found), allowed


def with_ways_out(ready: Reckoning, catalogue: Catalogue, plans: Candidates) -> Candidates:
    """The specialist as one more candidate: nothing is done here, no return visit, no damage, all mended there."""
    if SPECIALIST not in ready.bound.tariff.knowledge.repairs:
        return plans
    if not catalogue._ways_out:
        catalogue._ways_out.append(_specialist(ready, catalogue))
    ((fixed, sound, configured, table),) = catalogue._ways_out
    return Candidates(
        (*plans.plans, None),
        np.concatenate([plans.option, np.zeros((1, plans.option.shape[1]), dtype=np.intp)]),
        np.concatenate([plans.factor, np.ones((1, plans.factor.shape[1]))]),
        np.append(plans.fixed, fixed),
        np.append(plans.fee, 0.0),
        np.concatenate([plans.sound, sound[None]]),
        np.concatenate([plans.configured, configured[None]]),
        np.append(plans.later, len(plans.tables)),
        np.concatenate([plans.tables, table]),
    )


def _specialist(ready: Reckoning, catalogue: Catalogue) -> tuple[float, Array, Array, Array]:
    """The parts of the specialist's costs: fixed, by single, by configuration, and the table of what comes later."""
    tariff, problem = ready.bound.tariff, ready.problem
    nothing = tuple(0 for _ in problem.sites)
    sound = sum(rows[0] for rows in catalogue.sound)
    fixed = sum(float(rows[0]) for rows in catalogue.fixed) + tariff.alone(SPECIALIST_JOB)
    renewed = tariff.renewed(SPECIALIST_JOB)
    columns = {single: column for column, single in enumerate(catalogue.singles)}
    sound = np.array(sound)
    for site in ready.bound.sites:
        for part in site.parts:
            if part.key in renewed and part.fault and part.spot is not None:
                column = _column(catalogue, columns, part.spot)
                fixed += float(sound[column])  # its mending is in the specialist's money
                sound[column] = 0.0
    configured = np.array(sum(rows[0] for rows in catalogue.configured))
    table = np.zeros((1, len(catalogue.kept), 1))
    if problem.later.wears:
        harmless = replace(problem.later, damage=0.0)
        events = harmless.events(pattern_of(problem, nothing), policy_of(problem, nothing))
        table = coefficient_table(events, catalogue.kept)[None]
    return fixed, sound, configured, table


def _column(catalogue: Catalogue, columns: dict[tuple[int, int], int], spot: tuple[int, int]) -> int:
    plate, component = spot
    return next(
        column
        for (where, option), column in columns.items()
        if where == plate and list(catalogue.options[plate][option]) == [component]
    )
