"""What a check costs here and now, and whether it can be done at all.

May import: casebook, knowledge_base, basics, and `plans`, `sites`, `tariff` of this room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from msgspec import Struct

from diag.basics import Place, listed
from diag.casebook import closed_first
from diag.decision.plans import Reckoning, no_start
from diag.decision.sites import AccessKey
from diag.knowledge_base import Risk, hazards_of, runs_engine, turns_engine

__all__ = ["CheckCost", "barred_by_danger", "check_cost", "costs_once_open", "why_not"]

PLACED = ("access", "reassembly")  # what of a check's cost hangs on what stands open


class CheckCost(Struct, frozen=True):
    """Money for a check in its parts, the minutes of all work in it, what it opens that is not open, and what is closed
    for it first."""

    amounts: dict[str, float]
    minutes: float
    opens: tuple[AccessKey, ...]
    closes: tuple[AccessKey, ...]

    @property
    def total(self) -> float:
        """All of it."""
        return sum(self.amounts.values())


def why_not(ready: Reckoning, check_id: str) -> str:
    """Why a check cannot be done here; empty where it can."""
    check, engine = ready.knowledge.checks[check_id], ready.case.engine
    if check_id in ready.case.cannot:
        return "not possible here, as told"
    if check.only_injector is not None and check.only_injector != engine.injector:
        return f"only for {check.only_injector} injectors; this engine has {engine.injector} ones"
    if runs_engine(check) and no_start(ready.knowledge, ready.case):
        return "it needs the engine running, and the engine does not start"
    return barred_by_danger(ready, check_id)


def barred_by_danger(ready: Reckoning, check_id: str) -> str:
    """Why danger forbids a check now, by its own hazards or those of what is opened for it; empty where it does not."""
    hazards = hazards_of(ready.knowledge, ready.knowledge.checks[check_id])
    for caution in ready.danger.cautions:
        forbidden = sorted({*ready.knowledge.cautions[caution].forbids} & hazards)
        if forbidden:
            return f"not while there is danger: the caution shown first forbids it ({listed(forbidden)})"
    return ""


def check_cost(
    ready: Reckoning,
    check_id: str,
    place: Place,
    opened: frozenset[AccessKey] = frozenset(),
) -> CheckCost:
    """Minutes x rate, access that is not open, parts, days without the vehicle, expected risks, and putting together
    what stands open where the engine is run or cranked (and taking it off again). `opened`: what another check has
    opened by then."""
    tariff, check = ready.bound.tariff, ready.knowledge.checks[check_id]
    already = tariff.open_already(ready.case.open_access) | opened
    opens = tuple(sorted(tariff.opens(check.access, place) - already))
    closes = closed_first(ready.knowledge, check, already)
    reassembly = sum(tariff.opening_minutes(key) for key in closes)
    awkward = (
        tariff.engine.awkward_minutes.get(place, 0.0) if isinstance(place, int) and check.access != "none" else 0.0
    )
    opening = sum(tariff.opening_minutes(key) for key in opens)
    own = check.minutes.value + awkward
    return CheckCost(
        amounts={
            "labour": tariff.labour(own),
            "access": tariff.labour(opening),
            "reassembly": tariff.labour(reassembly),
            "parts": tariff.parts(check.parts),
            "waiting": check.days.value * tariff.knowledge.prices.customer.day_without_vehicle.value,
            "complications": sum(_risk(ready, risk, place) for risk in check.risks),
        },
        minutes=own + opening + reassembly,
        opens=opens,
        closes=closes,
    )


def costs_once_open(
    ready: Reckoning, checks: Sequence[tuple[str, Place]], costs: Sequence[CheckCost]
) -> Callable[[int, frozenset[AccessKey]], float]:
    """The total of `check_cost` of each check, by its number, once more is open; `costs` are those without that. What a
    ranking asks of many pairs of checks, so what does not depend on the pair is worked out once."""
    tariff, known = ready.bound.tariff, ready.knowledge.checks
    before = tariff.open_already(ready.case.open_access)
    wanted = [tariff.opens(known[check].access, place) - before for check, place in checks]
    turning = [turns_engine(known[check]) for check, _ in checks]
    unopened = [cost.total for cost in costs]
    rest = [sum(cost.amounts[name] for name in cost.amounts if name not in PLACED) for cost in costs]
    access: dict[frozenset[AccessKey], float] = {}
    reassembly: dict[tuple[str, frozenset[AccessKey]], float] = {}

    def total(number: int, opened: frozenset[AccessKey]) -> float:
        if not turning[number] and opened.isdisjoint(wanted[number]):
            return unopened[number]
        name, still = checks[number][0], wanted[number] - opened
        if still not in access:
            access[still] = tariff.labour(sum(tariff.opening_minutes(key) for key in sorted(still)))
        if not turning[number]:
            return rest[number] + access[still] + costs[number].amounts["reassembly"]
        if (name, opened) not in reassembly:
            closes = closed_first(ready.knowledge, known[name], before | opened)
            reassembly[name, opened] = tariff.labour(sum(tariff.opening_minutes(key) for key in closes))
        return rest[number] + access[still] + reassembly[name, opened]

    return total


def _risk(ready: Reckoning, risk: Risk, place: Place) -> float:
    """Expected money of one risk, its severity being what it probably is at the cylinder now."""
    named = ready.bound.tariff.risk_chances(risk, place)
    money = ready.bound.tariff.risk_money(risk)
    severity = ready.knowledge.severities.get(risk.by) if risk.by is not None else None
    if severity is None or severity.per != "cylinder" or not isinstance(place, int):
        return max(named.values()) * money
    plate, axis = ready.network.severity_at(str(risk.by), place)
    levels = ready.posterior.axes[plate][axis][0]
    return float(levels @ np.array([named.get(level, 0.0) for level in severity.levels])) * money
