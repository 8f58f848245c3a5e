"""The estimate of a chosen plan: lines that add up exactly to the expected invoice, tax, and the range about it.

invoice = access (minutes of each kind and bank, once) x rate + labour + parts + charges + finish, as in the objective
of the decision, and for every risk: E[chance at the severity there] x its money. Amounts are rounded to the currency's
smallest unit by largest remainders, so that the lines add up to the rounded sum. The range: the risks of one cylinder
hang on the one severity there; cylinders are taken as independent, so the spread (not the expectation) is approximate.
May import: decision, casebook, knowledge_base, inference, basics, and `choosing`, `exchanges`, `work` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec.structs import replace

from diag.basics import Place, minor_digits
from diag.casebook import Case
from diag.decision import Job, Money, NetworkView, Tariff
from diag.inference import Posterior
from diag.knowledge_base import Risk
from diag.worksheet.choosing import Chosen
from diag.worksheet.exchanges import charges_at, minutes_at
from diag.worksheet.work import finishes, parts_of

if TYPE_CHECKING:
    from diag.decision import OptionSpread, Reckoning, RepairDecision

__all__ = [
    "ChargeLine",
    "Estimate",
    "Range",
    "RiskLine",
    "as_estimated",
    "estimate",
    "tax_on",
    "with_tax",
]

LineKind = Literal["access", "labour", "parts", "charges", "finish"]

BAD_LUCK = 0.9  # share of such jobs that cost no more than the upper end of the range
RAREST = 1e-15  # chance up to which an amount is left out
FEW = 48  # sums up to which they are quicker by themselves than as arrays


@dataclass(frozen=True)
class ChargeLine:
    """A line of the estimate. `item` is an access kind, a repair or a part; `quantity` in `unit` at `each`."""

    kind: LineKind
    item: str
    places: tuple[Place, ...]
    quantity: float
    unit: Literal["min", "piece", "sum"]
    each: Money
    amount: Money


@dataclass(frozen=True)
class RiskLine:
    """Something that may come on top: `chance` that it happens at least once, `expected` times, `each` time so much;
    `amount` is what it comes to on average."""

    name: str
    places: tuple[Place, ...]
    chance: float
    expected: float
    each: Money
    amount: Money


@dataclass(frozen=True)
class Range:
    """What the invoice before tax can come to. `p_least`: chance that nothing goes wrong; `bad_luck`: what nine of ten
    such jobs do not exceed."""

    least: Money
    p_least: float
    bad_luck: Money


@dataclass(frozen=True)
class Estimate:
    """Lines and risks; `net` is their sum and the decision's expected invoice, to the smallest unit; `exact` unrounded.

    `digits`: decimals of the currency."""

    chosen: Chosen
    currency: str
    digits: int
    lines: tuple[ChargeLine, ...]
    risks: tuple[RiskLine, ...]
    exact: float
    net: Money
    tax_rate: float
    tax: Money
    total: Money
    range: Range


def tax_on(amount: float, rate: float, digits: int) -> float:
    """Tax on an amount, to the smallest unit; a half is rounded up, as by hand: 19 % of 2.50 is 0.475, thus 0.48."""
    exact = Decimal(repr(round(amount, digits))) * Decimal(repr(round(rate, 12)))
    return float(exact.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP))


def with_tax(amount: float, rate: float, currency: str) -> float:
    """What an invoice comes to with tax as an estimate says it: tax is on the amount in whole smallest units."""
    digits = minor_digits(currency)
    net = _units(amount, digits) / 10.0**digits
    return round(net + tax_on(net, rate, digits), digits)


def as_estimated(
    ready: Reckoning, case: Case, decision: RepairDecision, spreads: Mapping[str, OptionSpread]
) -> dict[str, OptionSpread]:
    """The spreads with what nine in ten invoices do not exceed as the estimates say it, so that no two papers of a case
    differ. A drawn one may miss it by a whole risk where the chance up to it is close to nine in ten. Where the work is
    chosen by a test it stays as drawn, for no estimate holds the work after every result."""
    found = {}
    for option in decision.options:
        if option.after and option.name in spreads:
            found[option.name] = spreads[option.name]
        elif option.name in spreads:
            chosen, drawn = Chosen(option.title, option.jobs, option), spreads[option.name]
            told = estimate(ready.bound.tariff, case, ready.network, ready.posterior, chosen)
            invoice = replace(drawn.invoice, high=told.range.bad_luck.amount)
            found[option.name] = replace(drawn, invoice=invoice)
    return found


def estimate(tariff: Tariff, case: Case, network: NetworkView, posterior: Posterior, chosen: Chosen) -> Estimate:
    """The estimate of a plan under what is believed of the case."""
    prices = tariff.knowledge.prices
    digits = minor_digits(prices.currency)
    lines = _lines(tariff, case, chosen.jobs)
    events = [
        _Event(risk, job.place, chances, tariff.risk_money(risk))
        for job in chosen.jobs
        for risk in tariff.knowledge.repairs[job.repair].risks
        for chances in [_chances(tariff, network, posterior, risk, job)]
    ]
    risks = _risk_lines(events, prices.currency)
    exact = sum(line.amount.amount for line in lines) + sum(line.amount.amount for line in risks)
    whole = _rounded([*(line.amount.amount for line in lines), *(line.amount.amount for line in risks)], digits)
    money = [Money(amount, prices.currency) for amount in whole]
    lines = tuple(_with_amount(line, amount) for line, amount in zip(lines, money, strict=False))
    risks = tuple(_risk_with(line, amount) for line, amount in zip(risks, money[len(lines) :], strict=True))
    net = Money(round(sum(whole), digits), prices.currency)
    tax = Money(tax_on(net.amount, prices.tax.value, digits), prices.currency)
    total = Money(round(net.amount + tax.amount, digits), prices.currency)
    sure = round(sum(line.amount.amount for line in lines), digits)
    spread = _range(events, sure, prices.currency, digits)
    return Estimate(chosen, prices.currency, digits, lines, risks, exact, net, prices.tax.value, tax, total, spread)


def _with_amount(line: ChargeLine, amount: Money) -> ChargeLine:
    return ChargeLine(line.kind, line.item, line.places, line.quantity, line.unit, line.each, amount)


def _risk_with(line: RiskLine, amount: Money) -> RiskLine:
    return RiskLine(line.name, line.places, line.chance, line.expected, line.each, amount)


def _lines(tariff: Tariff, case: Case, jobs: Sequence[Job]) -> tuple[ChargeLine, ...]:
    knowledge, currency = tariff.knowledge, tariff.knowledge.prices.currency
    hour = Money(knowledge.prices.labour_per_hour.value, currency)

    def work(kind: LineKind, item: str, places: tuple[Place, ...], minutes: float) -> ChargeLine:
        return ChargeLine(kind, item, places, minutes, "min", hour, Money(tariff.labour(minutes), currency))

    found = []
    opened = tariff.open_already(case.open_access)
    keys = frozenset().union(*(tariff.job_opens(job) for job in jobs)) - opened
    for kind in knowledge.vocabulary.access:
        banks = tuple(bank for bank in tariff.engine.banks if (kind, bank) in keys)
        if banks:
            found.append(work("access", kind, banks, sum(tariff.opening_minutes((kind, bank)) for bank in banks)))
    took, paid = minutes_at(tariff, jobs), charges_at(knowledge, jobs)
    by_repair: dict[str, list[Job]] = {}
    for job in jobs:
        by_repair.setdefault(job.repair, []).append(job)
    for repair, some in by_repair.items():
        minutes = sum(took[job] for job in some)
        if minutes:
            found.append(work("labour", repair, tuple(job.place for job in some), minutes))
    for counted in parts_of(knowledge, jobs):
        each = Money(knowledge.prices.parts[counted.part].price.value, currency)
        found.append(ChargeLine("parts", counted.part, (), counted.count, "piece", each, each * counted.count))
    for repair, some in by_repair.items():
        each = Money(knowledge.repairs[repair].money.value, currency)
        if each.amount:
            places = tuple(job.place for job in some)
            times = sum(job in paid for job in some)
            found.append(ChargeLine("charges", repair, places, times, "sum", each, each * times))
    if finishes(knowledge, jobs):
        found.append(work("finish", "finish", (), knowledge.prices.finish_minutes.value))
    return tuple(found)


@dataclass(frozen=True)
class _Event:
    """A risk at a place: `chances[level]` are (chance of the level, chance of the risk there)."""

    risk: Risk
    place: Place
    chances: tuple[tuple[float, float], ...]
    money: float

    @property
    def chance(self) -> float:
        return sum(level * here for level, here in self.chances)


def _chances(
    tariff: Tariff, network: NetworkView, posterior: Posterior, risk: Risk, job: Job
) -> tuple[tuple[float, float], ...]:
    """As the decision reckons it: by the severity in the job's cylinder, else the largest of its chances."""
    named = tariff.risk_chances(risk, job.place)
    severity = tariff.knowledge.severities.get(risk.by) if risk.by is not None else None
    if severity is None or severity.per != "cylinder" or not isinstance(job.place, int):
        return ((1.0, max(named.values())),)
    assert risk.by is not None
    plate, axis = network.severity_at(risk.by, job.place)
    levels = posterior.axes[plate][axis][0]
    return tuple((float(p), named.get(name, 0.0)) for name, p in zip(severity.levels, levels, strict=True))


