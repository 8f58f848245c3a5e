"""Everything about the doubt of one advice in one record.

May import: decision, casebook, knowledge_base, basics, and the modules of this room below it.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import Place
from diag.casebook import Case
from diag.doubt.axes import Axis, break_even_along, fault_axis, number_axis
from diag.doubt.breaking import BreakEven
from diag.doubt.ground import Ground, ground_of
from diag.doubt.mattering import Influence, Mattering, influences, mattering_of
from diag.doubt.numbers import Number, number_at
from diag.doubt.standing import Standing, stand
from diag.doubt.workers import ask_each
from diag.knowledge_base import Knowledge
from diag.network import component_states

__all__ = ["Doubt", "Line", "doubt", "usual_numbers"]

Asked = tuple[Number | None, tuple[str, Place] | None]

MATTERING = 3  # numbers that are looked at from end to end because they matter
FAULTS = 2  # whose own chance is an axis
LIKELY = 0.05  # from which a fault's own chance is one
ALWAYS = (
    ("prices", "labour_per_hour"),
    ("prices", "customer", "return_visit"),
    ("prices", "customer", "horizon_months"),
)


@dataclass(frozen=True)
class Line:
    """A number along which break-even was sought (one of `number` and `fault` is given), and what was found."""

    number: Number | None
    fault: tuple[str, Place] | None
    break_even: BreakEven


@dataclass(frozen=True)
class Doubt:
    """What the advice rests on: the share of draws in which it stands, the numbers that matter most, and where another
    option begins to win along the usual numbers."""

    ground: Ground
    standing: Standing
    mattering: tuple[Mattering, ...]
    lines: tuple[Line, ...]


def doubt(knowledge: Knowledge, case: Case, draws: int = 200, seed: int = 1, workers: int = 1) -> Doubt:
    """Doubt the advice on a case from all sides."""
    ground = ground_of(knowledge, case)
    standing = stand(ground, draws, seed, workers)
    first = [each for each in influences(ground, workers)[:MATTERING] if each.swing > 0]
    asked: list[Asked | Influence] = [*first, *usual_numbers(ground)]
    found = ask_each(_traced, ground, asked, workers)
    return Doubt(
        ground,
        standing,
        tuple(each for each in found if isinstance(each, Mattering)),
        tuple(each for each in found if isinstance(each, Line)),
    )


def _traced(ground: Ground, asked: Asked | Influence) -> Line | Mattering:
    return mattering_of(ground, asked) if isinstance(asked, Influence) else _line(ground, asked)


def usual_numbers(ground: Ground) -> list[Asked]:
    """The chances of the likeliest faults, the labour rate, a return visit, the horizon, and the dearest part of what
    is advised and of the next best work."""
    asked: list[Asked] = [(None, fault) for fault in _likeliest(ground)]
    asked += [(number_at(ground.knowledge, path), None) for path in ALWAYS]
    prices = ground.knowledge.prices.parts
    used = {
        part for work in ground.works[:2] for job in work.jobs for part in ground.knowledge.repairs[job.repair].parts
    }
    if used:
        dearest = max(sorted(used), key=lambda part: prices[part].price.value)
        asked.append((number_at(ground.knowledge, ("prices", "parts", dearest, "price")), None))
    return asked


def _likeliest(ground: Ground) -> list[tuple[str, Place]]:
    chances = {
        key: float(states[1:].sum())
        for key, states in component_states(ground.network, ground.posterior).items()
        if ground.knowledge.components[key[0]].fault and ground.network.component_at(*key) is not None
    }
    likely = [key for key, chance in chances.items() if LIKELY <= chance < 1.0 - 1e-9]
    return sorted(likely, key=lambda key: -chances[key])[:FAULTS]


def _line(ground: Ground, asked: Asked) -> Line:
    number, fault = asked
    axis: Axis = number_axis(ground, number) if number is not None else fault_axis(ground, *_given(fault))
    return Line(number, fault, break_even_along(ground, axis))


def _given(fault: tuple[str, Place] | None) -> tuple[str, Place]:
    assert fault is not None, "an axis is a number or a fault"
    return fault
