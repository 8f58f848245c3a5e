"""Advice on one case: what to repair, what to check first, and which of the two comes now.

May import: casebook, knowledge_base, inference, basics, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from diag.basics import Place
from diag.casebook import Case
from diag.decision.checks import CheckRanking, RankedCheck, in_order, rank_checks
from diag.decision.first_tested import with_first_tested
from diag.decision.money import Money
from diag.decision.needs import NetworkView
from diag.decision.plans import Reckoning, RepairDecision, decide_repair, reckon
from diag.inference import Posterior
from diag.knowledge_base import Knowledge

__all__ = ["Advice", "advise", "advise_on", "with_test_as_option"]


class Advice(Struct, frozen=True):
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
    knowledge: Knowledge,
    case: Case,
    network: NetworkView,
    posterior: Posterior | None = None,
    ahead: bool = True,
    best_alone: bool = False,
) -> Advice:
    """Decide about a case; `posterior` is that of the network's evidence, where it is known already. `ahead`: look for
    pairs of checks that are useful only together. `best_alone`: only the check to do first is asked for, not what the
    others are worth (see `rank_checks`)."""
    return advise_on(reckon(knowledge, case, network, posterior), ahead, best_alone)


def advise_on(
    ready: Reckoning, ahead: bool = True, best_alone: bool = False, decision: RepairDecision | None = None
) -> Advice:
    """Decide about a case that was made ready, so that the same can be used for more than the advice. `decision`: the
    one about the repair, where that was made already."""
    decision = decide_repair(ready) if decision is None else decision
    return Advice(decision, rank_checks(ready, decision, ahead=ahead, best_alone=best_alone))


def with_test_as_option(ready: Reckoning, advice: Advice, checks_alone: bool = False) -> Advice:
    """The advice with 'test first, then decide' among the options. What that saves is at least the net worth of the
    check by which the same is tested, for the part is taken out once only. `checks_alone`: the options are not asked
    for, so that nothing is worked out where testing first can save nothing."""
    if checks_alone and not _may_save(ready, advice.checks.checks):
        return advice
    shown = with_first_tested(ready, advice.repair)
    option = next((each for each in shown.options if each.name in _tests(ready.knowledge)), None)
    saved = 0.0 if option is None else advice.repair.best.total.amount - option.total.amount
    if option is None or len(option.jobs) != 1 or option.barred or saved <= 0.0:
        return Advice(shown, advice.checks)
    findings = ready.knowledge.repairs[option.name].tells
    place = option.jobs[0].place
    checks = in_order([_at_least(each, saved, place, ready, findings) for each in advice.checks.checks])
    stop = not any(each.ahead.amount > 0 for each in checks)
    return Advice(shown, replace(advice.checks, checks=checks, stop=stop))


def _tests(knowledge: Knowledge) -> tuple[str, ...]:
    return tuple(name for name, repair in knowledge.repairs.items() if repair.tells)


def _may_save(ready: Reckoning, checks: Sequence[RankedCheck]) -> bool:
    """Whether testing first may cost less than the best plan: it saves no more than the result is worth, and takes what
    no repair takes anyway (the fee)."""
    repairs = ready.knowledge.repairs.values()
    anyway = {part for repair in repairs if repair.kind == "mend" for part in repair.parts}
    for repair in (each for each in repairs if each.tells):
        fee = ready.bound.tariff.parts({part: count for part, count in repair.parts.items() if part not in anyway})
        for ranked in checks:
            told = {each.item for each in ready.knowledge.checks[ranked.check].yields}
            if told.issuperset(repair.tells) and (ranked.at_least or ranked.worth.amount > fee):
                return True
    return False


def _at_least(
    ranked: RankedCheck, saved: float, place: Place, ready: Reckoning, findings: Sequence[str]
) -> RankedCheck:
    """A check with a net worth of at least so much, where it is the one that tells these findings at the place."""
    yields = {each.item for each in ready.knowledge.checks[ranked.check].yields}
    if ranked.place != place or not yields.issuperset(findings) or saved <= ranked.net.amount:
        return ranked
    net = Money(saved, ranked.net.currency)
    ahead = max(net, ranked.ahead, key=lambda each: each.amount)
    return replace(ranked, net=net, worth=Money(saved + ranked.cost.amount, net.currency), ahead=ahead, error=0.0)
