"""Numbers as people write them: '180 bar', 'above 60 mL/min', '3.12 +/- 0.05 mg/stroke', '187 thousand km'.

May import: `diag.basics`, and the units of `diag.knowledge_base`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from diag.basics import UsageError
from diag.knowledge_base import convert, same_unit

__all__ = ["Quantity", "in_unit", "is_ambiguous", "read_quantity", "refuse_thousands"]

_NUMBER = r"[-+\u2212]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_SIGNS = r"\+/-|\+-|\u00b1"
_SIDES: dict[str, Literal["above", "below"]] = {
    "above": "above", "over": "above", "more than": "above", "at least": "above", ">=": "above", "≥": "above",
    ">": "above", "below": "below", "under": "below", "less than": "below", "at most": "below", "<=": "below",
    "≤": "below", "<": "below",
}  # fmt: skip
_SIDE = rf"\s*(?:((?i:{'|'.join(_SIDES)}))\s*)?"
_QUANTITY = re.compile(rf"^{_SIDE}({_NUMBER})\s*(?:(?:{_SIGNS})\s*({_NUMBER})\s*)?(.*?)\s*$", re.DOTALL)
_ERROR_BEHIND = re.compile(rf"(.*?)\s*(?:{_SIGNS})\s*({_NUMBER})\s*(.*)", re.DOTALL)
_RANGE = re.compile(r"(?:[-\u2212–—]|to\b|.*\s(?:[-\u2212–—]|to))\s*\d", re.DOTALL)
_BEYOND = re.compile(r"\s*(?:o\.?l\.?|open|inf(?:inite|inity)?|∞)\s*", re.IGNORECASE)  # what a meter shows
_COMMA = re.compile(rf"^{_SIDE}[-+\u2212]?\d+(?:[,']\d| \d(?!/))")
_THOUSANDS = re.compile(r"^\s*[1-9]\d{0,2}\.\d{3}(?!\d)")
_EXAMPLES = "'180 bar' or 'above 60 mL/min'"


@dataclass(frozen=True)
class Quantity:
    """A number with its unit ('' where none was written); `censored` where only a bound is known.

    `error`: its standard deviation in that unit, where one was written.
    """

    value: float
    unit: str
    censored: Literal["", "above", "below"] = ""
    error: float | None = None


def read_quantity(text: str, may_err: bool = False, examples: str = _EXAMPLES) -> Quantity:
    """Read one number with its unit, and if it `may_err` with its error. Raises UsageError, saying by `examples` how it
    is written, where it is not one."""
    if _COMMA.match(text):
        raise UsageError(
            f"{_short(text)} is not a plain number; write a point for decimals and nothing between thousands"
        )
    match = _QUANTITY.match(text)
    if match is None and _BEYOND.fullmatch(text):
        beyond = "lies beyond what the meter reads; write that as a bound, such as 'above 20 Mohm'"
        raise UsageError(f"{_short(text)} {beyond}")
    if match is None:
        raise UsageError(f"{_short(text)} is not a number with a unit; write for example {examples}")
    side, number, off, unit = match.groups()
    value = float(number.replace("\u2212", "-"))
    if not math.isfinite(value):
        raise UsageError(f"{_short(text)} is too large a number")
    if off is None and (behind := _ERROR_BEHIND.fullmatch(unit)):
        unit, off, again = behind.groups()
        if again and not same_unit(again, unit):
            raise UsageError(f"{_short(text)} has its error in another unit; write for example '3.12 +/- 0.05 bar'")
    if unit.startswith(":"):
        raise UsageError(f"{_short(text)} is written as a clock has it; write for example {examples}")
    if _RANGE.match(unit):
        middle = "the one that was read, or the middle and how far it may be off, such as '190 +/- 10 bar'"
        raise UsageError(f"{_short(text)} holds two numbers; write {middle if may_err else 'one'}")
    return Quantity(value, unit, _SIDES[side.lower()] if side else "", _error(text, off, may_err))


def _error(text: str, off: str | None, may_err: bool) -> float | None:
    if off is None:
        return None
    if not may_err:
        raise UsageError(f"{_short(text)} has an error beside it, which means nothing here; leave it out")
    error = float(off.replace("\u2212", "-"))
    if not 0 < error < math.inf:
        raise UsageError(f"the error of {_short(text)} is no standard deviation; it is a number above 0")
    return error


def in_unit(text: str, unit: str, example: str) -> float:
    """Read one number that must carry a unit, turned into `unit`. Raises UsageError; `example` shows what is right."""
    quantity = read_quantity(text, examples=f"'{example}'")
    if not quantity.unit:
        raise UsageError(f"{_short(text)} has no unit; write for example '{example}'")
    if quantity.censored:
        raise UsageError(f"{_short(text)} is a bound and not a number; write for example '{example}'")
    return convert(quantity.value, quantity.unit, unit)


def is_ambiguous(number: str) -> bool:
    """Whether a number may mean a thousand times as much: in much of the world '232.000 km' is 232 thousand."""
    return _THOUSANDS.match(number) is not None


def refuse_thousands(distance: str) -> None:
    """Raises UsageError where the point of a distance may stand for thousands, saying how either is written."""
    if is_ambiguous(distance):
        whole, _, unit = distance.strip().replace(".", "", 1).partition(" ")
        thousands = f"{whole} {unit}".strip()
        raise UsageError(
            f"the point in {_short(distance)} may stand for thousands; write '{thousands}', or one decimal at most"
        )


def _short(text: str) -> str:
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
