"""The numbers of an entry of the knowledge, as sections of its explanation: how often, how long, how much.

May import: `diag.knowledge_base`, figures, sheets, words.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diag.basics import counted
from diag.knowledge_base import (
    Answer,
    Component,
    Distribution,
    Engine,
    Figure,
    Life,
    Limit,
    LogColumn,
    LogRule,
    Mixture,
    Part,
    Reading,
    WorkStep,
)
from diag.report.figures import money, tightening
from diag.report.sheets_knowledge import SectionLine
from diag.report.words import ABOUT, EACH, KNOW, MAKERS_VALUE, NUMBERS, REPAIR

__all__ = [
    "answer_sections",
    "chance",
    "column_sections",
    "component_sections",
    "engine_sections",
    "part_sections",
    "reading_sections",
    "rule_sections",
    "step_sections",
]


def chance(figure: Figure) -> str:
    """A chance of the knowledge, which may be far below a per cent: `0.072 %`, `1 % (or 2 %)`."""
    others = [f"{100 * value:.3g} %" for value in figure.also]
    return f"{100 * figure.value:.3g} %" + (f" ({NUMBERS['or']} {', '.join(others)})" if others else "")


def component_sections(entry: Component) -> Iterable[SectionLine]:
    """How often it fails, how long it lives, and what it is like after work. Chances not given are left out."""
    rows = [(NUMBERS["in_use"], entry.chance), (NUMBERS["fresh"], entry.fresh), (NUMBERS["disturbed"], entry.disturbed)]
    given = [(f"{cause} {state}", row) for cause, table in entry.given.items() for state, row in table.items()]
    lines = [f"{when}: {_row(row)}" for when, row in (*rows, *given) if row]
    yield SectionLine(NUMBERS["how_often"], tuple(lines))
    if entry.life is not None:
        yield SectionLine(NUMBERS["life"], _life(entry.life))


def _row(row: Mapping[str, Figure]) -> str:
    return ", ".join(f"{state} {chance(figure)}" for state, figure in row.items())


def _life(life: Life) -> tuple[str, ...]:
    unit = {"distance": "km", "age": "years"}[life.clock]
    others = f" ({NUMBERS['or']} {', '.join(f'{value:,.0f}' for value in life.scale.also)})" if life.scale.also else ""
    return (
        NUMBERS["scale"].format(scale=f"{life.scale.value:,.0f}{others}", unit=unit),
        NUMBERS["shape"].format(shape=f"{life.shape.value:g}"),
        NUMBERS["unnoticed"].format(unnoticed=f"{life.unnoticed.value:,.0f}", unit=unit),
        NUMBERS["fails_as"].format(row=_row(life.fails_as)),
    )


def step_sections(entry: WorkStep, parts: Mapping[str, Part]) -> Iterable[SectionLine]:
    """Where a step of work stands, with what, and what is fitted at it."""
    stage = NUMBERS["stages"].format(stage=entry.stage, each=EACH[entry.each])
    yield SectionLine(NUMBERS["stage"], (stage,))
    yield SectionLine(NUMBERS["tools"], entry.tools)
    yield SectionLine(NUMBERS["step_parts"], tuple(parts[part].name for part in entry.parts))


def column_sections(entry: LogColumn) -> Iterable[SectionLine]:
    """By which words a column of a log is recognised, and its units."""
    words = tuple(f"{language}: {', '.join(phrases)}" for language, phrases in entry.words.items())
    yield SectionLine(NUMBERS["recognised"], words)
    plausible = NUMBERS["plausible"].format(lowest=f"{entry.lowest:g}", highest=f"{entry.highest:g}", unit=entry.unit)
    yield SectionLine(NUMBERS["units"], (", ".join(dict.fromkeys((entry.unit, *entry.units))), plausible))


def rule_sections(entry: LogRule) -> Iterable[SectionLine]:
    """The value of a rule for logs."""
    yield SectionLine(NUMBERS["value"], (f"{entry.value.value:g} {entry.unit}".strip(),))


def reading_sections(entry: Reading) -> Iterable[SectionLine]:
    """How it lies at each level, its instrument, and what is plausible."""
    times = NUMBERS["of_limit"].format(limit=entry.relative_to) if entry.relative_to else entry.unit
    lines = tuple(line for level, spread in entry.spread.items() for line in _spread_lines(level, spread, times))
    yield SectionLine(NUMBERS["lies"], lines)
    instrument = NUMBERS["instrument"].format(error=f"{entry.instrument_error.value:g}", unit=entry.unit)
    plausible = NUMBERS["plausible"].format(lowest=f"{entry.lowest:g}", highest=f"{entry.highest:g}", unit=entry.unit)
    yield SectionLine(NUMBERS["instrument_heading"], (instrument, plausible))


def _spread_lines(level: str, spread: Distribution | Mixture, unit: str) -> Iterator[str]:
    """One line for each law of a spread; those of a mixture with the share of engines that follow it."""
    weights = [chance(part.weight) for part in spread.parts] if isinstance(spread, Mixture) else [""]
    for law, weight in zip(spread.laws, weights, strict=True):
        middle, width = f"{law.middle.value:g}", f"{law.width.value:g}"
        form = NUMBERS["mixture" if weight else "spread"]
        yield form.format(level=level, weight=weight, middle=middle, width=width, shape=law.shape, unit=unit)


def answer_sections(entry: Answer) -> Iterable[SectionLine]:
    """What a soft answer is worth."""
    ratio = entry.ratio.value
    which = "neither" if ratio == 1 else "speaks_for" if ratio > 1 else "speaks_against"
    yield SectionLine(
        NUMBERS["means"], (NUMBERS[which].format(times=counted(f"{ratio if ratio >= 1 else 1 / ratio:g}")),)
    )


def part_sections(entry: Part, currency: str) -> Iterable[SectionLine]:
    """What a part costs, and whether it is fitted twice."""
    price = money(entry.price.value, currency, exact=True)
    yield SectionLine(NUMBERS["price"], (f"{price}, {REPAIR['single_use']}" if entry.single_use else price,))


def engine_sections(entry: Engine) -> Iterable[SectionLine]:
    """Its layout, limits and tightening values; what only the maker knows is a blank."""
    banks = tuple(f"{letter}: {', '.join(map(str, numbers))}" for letter, numbers in entry.banks.items())
    yield SectionLine(KNOW["cylinders"], banks)
    order = ABOUT["firing_order"].format(order="-".join(map(str, entry.firing_order)))
    where = [ABOUT["cylinder_one"].format(where=entry.cylinder_one)] if entry.cylinder_one else []
    yield SectionLine(NUMBERS["numbering"], (order, *where))
    yield SectionLine(NUMBERS["limits"], tuple(_limit(name, limit) for name, limit in entry.limits.items()))
    torques = tuple(
        f"{name.replace('_', ' ')}: {tightening(torque.newton_metres, torque.then_degrees)}"
        for name, torque in entry.torques.items()
    )
    yield SectionLine(NUMBERS["torques"], torques)
    if entry.invented:
        yield SectionLine(NUMBERS["beware"], (ABOUT["demonstration_values"],))


def _limit(name: str, limit: Limit) -> str:
    value = MAKERS_VALUE if limit.value is None else f"{limit.value:g} {limit.unit}"
    return f"{name.replace('_', ' ')}: {value}" + (f" ({limit.note})" if limit.note else "")
