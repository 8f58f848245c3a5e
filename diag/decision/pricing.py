"""What a set of jobs comes to on what is known now, whether or not it is among the options of a decision.

May import: the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from diag.decision.binding import plan_of
from diag.decision.danger import reason_against
from diag.decision.objective import Breakdown
from diag.decision.plans import Reckoning, _ways_out
from diag.decision.search import cost_in_parts
from diag.decision.sites import Job

__all__ = ["PricedJobs", "price"]


class PricedJobs(Struct, frozen=True):
    """The expected cost of a set of jobs in parts, and why it is barred now; empty where it is not."""

    breakdown: Breakdown
    barred: str


def price(ready: Reckoning, jobs: Sequence[Job]) -> PricedJobs | None:
    """The cost of doing these jobs, on the belief of a reckoning that was made with them (`also`); none where they are
    no plan. A way out is a plan of its own, also where no decision would hold it."""
    if any(ready.knowledge.repairs[job.repair].kind == "way out" for job in jobs):
        ways = _ways_out(ready, briefly=True, every=True)
        found = next((each for each in ways if frozenset(each.jobs) == frozenset(jobs)), None)
        return PricedJobs(found.breakdown, found.barred) if found is not None else None
    plan = plan_of(ready.bound, tuple(jobs))
    if plan is None:
        return None
    barred = reason_against(ready.knowledge, ready.danger, ready.bound, ready.problem.belief, plan)
    return PricedJobs(cost_in_parts(ready.problem, plan), barred)
