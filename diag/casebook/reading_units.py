"""A number in whatever unit it was read, as the reading has it on this engine.

May import: `diag.basics`, `units`, and the records of `diag.knowledge_base`.
"""

from __future__ import annotations

from diag.basics import UsageError
from diag.casebook.units import convert, same_unit
from diag.knowledge_base import Engine, Limit, Reading

__all__ = ["in_reading_unit"]


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


def _limit(engine: Engine | None, limit_id: str | None) -> Limit | None:
    return engine.limits.get(limit_id) if engine is not None and limit_id is not None else None
