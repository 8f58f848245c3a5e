"""Which numbers matter most: how much the lead of the advice moves when one number moves as far as it may be wrong.

May import: basics, decision, numpy, and `axes`, `breaking`, `ground`, `laws`, `numbers`, `workers` of this room.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diag.basics import DiagError
from diag.decision import price_by_policy, repriced
from diag.doubt.axes import break_even_along, number_axis, range_of
from diag.doubt.breaking import BreakEven, Turn
from diag.doubt.ground import Ground, money_alone, suspects_of
from diag.doubt.laws import spread_of
from diag.doubt.numbers import Number, bearing_numbers, moved_to
from diag.doubt.workers import ask_each
from diag.knowledge_base import with_values

__all__ = ["Influence", "Mattering", "influences", "lead_of", "log_odds", "mattering_of"]

RIVALS = 3  # works beside the advice whose prices and times are looked at


@dataclass(frozen=True)
class Influence:
    """What one number does to the lead of the advice over the cheapest other work: `lead` is that with the number at
    `moved`, one standard deviation (`spread`) of its law up, or down where up is beyond its range; not a number where
    what was told is impossible there. `swing`: how far the lead moves, in money; about as far the other way."""

    number: Number
    spread: float
    moved: float
    lead: float
    swing: float


@dataclass(frozen=True)
class Mattering:
    """One of the numbers that matter most. `slope`: by how much the lead changes for each unit of the number, exactly.
    `break_even`: everything along it; `turn`: the nearest change of the advice, `spreads` of the law away; none where
    nothing on its range turns it."""

    influence: Influence
    slope: float
    break_even: BreakEven
    turn: Turn | None
    spreads: float


def log_odds(chance: float) -> float:
    """ln(p / (1 - p))."""
    return math.log(chance / (1.0 - chance))


def lead_of(ground: Ground, number: Number, value: float) -> float:
    """By how much the advice is cheaper than the cheapest of the other works, with a number at a value; infinite where
    there is no other."""
    return _lead(ground, number, value, roughly=False)


def _lead(ground: Ground, number: Number, value: float, roughly: bool) -> float:
    works = ground.works[: 1 + RIVALS] if roughly else ground.works
    if money_alone(number.path):
        ready = repriced(ground.priced, with_values(ground.knowledge, {number.path: value}), ())
    else:
        ready = ground.under(
            moved_to(ground.knowledge, number, value), [work.jobs for work in works], roughly, alone=True
        )
    mine, others = math.inf, [math.inf]
    for work in works:
        costs = price_by_policy(ready, work.jobs)
        least = float(costs.min()) if costs is not None else math.inf
        if work.key == ground.best.key:
            mine = least
        else:
            others.append(least)
    return min(others) - mine


def influences(ground: Ground, workers: int = 1) -> tuple[Influence, ...]:
    """Every number that bears on the case, the one that can cost the advice most of its lead first."""
    if len(ground.works) < 2:
        return ()
    works = [ground.best.jobs, *(work.jobs for work in ground.works if work.key != ground.best.key)][: 1 + RIVALS]
    numbers = bearing_numbers(ground.network, suspects_of(ground), works)
    asked = [(number, _spread(ground, number)) for number in numbers]
    found = ask_each(_influence, ground, asked, workers)
    return tuple(sorted(found, key=lambda each: (-each.swing, str(each.number.path))))


def _spread(ground: Ground, number: Number) -> float:
    beside = {"middle": "width", "scale": "shape"}.get(number.kind)
    if beside is None:
        return spread_of(number)
    entry: object = ground.knowledge
    for step in (*number.path[:-1], beside):
        if isinstance(entry, tuple):  # the parts of a mixture
            entry = entry[int(step)]
        else:
            entry = entry[step] if isinstance(entry, dict) else getattr(entry, str(step))
    return spread_of(number, float(getattr(entry, "value", 1.0)))


def _influence(ground: Ground, asked: tuple[Number, float]) -> Influence:
    number, spread = asked
    low, high = range_of(ground, number)
    up = number.value + spread
    moved = up if up <= high else max(number.value - spread, min(low, number.value))
    try:
        now, lead = _lead_now(ground), _lead(ground, number, moved, roughly=True)
    except DiagError:  # what was told is impossible there
        return Influence(number, spread, moved, math.nan, 0.0)
    return Influence(number, spread, moved, lead, abs(lead - now))


def _lead_now(ground: Ground) -> float:
    return min(o.total.amount for o in ground.decision.options if not o.barred and not o.best) - (
        ground.decision.best.total.amount
    )


def mattering_of(ground: Ground, influence: Influence) -> Mattering:
    """What one number does from end to end of its range."""
    number = influence.number
    found = break_even_along(ground, number_axis(ground, number))
    turn = found.nearest()
    away = abs(turn.value - number.value) / influence.spread if turn is not None and influence.spread else math.inf
    return Mattering(influence, _slope(ground, found), found, turn, away)


def _slope(ground: Ground, found: BreakEven) -> float:
    """The derivative of the lead at the present value: of the cheapest other work's cost, less that of the advice."""
    works = len(found.works)
    costs, slopes = (each(found.now).reshape(works, -1) for each in (found.curve.at, found.curve.slope))
    ways = costs.argmin(axis=1)
    best = next(place for place, work in enumerate(found.works) if work.key == ground.best.key)
    others = [place for place in range(works) if place != best]
    other = min(others, key=lambda place: costs[place, ways[place]])
    return float(slopes[other, ways[other]] - slopes[best, ways[best]])
