"""The numbers along which a case is doubted, each with its range and with what reckons the case at a value of it.

May import: decision, network, knowledge_base, and `breaking`, `curves`, `ground`, `numbers` of this room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import DiagError, Place
from diag.decision import Job, Reckoning, repriced, treatments_wanted
from diag.doubt.breaking import BreakEven, Evaluate, break_even
from diag.doubt.curves import EXACT
from diag.doubt.ground import Ground, money_alone
from diag.doubt.numbers import Number, moved_to, row_of
from diag.knowledge_base import with_values

__all__ = ["Axis", "break_even_along", "fault_axis", "number_axis", "range_of"]

LIFE = 2.5  # times the present value, of lives
WIDEST = 5.0  # times the present value, of prices and times
STANDS_FOR = 120.0  # months: the longest horizon that is looked at
ROOM = 0.9  # share of what a row of chances leaves, up to which one of them may rise; from near there on half the way
LIVES, TIMES_TO_COME = ("shape", "scale", "stretch"), ("horizon_months", "km_per_year", "discount_per_year")
SMOOTH = 1e-5  # relative error of curves along a life or a horizon, which are no polynomials
HALVINGS = 6  # of the way to an end that cannot be reckoned
PROBES = (0.0, 0.25, 0.5, 0.75, 1.0)  # where along a range it is asked which treatments may pay


@dataclass(frozen=True)
class Axis:
    """One number: a number of the knowledge (`number`), or the chance that a component at a place is unsound
    (`fault`); its range, its present value, and what reckons the case at a value."""

    number: Number | None
    fault: tuple[str, Place] | None
    low: float
    high: float
    now: float
    evaluate: Evaluate


def range_of(ground: Ground, number: Number) -> tuple[float, float]:
    """How far a number is moved."""
    now = number.value
    match number.kind:
        case "chance":
            room = 1.0 - _others(ground, number)
            return min(now / 100.0, 1e-4), max(ROOM * room, (now + room) / 2.0)
        case "shape":
            return 0.8, max(6.0, 2.0 * now)
        case "scale":
            return now / LIFE, now * LIFE
        case "stretch":
            return now / LIFE, now * LIFE
        case "money" | "time":
            if number.path[-1] == "horizon_months":
                return min(1.0, now), max(STANDS_FOR, now)
            return 0.0 if number.path[-1] != "labour_per_hour" else now / 10.0, max(WIDEST * now, 1.0)
        case _:
            return now / WIDEST, now * WIDEST if now else 1.0


def _others(ground: Ground, number: Number) -> float:
    """The other chances of its row, which stay where they are."""
    row = row_of(number.path)
    if row is None or "fails_as" in row:
        return 0.0
    entry: object = ground.knowledge
    for step in row:
        entry = entry[step] if isinstance(entry, dict) else getattr(entry, str(step))
    assert isinstance(entry, dict)
    return sum(float(figure.value) for key, figure in entry.items() if key != number.path[-1])


def number_axis(ground: Ground, number: Number) -> Axis:
    """A number of the knowledge from end to end of its range, or as far towards an end as the knowledge allows."""
    low, high = range_of(ground, number)
    if money_alone(number.path):
        return Axis(number, None, low, high, number.value, _money(ground, number, low, high))
    evaluate = _knowledge(ground, number)
    if number.path[0] == "components":
        low, high = (_allowed(evaluate, number.value, end) for end in (low, high))
    return Axis(number, None, low, high, number.value, evaluate)


def _allowed(evaluate: Evaluate, now: float, end: float) -> float:
    """An end of a range, or where all can just be reckoned: a component's chances from several tables, and what its
    life brings, come to more than 1 together before one row does."""
    if _is_possible(evaluate, end):
        return end
    allowed, beyond = now, end
    for _ in range(HALVINGS):
        middle = (allowed + beyond) / 2.0
        allowed, beyond = (middle, beyond) if _is_possible(evaluate, middle) else (allowed, middle)
    return allowed


def _is_possible(evaluate: Evaluate, value: float) -> bool:
    try:
        evaluate(value, [])
    except DiagError:
        return False
    return True


def _knowledge(ground: Ground, number: Number) -> Evaluate:
    def evaluate(value: float, jobs: Sequence[Sequence[Job]], alone: bool = False) -> Reckoning:
        return ground.under(moved_to(ground.knowledge, number, value), jobs, alone=alone)

    return evaluate


def _money(ground: Ground, number: Number, low: float, high: float) -> Evaluate:
    """Prices and times leave the belief as it is, so it is kept, with all treatments that pay anywhere on the way."""
    held: dict[frozenset[frozenset[Job]], Reckoning] = {}
    paying: list[tuple[Job, ...]] = []

    def evaluate(value: float, jobs: Sequence[Sequence[Job]], alone: bool = False) -> Reckoning:
        if not paying:
            for share in PROBES:
                changed = with_values(ground.knowledge, {number.path: low + share * (high - low)})
                paying.extend(treatments_wanted(ground.ready, changed))
        key = frozenset(frozenset(each) for each in jobs)
        if key not in held:
            held[key] = ground.as_it_is([*jobs, *dict.fromkeys(paying)])
        return repriced(held[key], with_values(ground.knowledge, {number.path: value}), paying)

    return evaluate


def fault_axis(ground: Ground, component: str, place: Place) -> Axis:
    """The chance that a component is unsound, from 0 to 1, all else given its state as it is."""
    spot = ground.network.component_at(component, place)
    assert spot is not None, "only components of a plate are supposed"
    now = 1.0 - float(ground.posterior.components[spot[0]][spot[1]][0, 0])

    def evaluate(value: float, jobs: Sequence[Sequence[Job]], alone: bool = False) -> Reckoning:
        return ground.supposing((component, place), value, jobs, alone)

    return Axis(None, (component, place), 0.0, 1.0, now, evaluate)


def break_even_along(ground: Ground, axis: Axis) -> BreakEven:
    """Everything that happens along an axis, between all options of the decision that are not barred."""
    smooth = axis.number is not None and (axis.number.kind in LIVES or axis.number.path[-1] in TIMES_TO_COME)
    exact, bent = (SMOOTH if smooth else EXACT), axis.number is not None and axis.number.kind in LIVES
    return break_even(axis.evaluate, ground.works, (axis.low, axis.high), axis.now, exact, bent, ground.called)
