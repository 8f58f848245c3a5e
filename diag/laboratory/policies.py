"""The policies that are compared: diag's own, and what people do.

All rules of thumb know the exact chances of the faults; they differ from diag's policy in how they use them. They stop
checking once one fault is as likely as `SURE`, or once the checks have cost as much as `PATIENCE` minutes of labour,
and then mend the likeliest fault by its cheapest job. May import: decision, network, evidence, casebook,
knowledge_base, basics.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from diag.basics import Place
from diag.casebook import Case
from diag.decision import Job, Reckoning, Tariff, advise, check_cost, reckon, why_not
from diag.evidence import without_limit
from diag.knowledge_base import Knowledge, Reading
from diag.laboratory.session import CheckStep, Policy, RepairStep, Step, asked_in
from diag.network import Weighed, component_states, weigh

__all__ = ["POLICIES", "EverythingLikely", "Reasoned", "RuleOfThumb", "items_of", "policy_named"]

SURE = 0.75  # chance of one fault at which a rule of thumb repairs
PATIENCE = 120.0  # minutes of labour that checks may cost before a rule of thumb repairs
WORTH_CHANGING = 0.05  # chance from which 'change everything' changes a part

Key = tuple[str, Place]
Order = Literal["cheapest", "likeliest", "ratio", "none"]


@dataclass(frozen=True)
class Reasoned:
    """diag's advice, step by step: `ahead` with or without looking at pairs of checks."""

    name: str
    ahead: bool

    def step(self, knowledge: Knowledge, case: Case, spent: float) -> Step:
        """The check that is advised, else the best repair."""
        weighed = weigh(knowledge, case)
        advice = advise(knowledge, case, weighed.network, weighed.posterior, ahead=self.ahead)
        best = advice.repair.best
        check = advice.check
        if check is not None:
            cost = sum(amount.amount for amount in check.amounts.values())
            return CheckStep(check.check, check.place, cost, check.opens)
        return RepairStep(best.jobs, best.later, best.total.amount)


@dataclass(frozen=True)
class RuleOfThumb:
    """Checks in some order, until one fault is likely enough or patience ends; then that fault is mended."""

    name: str
    order: Order
    _reckoned: dict[tuple[str, float | None, float | None], Reckoning] = field(
        default_factory=dict, compare=False, repr=False
    )

    def step(self, knowledge: Knowledge, case: Case, spent: float) -> Step:
        """The next check in the order, else the repair of the likeliest fault."""
        weighed = weigh(knowledge, case)
        tariff = Tariff(knowledge, case.engine)
        chances = _fault_chances(weighed, tariff)
        likeliest = max(chances, key=lambda key: chances[key])
        if self.order != "none" and chances[likeliest] < SURE and spent < tariff.labour(PATIENCE):
            found = self._next(knowledge, case, weighed, chances)
            if found is not None:
                return found
        return RepairStep(_cheapest(tariff, likeliest))

    def _next(self, knowledge: Knowledge, case: Case, weighed: Weighed, chances: dict[Key, float]) -> CheckStep | None:
        ready = self._ready(knowledge, case, weighed)
        open_checks = []
        for check, place, about in _checks(ready):
            most = max((chances[key] for key in about if key in chances), default=0.0)
            if most > 0:
                cost = check_cost(ready, check, place)
                open_checks.append((self._key(cost.total, most), check, place, cost))
        if not open_checks:
            return None
        _, check, place, cost = min(open_checks, key=lambda each: each[0])
        return CheckStep(check, place, cost.total, cost.opens)

    def _key(self, cost: float, most: float) -> tuple[float, float]:
        if self.order == "cheapest":
            return cost, -most
        return (-most, cost) if self.order == "likeliest" else (-most / max(cost, 1e-9), cost)

    def _ready(self, knowledge: Knowledge, case: Case, weighed: Weighed) -> Reckoning:
        """What a check costs needs the prices and what is known now, not a decision: reckoned once for each start."""
        key = (case.engine_id, case.distance_km, case.age_years)
        if key not in self._reckoned:
            self._reckoned[key] = reckon(knowledge, case, weighed.network, weighed.posterior)
        return replace(self._reckoned[key], case=case, network=weighed.network, posterior=weighed.posterior)


@dataclass(frozen=True)
class EverythingLikely:
    """No checks: every part that is at fault with at least `WORTH_CHANGING` is changed."""

    name: str

    def step(self, knowledge: Knowledge, case: Case, spent: float) -> Step:
        """Change them all."""
        tariff = Tariff(knowledge, case.engine)
        chances = _fault_chances(weigh(knowledge, case), tariff)
        wanted = [key for key, chance in chances.items() if chance >= WORTH_CHANGING]
        wanted = wanted or [max(chances, key=lambda key: chances[key])]
        jobs = [job for key in wanted for job in _cheapest(tariff, key)]
        return RepairStep(tuple(dict.fromkeys(jobs)))


def _fault_chances(weighed: Weighed, tariff: Tariff) -> dict[Key, float]:
    """Chance that each fault component that the workshop mends is unsound."""
    known = weighed.network.knowledge.components
    mended = {key for job in tariff.jobs() for key in tariff.renewed(job)}
    states = component_states(weighed.network, weighed.posterior)
    return {key: 1.0 - float(chances[0]) for key, chances in states.items() if known[key[0]].fault and key in mended}


def _cheapest(tariff: Tariff, key: Key) -> tuple[Job, ...]:
    """The cheapest job that renews a component."""
    return (tariff.cheapest[key],)


def _checks(ready: Reckoning) -> Iterator[tuple[str, Place, frozenset[Key]]]:
    """Every check at every place that could still tell something, with the components that it speaks of."""
    knowledge, tariff = ready.knowledge, ready.bound.tariff
    known = asked_in(ready.case)
    for check_id, check in knowledge.checks.items():
        if why_not(ready, check_id):
            continue
        for place in tariff.places(check.covers):
            fresh = [each for each in items_of(knowledge, tariff, check_id, place) if each not in known]
            if fresh:
                about = frozenset(key for item, where, _ in fresh for key in _causes(ready, item, where))
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


def _causes(ready: Reckoning, item: str, place: Place) -> frozenset[Key]:
    """Components, at their places, that may be behind an item."""
    knowledge, tariff = ready.knowledge, ready.bound.tariff
    entry = knowledge.findings.get(item) or knowledge.readings[item]
    found: set[Key] = set()
    waiting: list[Key] = [(entry.shows, place)]
    while waiting:
        name, where = waiting.pop()
        if name in knowledge.components:
            found.add((name, where))
            continue
        for cause in knowledge.severities[name].causes:
            per = (knowledge.components.get(cause) or knowledge.severities[cause]).per
            if per == "cylinder":
                waiting += [(cause, c) for c in tariff.engine.cylinders if where in (None, c)]
            elif per == "bank":
                waiting += [(cause, bank) for bank in tariff.banks_of(where)]
            else:
                waiting.append((cause, None))
    return frozenset(found)


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
