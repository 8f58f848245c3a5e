"""What every choice is worth at one moment: the yardstick of a score.

A choice's *value* is the least expected total from here on, in the currency, if it is made now and the best is done
after it: of a check by the ranking of `diag next` (with the best second check after it), of a plan by the objective.
A check that only delays the best one costs no more than itself, so no value is above (best + its own cost). The
*regret* of a choice is its value less the least value of all: how much dearer it is expected to be, whatever came of
it. Summed over a case, regrets are what the choices cost in expectation (the differences telescope: Howard 1960's
policy-improvement identity; Kakade & Langford 2002, lemma 6.1, both from memory).
May import: decision, network, casebook, knowledge_base, basics, numpy, and `bench`, `records`, `playing`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from math import exp
from typing import Literal

from diag.basics import CaseError, ImpossibleEvidence, Place, TooLarge
from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Work
from diag.decision import Job, RankedCheck, RepairDecision, check_cost, decide_repair, price, rank_checks
from diag.network import weigh
from diag.training.bench import Bench, case_key
from diag.training.playing import complaint_of
from diag.training.records import Asked, Decided, Event, Fitted

__all__ = ["Choice", "Moment", "choice_of", "moment_of", "regret_of"]

MOST_SYMPTOMS = 3  # of a complaint, that the answer to a trial is reckoned over
RARE, WORTH_RANKING = 1e-6, 0.05  # chances of what a trial may tell


@dataclass(frozen=True)
class Choice:
    """Something that can be chosen: a check at a place, a plan (its jobs), or work as a trial. `value`: the expected
    total from here, `cost` what it takes now, `minutes` likewise; `error`: of the value, where answers were drawn;
    `unsafe`: why it must not be chosen, whatever its money (empty: it may); `straight`: of a check, the value if the
    best one is not done after it."""

    kind: Literal["check", "plan", "trial"]
    check: str
    place: Place
    jobs: tuple[Job, ...]
    value: float
    cost: float
    minutes: float
    error: float = 0.0
    unsafe: str = ""
    straight: float | None = None

    @property
    def unpostponed(self) -> float:
        """The value, of a check if the best one is not done after it."""
        return self.value if self.straight is None else self.straight


@dataclass(frozen=True)
class Moment:
    """Everything that could be chosen at one moment, best first; `first` is what is advised (a check that safety asks
    for comes first by rule). `value`: the least expected total from here."""

    case: Case
    first: Choice
    choices: tuple[Choice, ...]
    safety: tuple[Choice, ...]
    decision: RepairDecision
    ranked: tuple[RankedCheck, ...]

    @property
    def value(self) -> float:
        """Of the best choice."""
        return min(each.value for each in self.choices if not each.unsafe)


def moment_of(bench: Bench, case: Case, ahead: bool = True) -> Moment:
    """Appraise a moment. `ahead`: with pairs of checks. The same case gives the same moment, reckoned once."""
    key = ("moment", case_key(case), ahead)
    found = bench.known.get(key)
    if not isinstance(found, Moment):
        found = _appraised(bench, case, ahead)
        bench.known[key] = found
    return found


def _appraised(bench: Bench, case: Case, ahead: bool) -> Moment:
    ready = bench.ready(case)
    decision = decide_repair(ready)
    ranking = rank_checks(ready, decision, ahead=ahead)
    rate = bench.tariff.rate_per_minute
    plans = [
        Choice(
            "plan", "", None, option.jobs, option.total.amount, option.invoice.amount,
            _labour(option.breakdown) / rate, unsafe=option.barred,
        )
        for option in decision.options
    ]  # fmt: skip
    now = min((each.value for each in plans if not each.unsafe), default=ranking.total_now.amount)
    best = min([now, *(now - max(each.ahead.amount, each.net.amount) for each in ranking.checks)])
    checks = [_of_check(each, now, best) for each in ranking.checks]
    safe = tuple(check for check, each in zip(checks, ranking.checks, strict=True) if each.safety)
    ordered = sorted([*plans, *checks], key=lambda each: (bool(each.unsafe), each.value))
    first = safe[0] if safe else ordered[0]
    return Moment(case, first, tuple(ordered), safe, decision, ranking.checks)


def _of_check(ranked: RankedCheck, now: float, best: float) -> Choice:
    gained = max(ranked.ahead.amount, ranked.net.amount)
    straight = now - gained
    value = min(straight, best + max(ranked.cost.amount, 0.0))
    cost = sum(amount.amount for amount in ranked.amounts.values())
    return Choice("check", ranked.check, ranked.place, (), value, cost, ranked.minutes, ranked.error, straight=straight)


def _labour(breakdown: object) -> float:
    return sum(float(getattr(breakdown, part)) for part in ("access", "labour", "finish"))


def choice_of(bench: Bench, moment: Moment, event: Event) -> Choice | None:
    """What an event chose, appraised at its moment; none for what was only said."""
    if isinstance(event, Asked):
        return _check_choice(bench, moment, event)
    if isinstance(event, Decided):
        return _plan_choice(bench, moment, event.jobs)
    if isinstance(event, Fitted):
        return _trial_choice(bench, moment, event.jobs)
    return None


def regret_of(moment: Moment, choice: Choice) -> float:
    """How much dearer a choice is expected to be than the best, at least 0. What safety puts first by rule is never
    regretted; a trial may be better than anything else that was looked at."""
    if any(choice.check == each.check and choice.place == each.place for each in moment.safety if choice.check):
        return 0.0
    return max(0.0, choice.value - moment.value)


def _check_choice(bench: Bench, moment: Moment, event: Asked) -> Choice:
    known = next(
        (c for c in moment.choices if c.kind == "check" and (c.check, c.place) == (event.check, event.place)), None
    )
    if event.refused:
        value = known.value if known is not None else moment.value
        return Choice("check", event.check, event.place, (), value, 0.0, 0.0, unsafe=event.refused)
    if known is None:  # nothing that it brings can change any plan
        cost = check_cost(bench.ready(moment.case), event.check, event.place)
        now = min((each.value for each in moment.choices if each.kind == "plan" and not each.unsafe), default=0.0)
        value, straight = moment.value + cost.total, max(now, moment.value) + cost.total
        known = Choice("check", event.check, event.place, (), value, cost.total, cost.minutes, straight=straight)
    return known


def _plan_choice(bench: Bench, moment: Moment, jobs: tuple[Job, ...]) -> Choice:
    known = next((c for c in moment.choices if c.kind == "plan" and frozenset(c.jobs) == frozenset(jobs)), None)
    if known is not None:
        return known
    priced = price(bench.ready(moment.case, jobs), jobs)
    assert priced is not None, "a plan that was taken is a plan"
    money = priced.breakdown
    minutes = _labour(money) / bench.tariff.rate_per_minute
    return Choice("plan", "", None, jobs, money.total.amount, money.invoice.amount, minutes, unsafe=priced.barred)


def _trial_choice(bench: Bench, moment: Moment, jobs: tuple[Job, ...]) -> Choice:
    """Work as a check: its invoice and days now, then over every answer of the complaint's symptoms the best from
    there (see `_after_trial`)."""
    plan = _plan_choice(bench, moment, jobs)
    before = weigh(bench.knowledge, moment.case).log_evidence
    works = tuple(Work(job.repair, job.place, km_ago=0.0, months_ago=0.0) for job in jobs)
    asked = complaint_of(bench)[:MOST_SYMPTOMS]
    total = chances = 0.0
    for said in product((PRESENT, ABSENT), repeat=len(asked)):
        answers = tuple(Answer(item, place, one, under) for (item, place, under), one in zip(asked, said, strict=True))
        case = replace(moment.case, epochs=(*moment.case.epochs, Epoch(works, answers)), open_access=())
        try:
            chance = exp(weigh(bench.knowledge, case).log_evidence - before)
            if chance < RARE:
                continue
            total += chance * _after_trial(bench, case, said, chance)
        except (CaseError, ImpossibleEvidence, TooLarge):  # CaseError: work that reaches nothing of it ends no symptom
            continue
        chances += chance
    cost = plan.cost + bench.tariff.days_money(jobs)
    value = cost + total / chances if chances else plan.value
    return Choice("trial", "", None, jobs, value, cost, plan.minutes, unsafe="")


def _after_trial(bench: Bench, case: Case, said: tuple[str, ...], chance: float) -> float:
    """The least expected total after a trial. Checks are ranked again only where the complaint is still there and that
    is not rare: ranking a case with work in it takes long, and where it helped or is rare little hangs on it."""
    if PRESENT in said and chance >= WORTH_RANKING:
        return moment_of(bench, case, ahead=False).value
    return decide_repair(bench.ready(case)).best.total.amount
