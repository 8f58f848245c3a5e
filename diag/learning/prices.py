"""What parts cost, from what was actually spent on closed cases: robust, each part held by its price as it stands.

An invoice is hours times the rate, parts times their prices, and fixed charges. Every price (and, only so that it does
not fall upon the parts, the rate) has a factor by which it differs from what the knowledge says. What an invoice is off
by is a share of what it comes to, Student t (4 degrees): discounts and slips of the pen do not pull (Lange,
Little & Taylor 1989). A price as it stands tells as much as `strength` invoices for that part alone, by a t law too: it
lets go where many invoices contradict it. A price that invoices say next to nothing of stays. May import:
`diag.knowledge_base`, `diag.inference` for its arrays, numpy, and figures, lessons.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.inference import Array
from diag.knowledge_base import Figure, Knowledge
from diag.learning.figures import LearnedFigure
from diag.learning.lessons import Lesson

__all__ = ["looks_taxed", "part_prices"]

NORMAL_90 = 1.6448536269514722
FREEDOM = 4.0  # of the t law
TOLD = (FREEDOM + 1.0) / (FREEDOM + 3.0)  # information of one of its draws about its middle, a normal one's being 1
STILL, MOST_TURNS = 1e-10, 500
SMALLEST = 1e-3  # of an invoice: rounding to whole coins; no spread is taken for less
NEAR_TAX = 0.02
LEAST_TOLD = 1.0  # of a price by all invoices, in invoices for that part alone: a washer is nowhere seen in the sum
DEFAULT_STRENGTH = 10.0


@dataclass(frozen=True)
class _Invoice:
    """What was spent, before tax: money, hours, how many of each part, fixed charges."""

    cost: float
    hours: float
    parts: Mapping[str, int]
    charges: float


def part_prices(knowledge: Knowledge, lessons: Sequence[Lesson], least: float) -> list[LearnedFigure]:
    """Prices of the parts that `least` invoices or more hold, two at least."""
    invoices = _invoices(knowledge, lessons)
    names = [name for name in knowledge.prices.parts if any(name in each.parts for each in invoices)]
    names = [name for name in names if knowledge.prices.parts[name].price.value > 0]
    if not names:
        return []
    figures = [knowledge.prices.labour_per_hour, *(knowledge.prices.parts[name].price for name in names)]
    strength = np.array([_strength(knowledge, figure) for figure in figures])
    factor, deviation, spread, held = _fitted(*_amounts(knowledge, invoices, names), strength)
    made = []
    for number, name in enumerate(names, start=1):
        count = sum(name in each.parts for each in invoices)
        before, far = figures[number].value, NORMAL_90 * float(deviation[number])
        after = float(factor[number])
        worth = float((spread / deviation[number]) ** 2 / TOLD)
        if count < max(least, 2) or after - far <= 0 or worth - held[number] < LEAST_TOLD:
            continue
        made.append(
            LearnedFigure(
                ("prices", "parts", name, "price"),
                "price",
                before,
                before * after,
                before * (after - far),
                before * (after + far),
                count,
                worth,
            )
        )
    return made


def looks_taxed(knowledge: Knowledge, lessons: Sequence[Lesson], least: float = 5.0) -> bool:
    """Whether invoices stand above what is reckoned by just about what tax adds: then they were told with it."""
    invoices = _invoices(knowledge, lessons)
    tax = knowledge.prices.tax.value
    if len(invoices) < max(least, 2) or tax <= 2 * NEAR_TAX:
        return False
    above = float(np.median([each.cost / _reckoned(knowledge, each) for each in invoices]))
    return abs(above / (1.0 + tax) - 1.0) < NEAR_TAX


def _strength(knowledge: Knowledge, figure: Figure) -> float:
    basis = figure.basis or knowledge.prices.basis
    return basis.strength if basis is not None else DEFAULT_STRENGTH


def _invoices(knowledge: Knowledge, lessons: Sequence[Lesson]) -> list[_Invoice]:
    """Of cases in the workshop's currency, of which money and time were told, and all that was fitted is known. Free of
    charge is no price; and a part told beside a repair that takes it may be meant once or twice."""
    found = []
    for lesson in lessons:
        said = lesson.outcome
        if said.cost is None or said.cost <= 0 or said.minutes is None or said.currency != knowledge.prices.currency:
            continue
        parts, charges, alone = dict[str, int](), 0.0, set[str]()
        for fitted in said.fitted:
            repair = knowledge.repairs.get(fitted.item)
            if repair is None:
                alone.add(fitted.item)
            else:
                charges += repair.money.value * fitted.count
            for part, count in {fitted.item: 1}.items() if repair is None else repair.parts.items():
                parts[part] = parts.get(part, 0) + count * fitted.count
        taken = {
            part
            for fitted in said.fitted
            for part in (knowledge.repairs[fitted.item].parts if fitted.item in knowledge.repairs else ())
        }
        if parts and not alone & taken and all(part in knowledge.prices.parts for part in parts):
            found.append(_Invoice(said.cost, said.minutes / 60.0, parts, charges))
    return found


def _reckoned(knowledge: Knowledge, invoice: _Invoice) -> float:
    parts = math.fsum(knowledge.prices.parts[part].price.value * count for part, count in invoice.parts.items())
    return max(invoice.hours * knowledge.prices.labour_per_hour.value + parts + invoice.charges, 1e-9)


def _amounts(knowledge: Knowledge, invoices: Sequence[_Invoice], names: Sequence[str]) -> tuple[Array, Array, Array]:
    """`[invoice, labour and parts]`, what each is reckoned to come to; `[invoice]` charges, and what was spent."""
    rate, parts = knowledge.prices.labour_per_hour.value, knowledge.prices.parts
    rows = [[each.hours * rate, *(each.parts.get(n, 0) * parts[n].price.value for n in names)] for each in invoices]
    return np.array(rows), np.array([each.charges for each in invoices]), np.array([each.cost for each in invoices])


def _fitted(rows: Array, charges: Array, spent: Array, strength: Array) -> tuple[Array, Array, float, Array]:
    """Factors, their standard deviations, the spread of one invoice (as a share of what it comes to by these factors),
    and in how many invoices each price as it stands still counts: iteratively weighted least squares."""
    weights: Array = np.ones(len(spent))
    held, factor = strength, np.ones(len(strength))
    spread, shares = math.inf, rows
    for _ in range(MOST_TURNS):
        whole = np.maximum(rows @ factor + charges, SMALLEST)
        shares, seen = rows / whole[:, None], (spent - charges) / whole
        matrix = (shares * weights[:, None]).T @ shares + TOLD * np.diag(held)
        factor = np.asarray(np.linalg.solve(matrix, shares.T @ (weights * seen) + TOLD * held), dtype=np.float64)
        off = seen - shares @ factor
        before, spread = spread, max(math.sqrt(float(np.mean(weights * off**2))), SMALLEST)
        weights = (FREEDOM + 1.0) / (FREEDOM + (off / spread) ** 2)
        held = strength * np.minimum((FREEDOM + 1.0) / (FREEDOM + strength * ((factor - 1.0) / spread) ** 2), 1.0)
        if abs(spread - before) < STILL * spread:
            break
    information = TOLD * (shares.T @ shares + np.diag(held))
    return factor, np.sqrt(np.diag(np.linalg.inv(information))) * spread, spread, held