def _risk_lines(events: Sequence[_Event], currency: str) -> tuple[RiskLine, ...]:
    """Risks of one name and one money together."""
    groups: dict[tuple[str, float], list[_Event]] = {}
    for event in events:
        groups.setdefault((event.risk.name, event.money), []).append(event)
    lines = []
    for (name, money), some in groups.items():
        none, expected = 1.0, 0.0
        for event in some:
            none *= 1.0 - event.chance
            expected += event.chance
        places = tuple(dict.fromkeys(event.place for event in some))
        amount = Money(expected * money, currency)
        lines.append(RiskLine(name, places, 1.0 - none, expected, Money(money, currency), amount))
    return tuple(lines)


def _rounded(amounts: Sequence[float], digits: int) -> list[float]:
    """Amounts in whole smallest units that add up to the rounded sum; largest remainders are rounded up first."""
    units = [round(amount * 10**digits, 6) for amount in amounts]  # 7.1 is 710 cents, not 709.9999
    floors = [int(unit // 1) for unit in units]
    missing = _units(sum(amounts), digits) - sum(floors)
    by_remainder = sorted(range(len(units)), key=lambda index: floors[index] - units[index])
    for index in by_remainder[:missing]:
        floors[index] += 1
    return [floor / 10**digits for floor in floors]


def _units(amount: float, digits: int) -> int:
    """An amount in whole smallest units."""
    return round(round(amount * 10.0**digits, 6))


def _range(events: Sequence[_Event], sure: float, currency: str, digits: int) -> Range:
    spread = spread_of(events)
    reached, bad = 0.0, 0.0
    for extra in sorted(spread):
        reached, bad = reached + spread[extra], extra
        if reached >= BAD_LUCK:
            break
    return Range(
        Money(sure, currency),
        spread.get(0.0, 1.0),
        Money(round(sure + bad, digits), currency),
    )


def spread_of(events: Sequence[_Event]) -> dict[float, float]:
    """Money for all that goes wrong -> its chance. Risks of one cylinder and severity share its level."""
    groups: dict[tuple[str | None, Place], list[_Event]] = {}
    for event in events:
        groups.setdefault((event.risk.by, event.place), []).append(event)
    whole = {0.0: 1.0}
    for some in groups.values():
        mixed: dict[float, float] = {}
        for level in range(len(some[0].chances)):
            share = some[0].chances[level][0]
            here = {0.0: share}
            for event in some:
                happens = event.chances[level][1]
                costs = {0.0: 1.0 - happens, event.money: happens} if event.money else {0.0: 1.0}
                here = _with(here, costs)
            for extra, chance in here.items():
                mixed[extra] = mixed.get(extra, 0.0) + chance
        whole = _with(whole, mixed)
    return whole


def _with(one: Mapping[float, float], other: Mapping[float, float]) -> dict[float, float]:
    """The sum of two independent amounts, but for those that hardly ever come: there are very many of these."""
    if len(one) * len(other) <= FEW:
        few: dict[float, float] = {}
        for amount, chance in one.items():
            for more, its_chance in other.items():
                both = round((amount + more) * 1000.0) / 1000.0
                few[both] = few.get(both, 0.0) + chance * its_chance
        return {amount: few[amount] for amount in sorted(few) if few[amount] > RAREST}
    amounts = np.add.outer([*other], [*one]).ravel().round(3)  # ascending within each row
    order = amounts.argsort(kind="stable")  # which makes use of that
    amounts = amounts[order]
    first = np.flatnonzero(np.diff(amounts, prepend=-np.inf))
    chances = np.multiply.outer([*other.values()], [*one.values()]).ravel()
    summed = np.add.reduceat(chances[order], first)
    kept = summed > RAREST
    return dict(zip(amounts[first][kept].tolist(), summed[kept].tolist(), strict=True))
