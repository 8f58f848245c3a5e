"""The policies that are compared: diag's own, and what people do.

All rules of thumb know the exact chances of the faults; they differ from diag's policy in how they use them. They stop
checking once one fault is as likely as `SURE`, or once the checks have cost as much as `PATIENCE` minutes of labour,
and then mend the likeliest fault by its cheapest job. May import: decision, network, evidence, casebook,
knowledge_base, basics, and `desk`, `session` of this room.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from diag.basics import Place
from diag.casebook import Case
from diag.decision import Advice, RankedCheck, Reckoning, Tariff, check_cost, why_not
from diag.evidence import without_limit
from diag.knowledge_base import Knowledge, Reading
from diag.laboratory.desk import Desk
from diag.laboratory.session import CheckStep, RepairStep, Step, asked_in
from diag.network import component_states

__all__ = ["POLICIES", "EverythingLikely", "Policy", "Reasoned", "RuleOfThumb", "items_of", "policy_named"]

SURE = 0.75  # chance of one fault at which a rule of thumb repairs
PATIENCE = 120.0  # minutes of labour that checks may cost before a rule of thumb repairs
DIGITS = (
    9  # of the chances and the money that rules of thumb compare: rounding does not say which of two equals is first
)
WORTH_CHANGING = 0.05  # chance from which 'change everything' changes a part


class Policy(Protocol):
    """A way of deciding what comes next; it knows the knowledge and the case, never the vehicle."""

    @property
    def name(self) -> str:
        """Its id."""
        ...

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """What to do next; `spent`: money for checks so far."""
        ...


Key = tuple[str, Place]
Order = Literal["cheapest", "likeliest", "ratio", "none"]


@dataclass(frozen=True)
class Reasoned:
    """diag's advice, step by step: `ahead` with or without looking at pairs of checks."""

    name: str
    ahead: bool

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """The check that is advised, else the best repair."""
        advice = desk.advice(case, self.ahead)
        best = advice.repair.best
        repair = RepairStep(best.jobs, best.later, best.total.amount)
        check = advice.check if self.ahead else _best_alone(advice)
        if check is None:
            return repair
        cost = sum(amount.amount for amount in check.amounts.values())
        return CheckStep(check.check, check.place, cost, check.opens, repair)


def _best_alone(advice: Advice) -> RankedCheck | None:
    """The check to do first where none is looked at together with another."""
    ordered = sorted(advice.checks.checks, key=lambda each: (not each.safety, -each.net.amount))
    first = next(iter(ordered), None)
    return first if first is not None and (first.safety or first.net.amount > 0) else None


@dataclass(frozen=True)
class RuleOfThumb:
    """Checks in some order, until one fault is likely enough or patience ends; then that fault is mended."""

    name: str
    order: Order

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """The next check in the order, else the repair of the likeliest fault."""
        tariff = desk.tariff(case)
        chances = _fault_chances(desk, case)
        likeliest = max(chances, key=lambda key: chances[key])
        repair = RepairStep((tariff.cheapest[likeliest],))
        if self.order != "none" and chances[likeliest] < SURE and spent < tariff.labour(PATIENCE):
            return self._next(desk, case, chances, repair) or repair
        return repair

    def _next(self, desk: Desk, case: Case, chances: dict[Key, float], repair: RepairStep) -> CheckStep | None:
        ready = desk.prices(case)
        open_checks = []
        for check, place, about in _checks(desk, ready):
            most = max((chances[key] for key in about if key in chances), default=0.0)
            if most > 0:
                cost = check_cost(ready, check, place)
                open_checks.append((self._key(round(cost.total, DIGITS), most), check, place, cost))
        if not open_checks:
            return None
        _, check, place, cost = min(open_checks, key=lambda each: each[0])
        return CheckStep(check, place, round(cost.total, DIGITS), cost.opens, repair)

    def _key(self, cost: float, most: float) -> tuple[float, float]:
        if self.order == "cheapest":
            return cost, -most
        return (-most, cost) if self.order == "likeliest" else (round(-most / max(cost, 1e-9), DIGITS), cost)


@dataclass(frozen=True)
class EverythingLikely:
    """No checks: every part that is at fault with at least `WORTH_CHANGING` is changed."""

    name: str

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """Change them all."""
        chances = _fault_chances(desk, case)
        wanted = [key for key, chance in chances.items() if chance >= WORTH_CHANGING]
        wanted = wanted or [max(chances, key=lambda key: chances[key])]
        return RepairStep(tuple(dict.fromkeys(desk.tariff(case).cheapest[key] for key in wanted)))


def _fault_chances(desk: Desk, case: Case) -> dict[Key, float]:
    """Chance that each fault component that the workshop mends is unsound."""
    known, mended = desk.glanced(case), desk.tariff(case).cheapest
    components = desk.knowledge.components
    states = component_states(known.network, known.posterior)
    return {
        key: round(1.0 - float(chances[0]), DIGITS)
        for key, chances in states.items()
        if components[key[0]].fault and key in mended
    }


def _checks(desk: Desk, ready: Reckoning) -> Iterator[tuple[str, Place, frozenset[Key]]]:
    """Every check at every place that could still tell something, with the components that it speaks of."""
    knowledge, tariff, case = ready.knowledge, ready.bound.tariff, ready.case
    known = asked_in(case)
    for check_id, check in knowledge.checks.items():
        if why_not(ready, check_id):
            continue
        for place in tariff.places(check.covers):
            fresh = [each for each in items_of(knowledge, tariff, check_id, place) if each not in known]
            if fresh:
                about = frozenset[Key]().union(*(desk.causes(case, item, where) for item, where, _ in fresh))
                yield check_id, place, about


def items_of(
    knowledge: Knowledge, tariff: Tariff, check_id: str, place: Place
) -> tuple[tuple[str, Place, str | None], ...]:
    """What a check at a place yields and has an effect on this engine: (item, place, condition)."""
    check = knowledge.checks[check_id]
    found: list[tuple[str, Place, str | None]] = []
    for brought in check.yields:
        entry = knowledge.findings.get(brought.item) or knowledge.readings[brought.item]
        if isinstance(entry, Reading) and without_limit(entry, tariff.engine):
            continue
        per = (knowledge.components.get(entry.shows) or knowledge.severities[entry.shows]).per
        if per == "vehicle":
            places: Sequence[Place] = (None,)
        elif per == "bank":
            places = tariff.banks_of(place)
        elif check.covers == "cylinder":
            places = (place,)
        else:
            places = [c for c in tariff.engine.cylinders if place is None or tariff.engine.bank_of(c) == place]
        found += [(brought.item, where, brought.under) for where in places]
    return tuple(found)


POLICIES: tuple[str, ...] = (
    "looking ahead",
    "one step",
    "cheapest first",
    "likeliest first",
    "chance over cost",
    "likeliest at once",
    "change everything",
)


def policy_named(name: str) -> Policy:
    """A policy by its name (`POLICIES`)."""
    made: dict[str, Policy] = {
        "looking ahead": Reasoned("looking ahead", True),
        "one step": Reasoned("one step", False),
        "cheapest first": RuleOfThumb("cheapest first", "cheapest"),
        "likeliest first": RuleOfThumb("likeliest first", "likeliest"),
        "chance over cost": RuleOfThumb("chance over cost", "ratio"),
        "likeliest at once": RuleOfThumb("likeliest at once", "none"),
        "change everything": EverythingLikely("change everything"),
    }
    return made[name]
