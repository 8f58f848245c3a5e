"""Readings as they count: the sign of the engine, the reach of its controller, the conditions they were taken under.

May import: `diag.casebook` and `diag.knowledge_base` records, and the modules beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from diag.casebook import Measured
from diag.evidence.hidden_value import Mark, Shown
from diag.knowledge_base import Adjustment, Engine, Reading, convert

__all__ = ["Frame", "Taken", "instrument_error", "multiple_of", "shown_by", "taken", "without_limit"]

_TURNED: dict[str, Literal["", "above", "below"]] = {"": "", "above": "below", "below": "above"}


class Taken(Struct, frozen=True):
    """One reading, or the mean of several taken alike: its value, whether only a bound, its standard deviation."""

    value: float
    censored: Literal["", "above", "below"]
    error: float


def without_limit(reading: Reading, engine: Engine) -> str:
    """A sentence saying that the reading has no effect on this engine, or nothing where it has one."""
    if reading.relative_to is None:
        return ""
    limit = engine.limits.get(reading.relative_to)
    if limit is not None and limit.value is not None:
        return ""
    return (
        f"{reading.name} has no effect: it is judged against the limit '{reading.relative_to}', which is not in the "
        "engine's file (maker's value ____)"
    )


def multiple_of(reading: Reading, engine: Engine) -> float:
    """What the spreads of a reading are multiples of, in its unit: a limit of the engine, or 1.

    Raises ValueError where only the maker knows the limit (see `without_limit`).
    """
    if reading.relative_to is None:
        return 1.0
    limit = engine.limits[reading.relative_to]
    if limit.value is None:
        raise ValueError(without_limit(reading, engine))
    return convert(limit.value, limit.unit, reading.unit)


def instrument_error(reading: Reading) -> float:
    """Standard deviation of the instrument, in the reading's unit; no finer than its last figure lets one read.

    A figure rounded to steps of h is off by a standard deviation of h / sqrt(12).
    """
    return max(reading.instrument_error.value, 10.0**-reading.decimals / math.sqrt(12))


def error_of(reading: Reading, measured: Measured) -> float:
    """Standard deviation of one reading as an instrument's, in the reading's unit: its own where it was told (that of a
    mean over a long log, say), no finer than one more figure than usual lets one read."""
    if measured.error is None:
        return instrument_error(reading)
    return max(measured.error, 10.0 ** -(reading.decimals + 1) / math.sqrt(12))


def taken(reading: Reading, engine: Engine, measured: Sequence[Measured]) -> tuple[Taken, ...]:
    """All readings of one thing as they count, bounds and plain values.

    A value at the end of what the controller can do is a bound. What was read under a condition that the knowledge
    adjusts is scaled back, and its standard deviation widened: sqrt(error² / n + widening²) for the mean of n plain
    values of one condition, which share whatever the condition did to them.
    """
    by_condition: dict[str | None, list[Measured]] = {}
    for each in measured:
        adjusted = any(adjust.under == each.condition for adjust in reading.adjust if adjust.under is not None)
        by_condition.setdefault(each.condition if adjusted else None, []).append(each)
    return tuple(one for condition, alike in by_condition.items() for one in _alike(reading, engine, condition, alike))


class Frame(Struct, frozen=True):
    """From what is shown to what the spreads speak of: true value = scale x shown + offset."""

    scale: float = 1.0
    offset: float = 0.0

    def of(self, reading: Taken) -> Taken:
        """A reading as this frame has it."""
        return replace(reading, value=reading.value * self.scale + self.offset, error=reading.error * self.scale)


def shown_by(readings: Sequence[Taken]) -> Shown:
    """What the readings show of the true value."""
    marks = {
        kind: tuple(Mark(each.value, each.error) for each in readings if each.censored == kind)
        for kind in ("", "above", "below")
    }
    return Shown(marks[""], marks["above"], marks["below"])


def _alike(reading: Reading, engine: Engine, condition: str | None, measured: Sequence[Measured]) -> list[Taken]:
    """Readings of one condition."""
    holding = [adjust for adjust in reading.adjust if _holds(adjust, engine, condition)]
    factor = math.prod(adjust.factor.value for adjust in holding)
    widening = math.hypot(*(adjust.widens.value for adjust in holding))
    scaled = [_scaled_back(reading, engine, each, factor) for each in measured]
    if widening == 0:
        return scaled
    plain = [each for each in scaled if not each.censored]
    precision = math.fsum(each.error**-2 for each in plain)
    middle = math.fsum(each.value * each.error**-2 for each in plain)
    mean = [Taken(middle / precision, "", precision**-0.5)] if plain else []
    return [
        Taken(each.value, each.censored, math.hypot(each.error, _widened(reading, engine, widening, each.value)))
        for each in (*mean, *(bound for bound in scaled if bound.censored))
    ]


def _scaled_back(reading: Reading, engine: Engine, measured: Measured, factor: float) -> Taken:
    """One reading as it would be under the conditions for which the spreads hold; what is not read at the usual value
    (return flow at another rail pressure) grows by a power of it."""
    value, censored = _as_shown(reading, engine, measured)
    usual = engine.limits.get(reading.scaled.by) if reading.scaled is not None else None
    if reading.scaled is not None and measured.at is not None and usual is not None and usual.value is not None:
        usually = convert(usual.value, usual.unit, measured.at_unit)
        factor *= (measured.at / usually) ** reading.scaled.power.value
    return Taken(value / factor, censored, error_of(reading, measured) / factor)


def _holds(adjust: Adjustment, engine: Engine, condition: str | None) -> bool:
    return adjust.under in (None, condition) and adjust.injector in (None, engine.injector)


def _widened(reading: Reading, engine: Engine, widening: float, value: float) -> float:
    """A widening of the knowledge, in the reading's unit."""
    if all(law.shape == "log-normal" for spread in reading.spread.values() for law in spread.laws):
        return widening * abs(value)
    return widening * abs(multiple_of(reading, engine))


def _as_shown(reading: Reading, engine: Engine, measured: Measured) -> tuple[float, Literal["", "above", "below"]]:
    """Value and kind of bound, the sign as the knowledge has it, and what is at the controller's end a bound."""
    value, censored = measured.value, measured.censored
    if measured.item in engine.opposite_sign:
        value, censored = -value, _TURNED[censored]
    limit = engine.limits.get(reading.saturates) if reading.saturates is not None else None
    if not censored and limit is not None and limit.value is not None:
        end = abs(convert(limit.value, limit.unit, reading.unit)) - 0.5 * 10.0**-reading.decimals
        if abs(value) >= end:
            censored = "above" if value > 0 else "below"
    return value, censored
