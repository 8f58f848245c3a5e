"""What to check next: the worth of every check at every place, less its own cost, and when to stop checking.

worth = least expected total of the plans now - that after hearing the answer, both with what the check opens already
open; cost = minutes, parts, risks, access and reassembly, less what that open access saves the best plan; net = worth -
cost. Raiffa (1968), on the objective of this room. No worth is below zero, and a check that cannot change the plan is
worth exactly zero. What a ranking leaves out only makes checks look worth less: unlikely configurations, joint answers
beyond a few dozen (both stated case by case), plans beyond the pool (stated where the worth is described). May import:
casebook, knowledge_base, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from diag.basics import Place
from diag.decision.answers import Known, Prospect, prospects_of
from diag.decision.appraisal import Appraisal, Question, appraisals, setting_of
from diag.decision.check_costs import CheckCost, check_cost, costs_once_open, why_not
from diag.decision.lookahead import Ahead, CostAfter, PairWorth, look_ahead
from diag.decision.money import Money
from diag.decision.plans import Reckoning, RepairDecision
from diag.decision.sites import AccessKey

__all__ = ["SHARE", "BarredCheck", "CheckRanking", "RankedCheck", "in_order", "rank_checks"]

SHARE = 0.99  # of the posterior that the configurations kept in a ranking hold


CheckAt = tuple[str, Place]
MOST_ALONG = 2  # checks to do in the same go
LEAST_GAIN = 0.005  # money that a second check must add


class RankedCheck(Struct, frozen=True):
    """A check at a place. `worth` of its answer, `cost` of doing it, `net` = worth - cost; `amounts`: its cost in
    parts, what its open access saves later left out (`credit`), so that their sum less the credit is the cost.

    `minutes`: all work, access included; `opens`: what is to be opened; `closes`: what stands open and is closed
    first. `error`: standard error of the worth, 0 where
    it is exact; `at_least`: part of what it could tell was left out. `safety`: it speaks of a danger that is present
    (its findings bring the same caution), and comes first by rule, whatever its money; not where it is the check by
    which the danger was measured.

    `ahead`: net where the best second check (`follow`, if one betters it) is done after those answers that ask for it;
    `along`: checks that pay in the same go, because what this one opens serves them.
    """

    check: str
    place: Place
    worth: Money
    cost: Money
    net: Money
    amounts: dict[str, Money]
    credit: Money
    minutes: float
    opens: tuple[AccessKey, ...]
    closes: tuple[AccessKey, ...]
    items: tuple[tuple[str, Place], ...]
    error: float
    at_least: bool
    safety: bool
    ahead: Money
    follow: CheckAt | None = None
    along: tuple[CheckAt, ...] = ()


class BarredCheck(Struct, frozen=True):
    """A check that cannot be done here, and why."""

    check: str
    why: str


class CheckRanking(Struct, frozen=True):
    """All checks that could tell something, best first. `stop`: none is worth its cost, alone or with a second one.

    `total_now`: expected total of the best plan now. `left_out`: chance of the configurations that the ranking left
    out. `laid_aside`: how many groups of findings of the vehicle it took one by one, because too many meet, and `off`:
    the largest difference that this makes to the chance of a fault (0 where none is laid aside). `pairs_left_out`:
    pairs of hidden things that were not looked at, though a pair of checks about them might have paid.
    """

    checks: tuple[RankedCheck, ...]
    barred: tuple[BarredCheck, ...]
    stop: bool
    total_now: Money
    left_out: float
    laid_aside: int = 0
    off: float = 0.0
    pairs_left_out: int = 0


def rank_checks(
    ready: Reckoning, decision: RepairDecision, share: float = SHARE, ahead: bool = True, best_alone: bool = False
) -> CheckRanking:
    """Rank every check that is possible here; `share` of the posterior is kept (1: nothing is left out). `ahead`: also
    look at pairs of checks, and rank each by what it is worth with the best second one. `best_alone`: only the first
    is asked for; joint answers that by their bound cannot make a check the first are not reckoned, so that the others
    may look worth less."""
    prospects, barred = _prospects(ready)
    setting = setting_of(ready, decision, share)
    costs = [check_cost(ready, prospect.check, prospect.place) for prospect in prospects]
    questions = [
        Question(prospect, frozenset(cost.opens), cost.total) for prospect, cost in zip(prospects, costs, strict=True)
    ]
    found = appraisals(setting, questions, best_alone)
    ranked = [_ranked(ready, *each) for each in zip(prospects, costs, [each.appraisal for each in found], strict=True)]
    pairs = Ahead((), 0)
    if ahead:
        pairs = look_ahead(setting, questions, found, _cost_after(ready, questions, costs))
        ranked = _with_pairs(ranked, pairs.pairs)
    ordered = in_order(ranked)
    kept = float(ready.posterior.configurations[0, setting.ground.kept].sum())
    return CheckRanking(
        checks=ordered,
        barred=tuple(barred),
        stop=not any(each.ahead.amount > 0 for each in ordered),
        total_now=decision.best.total,
        left_out=max(0.0, 1.0 - kept),
        laid_aside=setting.light.laid_aside,
        off=setting.light.off,
        pairs_left_out=pairs.left_out,
    )


def in_order(ranked: Sequence[RankedCheck]) -> tuple[RankedCheck, ...]:
    """Safety first, then by money; what differs by rounding alone stays in the order given. What a check is worth
    with a second one counts where it is more than the best check is worth alone: else that one need only be done."""
    alone = max((each.net.amount for each in ranked), default=0.0)

    def money(each: RankedCheck) -> float:
        return round(each.ahead.amount if each.ahead.amount > alone else each.net.amount, 6)

    return tuple(sorted(ranked, key=lambda each: (not each.safety, -money(each), -round(each.net.amount, 6))))


def _prospects(ready: Reckoning) -> tuple[list[Prospect], list[BarredCheck]]:
    """What can be done and would tell something, and what cannot be done here."""
    tariff = ready.bound.tariff
    barred: list[BarredCheck] = []
    prospects: list[Prospect] = []
    known: Known = {}
    for check_id, check in tariff.knowledge.checks.items():
        why = why_not(ready, check_id)
        if why:
            barred.append(BarredCheck(check_id, why))
            continue
        here = prospects_of(tariff, ready.network, check_id, tariff.places(check.covers), known)
        prospects += [prospect for prospect in here if prospect.heard]
    return prospects, barred


def _cost_after(ready: Reckoning, questions: Sequence[Question], costs: Sequence[CheckCost]) -> CostAfter:
    """Cost of a check once another has been done and what that opened stands open."""
    known: dict[tuple[int, frozenset[AccessKey]], float] = {}
    once_open = costs_once_open(ready, [(each.prospect.check, each.prospect.place) for each in questions], costs)

    def after(first: int, second: int) -> float:
        opened = questions[first].opened
        if not opened:
            return questions[second].cost
        if (second, opened) not in known:
            known[second, opened] = once_open(second, opened)
        return known[second, opened]

    return after


def _with_pairs(ranked: Sequence[RankedCheck], pairs: Sequence[PairWorth]) -> list[RankedCheck]:
    """Each check with the best second one after it, and with what pays in the same go."""
    by_first: dict[int, list[PairWorth]] = {}
    for pair in pairs:
        by_first.setdefault(pair.first, []).append(pair)
    result = list(ranked)
    for first, some in by_first.items():
        mine, best = ranked[first], max(some, key=lambda pair: round(pair.value, 6))  # rounding decides nothing
        if best.value > mine.net.amount + LEAST_GAIN:
            second = ranked[best.second]
            mine = replace(mine, ahead=Money(best.value, mine.net.currency), follow=(second.check, second.place))
        along = [pair for pair in some if pair.shared and pair.both > max(ranked[first].net.amount, 0.0) + LEAST_GAIN]
        along.sort(key=lambda pair: -round(pair.both, 6))
        seen = dict.fromkeys((ranked[pair.second].check, ranked[pair.second].place) for pair in along)
        result[first] = replace(mine, along=tuple(seen)[:MOST_ALONG])
    return result


def _ranked(ready: Reckoning, prospect: Prospect, cost: CheckCost, found: Appraisal) -> RankedCheck:
    currency = ready.problem.fees.currency
    own = cost.total - found.credit
    findings = ready.knowledge.findings
    told = {caution for item, _ in prospect.items if item in findings for caution in findings[item].danger}
    measured = {each.item for each in ready.danger.told if each.item in ready.knowledge.readings}
    done = not measured.isdisjoint(one.item for one in ready.knowledge.checks[prospect.check].yields)
    return RankedCheck(
        check=prospect.check,
        place=prospect.place,
        worth=Money(found.worth, currency),
        cost=Money(own, currency),
        net=Money(found.worth - own, currency),
        amounts={name: Money(amount, currency) for name, amount in cost.amounts.items()},
        credit=Money(found.credit, currency),
        minutes=cost.minutes,
        opens=cost.opens,
        closes=cost.closes,
        items=prospect.items,
        error=found.error,
        at_least=found.at_least,
        safety=bool(told & set(ready.danger.cautions)) and not done,
        ahead=Money(found.worth - own, currency),
    )
