"""What may be slid on the screen of the options: figures of money and time, with their ends and where they come from.

May import: `diag.knowledge_base`, and within the room words.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from diag.knowledge_base import Knowledge
from diag.web.words import SAY

__all__ = ["Money", "Slider", "slider", "slider_ends"]

Money = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Slider:
    """One number that may be slid: where it stands among the prices, its name, its present value, its ends, the unit
    behind it, and where that value comes from."""

    figure: str
    name: str
    now: float
    low: float
    high: float
    step: float
    unit: str
    basis: str = ""


def slider(knowledge: Knowledge, figure: str, name: str) -> Slider:
    """The slider of a figure."""
    now = figure_at(knowledge, figure)
    basis = price_basis(knowledge, figure)
    if figure.endswith("horizon_months"):
        return Slider(figure, name, now, _low(now, 3.0, 1.0), max(84.0, now), 1.0, "months", basis)
    step = 1.0 if now >= 20 else 0.5
    low = _low(now, 0.0 if "labour" not in figure else step, step)
    return Slider(figure, name, now, low, max(round(3 * now), 10.0), step, knowledge.prices.currency, basis)


def _low(now: float, least: float, step: float) -> float:
    """The low end, so that whole steps lead from it to the present value. A browser sets a slider to the nearest step,
    and would send another value than the workshop's own of each slider that nobody moved."""
    return round(now - step * math.floor((now - least) / step), 9) if now >= least else least


def figure_at(knowledge: Knowledge, figure: str) -> float:
    """The value of a figure of the prices."""
    return float(_figure(knowledge, figure).value)


def _figure(knowledge: Knowledge, figure: str) -> Any:
    at: Any = knowledge.prices
    for step in figure.split("."):
        at = at[step] if isinstance(at, dict) else getattr(at, step)
    return at


def price_basis(knowledge: Knowledge, figure: str) -> str:
    """Where a figure of the prices comes from, in words."""
    basis = _figure(knowledge, figure).basis or knowledge.prices.basis
    cited = knowledge.sources[basis.cite].citation if basis.cite in knowledge.sources else ""
    return "; ".join(each for each in (SAY[f"basis_{basis.source}"], cited, basis.note) if each)


def slider_ends(found: tuple[Slider, ...]) -> list[Money]:
    """Where it is looked for what may pay: each slider at its ends, and all of them low or high."""
    ends: list[Money] = [()]
    for each in found:
        ends += [((each.figure, value),) for value in (each.low, each.high)]
    ends.append(tuple((each.figure, each.low) for each in found))
    ends.append(tuple((each.figure, each.high) for each in found))
    return ends
