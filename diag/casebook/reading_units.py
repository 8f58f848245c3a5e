"""A number in whatever unit it was read, as the reading has it on this engine.

May import: `diag.basics`, `quantities`, and the records and units of `diag.knowledge_base`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from diag.basics import UsageError
from diag.casebook.quantities import in_unit, read_quantity
from diag.knowledge_base import Engine, Limit, Reading, convert, same_unit

__all__ = ["ReadingText", "in_reading_unit", "read_reading"]


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
    """`180 bar`, `above 60 mL/min`, `3.12 +/- 0.05 mg/stroke`, `60 mL/min at 400 bar`. Raises UsageError."""
    head, said, tail = text.partition(" at ")
    quantity = read_quantity(head, may_err=True)
    value = in_reading_unit(quantity.value, quantity.unit, reading, engine)
    error = None
    if quantity.error is not None:
        error = _width(quantity.error, quantity.unit, reading, engine)
    at = _read_at(tail, reading) if said else None
    at_unit = reading.scaled.unit if reading.scaled is not None and said else ""
    return ReadingText(value, quantity.unit, quantity.censored, error, at, at_unit)


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
