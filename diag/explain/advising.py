"""Why this advice: what each answer was worth in money, which answers to come would turn it, why it beats the next.

Every number is an expected total of the decision, found by deciding again on other evidence. May import: casebook,
knowledge_base, network, decision, basics, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.basics import Place
from diag.casebook import Case, with_answer
from diag.decision import Advice, Job, Money, PlanOption, RankedCheck, Reckoning, decide_repair, price, reckon
from diag.network import (
    CaseNetwork,
    Foreseen,
    ToldStep,
    Weighed,
    component_states,
    foreseen,
    part_evidence,
    part_posterior,
    told_steps,
)

__all__ = ["AdviceReasons", "AnswerWorth", "PartDifference", "TurningAnswer", "answers_worth", "explain_advice"]

NOTHING_MOVES = 1e-12  # change of any chance below which an answer can have moved no plan
MOST_OUTCOMES = 24  # answers to come on which it is decided again
LEAST_CHANCE = 0.005  # answers to come that are less likely are not looked at


@dataclass(frozen=True)
class AnswerWorth:
    """What it was worth to be told one thing, everything else being told.

    `plan`: the best plan had it not been told, and `total_then` what that would have been expected to cost on all
    else; `costs_now`: what the same plan costs on everything known, and `saved` by how much the best plan now is
    cheaper, at least zero. Where the plan is barred now (`barred` says why), money does not decide and both are none.
    """

    step: int
    plan: PlanOption
    turned: bool
    total_then: Money
    costs_now: Money | None
    saved: Money | None
    barred: str


@dataclass(frozen=True)
class TurningAnswer:
    """An answer not yet known that would turn the advice: the plan that would be best then, what it and today's plan
    would cost then (none where today's would be barred), and the difference. Values of a reading that turn it to the
    same plan are one line: `outcomes` holds them, chances are added, money is their average by chance."""

    item: str
    place: Place
    condition: str | None
    outcomes: tuple[str, ...]
    chance: float
    plan: PlanOption
    stays: Money | None
    saved: Money | None
    barred: str


@dataclass(frozen=True)
class PartDifference:
    """One part of the money, of the best plan and of the next; `more` = next - best."""

    part: str
    best: Money
    other: Money
    more: Money


@dataclass(frozen=True)
class AdviceReasons:
    """Why the best plan is best. `other`: the next best that is not barred; none where there is none. `parts` add up to
    the difference of the two totals. `worth`: of every step told. `turning`: answers to come that would turn the plan,
    by chance times what they save; `looked_at` and `left_out` count the answers to come that were and were not tried.
    """

    best: PlanOption
    other: PlanOption | None
    parts: tuple[PartDifference, ...]
    worth: tuple[AnswerWorth, ...]
    turning: tuple[TurningAnswer, ...]
    looked_at: int
    left_out: int


def explain_advice(weighed: Weighed, advice: Advice) -> AdviceReasons:
    """Why the advice on a weighed case is what it is."""
    best = advice.repair.best
    other = next((each for each in advice.repair.options if not each.best and not each.barred), None)
    turning, looked_at, left_out = _turning(weighed, advice)
    return AdviceReasons(
        best=best,
        other=other,
        parts=_parts(best, other) if other is not None else (),
        worth=answers_worth(weighed, advice),
        turning=turning,
        looked_at=looked_at,
        left_out=left_out,
    )


def _parts(best: PlanOption, other: PlanOption) -> tuple[PartDifference, ...]:
    one, two = best.breakdown.amounts, other.breakdown.amounts
    currency = best.total.currency
    return tuple(
        PartDifference(name, one[name], two[name], Money(two[name].amount - one[name].amount, currency))
        for name in one
        if one[name].amount or two[name].amount
    )


def answers_worth(weighed: Weighed, advice: Advice) -> tuple[AnswerWorth, ...]:
    """What each answer so far was worth: decided again without it, and that plan priced on everything known."""
    network, steps, best = weighed.network, told_steps(weighed.network), advice.repair.best
    then = [_best_without(weighed, steps, number) or best for number in range(len(steps))]
    ready = reckon(network.knowledge, network.case, network, weighed.posterior, [each.jobs for each in then])
    return tuple(_worth(number, plan, advice, ready) for number, plan in enumerate(then))


def _worth(step: int, then: PlanOption, advice: Advice, ready: Reckoning) -> AnswerWorth:
    best = advice.repair.best
    turned = frozenset(then.jobs) != frozenset(best.jobs)
    if not turned:
        return AnswerWorth(step, then, False, then.total, best.total, Money(0.0, best.total.currency), "")
    costs, barred = _cost_of(then.jobs, advice.repair.options, ready)
    saved = Money(costs.amount - best.total.amount, costs.currency) if costs is not None else None
    return AnswerWorth(step, then, True, then.total, costs, saved, barred)


def _cost_of(jobs: Sequence[Job], options: Sequence[PlanOption], ready: Reckoning) -> tuple[Money | None, str]:
    """What jobs cost on the belief of a reckoning, or why they are barred."""
    known = next((each for each in options if frozenset(each.jobs) == frozenset(jobs)), None)
    if known is not None:
        return (None, known.barred) if known.barred else (known.total, "")
    priced = price(ready, jobs)
    assert priced is not None, "what was the best plan on other evidence is a plan"
    return (None, priced.barred) if priced.barred else (priced.breakdown.total, "")


def _best_without(weighed: Weighed, steps: Sequence[ToldStep], left_out: int) -> PlanOption | None:
    """The best plan had one thing not been told; none where that moves no chance."""
    network = weighed.network
    told = np.ones((1, len(steps)), dtype=np.bool_)
    told[0, left_out] = False
    posterior = part_posterior(network, steps, told)
    now, then = component_states(network, weighed.posterior), component_states(network, posterior)
    case = _case_without(network, steps[left_out])
    if case == network.case or max(float(abs(now[key] - then[key]).max()) for key in now) < NOTHING_MOVES:
        return None
    changed = replace(network, case=case, evidence=part_evidence(network, steps, told))
    return decide_repair(reckon(network.knowledge, case, changed, posterior)).best


def _case_without(network: CaseNetwork, step: ToldStep) -> Case:
    """The case as it would be had the step not been told: what it says of danger and of starting goes with it."""
    epochs = []
    for number, epoch in enumerate(network.case.epochs):
        answers, measured = epoch.answers, epoch.measured
        if number in step.epochs:
            answers = tuple(each for each in answers if each not in step.what)
            measured = tuple(each for each in measured if each not in step.what)
        epochs.append(replace(epoch, answers=answers, measured=measured))
    return replace(network.case, epochs=tuple(epochs))


def _turning(weighed: Weighed, advice: Advice) -> tuple[tuple[TurningAnswer, ...], int, int]:
    """Answers to come that turn the plan; how many were tried, and how many questions were not."""
    found: list[TurningAnswer] = []
    looked_at, left_out = 0, 0
    for question in dict.fromkeys(_questions(weighed, advice)):
        answers = foreseen(weighed.network, *question, least=LEAST_CHANCE) if looked_at < MOST_OUTCOMES else ()
        if not answers:
            left_out += looked_at >= MOST_OUTCOMES
            continue
        looked_at += len(answers)
        found += _merged([each for each in (_turned(weighed, advice, question, one) for one in answers) if each])
    found.sort(key=lambda each: -each.chance * (each.saved.amount if each.saved is not None else np.inf))
    return tuple(found), looked_at, left_out


Asked = tuple[str, Place, str | None]


def _questions(weighed: Weighed, advice: Advice) -> Iterator[Asked]:
    """What the checks could bring that may change the plan, the check worth most first."""
    checks = weighed.network.knowledge.checks
    able = [each for each in advice.checks.checks if each.worth.amount > 0]
    for ranked in sorted(able, key=_by_worth):
        for item, place in ranked.items:
            for brought in checks[ranked.check].yields:
                if brought.item == item:
                    yield item, place, weighed.network.question(item, place, brought.under).condition


def _by_worth(check: RankedCheck) -> tuple[bool, float]:
    return (not check.safety, -check.worth.amount)


def _turned(weighed: Weighed, advice: Advice, question: Asked, answer: Foreseen) -> TurningAnswer | None:
    """What the answer would do to the plan; none where it stays."""
    network, best = weighed.network, advice.repair.best
    item, place, condition = question
    case = network.case
    if item in network.knowledge.findings:
        case = with_answer(case, network.knowledge, item, place, answer.outcome, condition)
    changed = replace(network, case=case, evidence=answer.evidence)
    ready = reckon(network.knowledge, case, changed, also=[best.jobs])
    decision = decide_repair(ready)
    if frozenset(decision.best.jobs) == frozenset(best.jobs):
        return None
    stays, barred = _cost_of(best.jobs, decision.options, ready)
    saved = Money(stays.amount - decision.best.total.amount, stays.currency) if stays is not None else None
    return TurningAnswer(item, place, condition, (answer.outcome,), answer.chance, decision.best, stays, saved, barred)


def _merged(answers: Sequence[TurningAnswer]) -> list[TurningAnswer]:
    """Answers to one question that turn the advice to the same plan, as one."""
    found: dict[tuple[frozenset[Job], str], TurningAnswer] = {}
    for each in answers:
        key = (frozenset(each.plan.jobs), each.barred)
        known = found.get(key)
        found[key] = each if known is None else _both(known, each)
    return list(found.values())


def _both(one: TurningAnswer, two: TurningAnswer) -> TurningAnswer:
    chance = one.chance + two.chance

    def average(first: Money | None, second: Money | None) -> Money | None:
        if first is None or second is None:
            return None
        return Money((first.amount * one.chance + second.amount * two.chance) / chance, first.currency)

    return replace(
        one,
        outcomes=(*one.outcomes, *two.outcomes),
        chance=chance,
        stays=average(one.stays, two.stays),
        saved=average(one.saved, two.saved),
    )
