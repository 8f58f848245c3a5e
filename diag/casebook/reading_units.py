"""A number in whatever unit it was read, as the reading has it on this engine.

May import: `diag.basics`, `quantities`, and the records and units of `diag.knowledge_base`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal

from diag.basics import UsageError
from diag.casebook.quantities import Quantity, in_unit, is_ambiguous, read_quantity
from diag.knowledge_base import Engine, Limit, Reading, convert, same_unit, units_like

__all__ = ["ReadingText", "in_reading_unit", "read_reading"]

_FROM_FIGURE = re.compile(r"\d.*", re.DOTALL)
_AT = re.compile(r"(.*?)(?:\s+at\s+|\s*@\s*)(.*)", re.DOTALL)
_CAUGHT = re.compile(r"(.*\S)\s+in\s+(\d.*)", re.DOTALL)
_CLOCK = re.compile(r"(?:(\d+):)?(\d+):([0-5]\d(?:\.\d+)?)(?: ?min)?")
_MINUTES = re.compile(r"(\d+)\s*(?:min|m|')\s*([0-5]?\d(?:\.\d+)?)\s*(?:s|sec|\"|''|)")


def in_reading_unit(value: float, unit: str, reading: Reading, engine: Engine | None) -> float:
    """`value` of `unit` ('' is the reading's own) in the reading's unit.

    What only an engine can turn (rpm or per cent of correction into milligrams) is turned by its limits: the one in
    that unit is worth as much as the one that the reading is relative to. Raises UsageError where that is not known.
    """
    for other, limit_id in reading.other_units.items():
        if unit and same_unit(unit, other) and not same_unit(unit, reading.unit):
            theirs, ours = _limit(engine, limit_id), _limit(engine, reading.relative_to)
            if theirs is None or ours is None or theirs.value is None or ours.value is None:
                raise UsageError(
                    f"'{unit}' of {reading.name} cannot be turned into {reading.unit} on this engine; give the limit "
                    f"'{limit_id}' in the engine's file, or the reading in {reading.unit}"
                )
            scale = convert(ours.value, ours.unit, reading.unit) / convert(theirs.value, theirs.unit, other)
            return convert(value, unit, other) * scale
    return convert(value, unit or reading.unit, reading.unit)


@dataclass(frozen=True)
class ReadingText:
    """A reading as people write it, in the reading's own unit; `unit` is what was written. See `Measured`."""

    value: float
    unit: str
    censored: Literal["", "above", "below"]
    error: float | None
    at: float | None
    at_unit: str


def read_reading(text: str, reading: Reading, engine: Engine | None) -> ReadingText:
    """`180 bar`, `above 60 mL/min`, `3.12 +/- 0.05 mg/stroke`, `60 mL/min at 400 bar`, `30 mL in 30 s`, `1:35`.

    Raises UsageError."""
    said = _AT.fullmatch(text.strip())
    head, tail = said.groups() if said is not None else (text, "")
    quantity = _quantity(head, reading)
    value = in_reading_unit(quantity.value, quantity.unit, reading, engine)
    _refuse_thousands(head, value, reading)
    error = None
    if quantity.error is not None:
        error = _width(quantity.error, quantity.unit, reading, engine)
    at = _read_at(tail, reading) if said else None
    at_unit = reading.scaled.unit if reading.scaled is not None and said else ""
    return ReadingText(value, quantity.unit, quantity.censored, error, at, at_unit)


def _quantity(text: str, reading: Reading) -> Quantity:
    """A number with its unit; a time also as a clock has it, a flow also as what was caught in a time."""
    kinds = units_like(reading.unit)
    if "min" in kinds and (clock := _CLOCK.fullmatch(text.strip())):
        hours, minutes, seconds = clock.groups()
        return Quantity(3600.0 * int(hours or 0) + 60.0 * int(minutes) + float(seconds), "s")
    if "min" in kinds and (told := _MINUTES.fullmatch(text.strip())):
        return Quantity(60.0 * int(told[1]) + float(told[2]), "s")
    caught = _CAUGHT.fullmatch(text) if "mL/min" in kinds else None
    if caught is None:
        return read_quantity(text, may_err=True)
    volume, minutes = read_quantity(caught[1], may_err=True), in_unit(caught[2], "min", "30 mL in 30 s")
    if minutes <= 0:
        raise UsageError(f"'{text}' is caught in no time; write for example '30 mL in 30 s'")
    each = convert(1.0, volume.unit or "mL", "mL") / minutes
    error = None if volume.error is None else volume.error * each
    return replace(volume, value=volume.value * each, unit="mL/min", error=error)


def _refuse_thousands(text: str, value: float, reading: Reading) -> None:
    """Raises UsageError where a point may stand for thousands, and either number could have been read."""
    found = _FROM_FIGURE.search(text)
    if found is None or not is_ambiguous(found[0]) or not reading.lowest <= 1000 * value <= reading.highest:
        return
    whole, _, behind = found[0].partition(".")
    one, other = (f"{number} {behind[3:].strip()}".strip() for number in (whole + behind[:3], f"{whole}.{behind[:3]}0"))
    raise UsageError(f"the point in '{text.strip()}' may stand for thousands; write '{one}' or '{other}'")


def _width(error: float, unit: str, reading: Reading, engine: Engine | None) -> float:
    """A difference of two values turned into the reading's unit; what is in it already keeps every digit."""
    if not unit or same_unit(unit, reading.unit):
        return error
    return abs(in_reading_unit(error, unit, reading, engine) - in_reading_unit(0.0, unit, reading, engine))


def _read_at(text: str, reading: Reading) -> float:
    if reading.scaled is None:
        raise UsageError(f"what '{reading.name}' is read at makes no difference here; leave out 'at {text}'")
    example = f"at 400 {reading.scaled.unit}"
    value = in_unit(text, reading.scaled.unit, example)
    if value <= 0:
        raise UsageError(f"'at {text}' is not above 0; write for example '{example}'")
    return value


def _limit(engine: Engine | None, limit_id: str | None) -> Limit | None:
    return engine.limits.get(limit_id) if engine is not None and limit_id is not None else None
