"""Advice on one case: what to repair, what to check first, and which of the two comes now.

May import: casebook, knowledge_base, inference, and the modules of this room below it.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.casebook import Case
from diag.decision.checks import CheckRanking, RankedCheck, rank_checks
from diag.decision.needs import NetworkView
from diag.decision.plans import Reckoning, RepairDecision, decide_repair, reckon
from diag.inference import Posterior
from diag.knowledge_base import Knowledge

__all__ = ["Advice", "advise", "advise_on"]


@dataclass(frozen=True)
class Advice:
    """The repair decision and the ranking of checks. `check`: the one to do first; none where it is time to repair."""

    repair: RepairDecision
    checks: CheckRanking

    @property
    def stop(self) -> bool:
        """Whether to stop checking and repair now (a check that safety asks for comes first all the same)."""
        return self.check is None

    @property
    def check(self) -> RankedCheck | None:
        """The check to do first: one that safety puts first, else the best that is worth its cost, alone or with
        a second one after it."""
        first = next(iter(self.checks.checks), None)
        if first is not None and (first.safety or first.ahead.amount > 0):
            return first
        return None


def advise(
    knowledge: Knowledge, case: Case, network: NetworkView, posterior: Posterior | None = None, ahead: bool = True
) -> Advice:
    """Decide about a case; `posterior` is that of the network's evidence, where it is known already. `ahead`: look for
    pairs of checks that are useful only together."""
    return advise_on(reckon(knowledge, case, network, posterior), ahead)


def advise_on(ready: Reckoning, ahead: bool = True) -> Advice:
    """Decide about a case that was made ready, so that the same can be used for more than the advice."""
    decision = decide_repair(ready)
    return Advice(decision, rank_checks(ready, decision, ahead=ahead))
