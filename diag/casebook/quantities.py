"""Numbers as people write them: '180 bar', 'above 60 mL/min', '3.12 +/- 0.05 mg/stroke', '187 thousand km'.

May import: `diag.basics`, and the units of `diag.knowledge_base`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from diag.basics import UsageError
from diag.knowledge_base import convert

__all__ = ["Quantity", "in_unit", "is_ambiguous", "read_quantity", "refuse_thousands"]

_NUMBER = r"[-+\u2212]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_SIGNS = r"\+/-|\+-|\u00b1"
_QUANTITY = re.compile(
    rf"^\s*(?:(above|over|below|under|>|<)\s*)?({_NUMBER})\s*(?:(?:{_SIGNS})\s*({_NUMBER})\s*)?(.*?)\s*$", re.DOTALL
)
_COMMA = re.compile(r"^\s*(?:(?:above|over|below|under|>|<)\s*)?[-+\u2212]?\d+(?:[,']\d| \d(?!/))")
_THOUSANDS = re.compile(r"^\s*[1-9]\d{0,2}\.\d{3}(?!\d)")
_EXAMPLES = "'180 bar' or 'above 60 mL/min'"
_SIDES: dict[str, Literal["", "above", "below"]] = {
    "": "", "above": "above", "over": "above", ">": "above", "below": "below", "under": "below", "<": "below",
}  # fmt: skip


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
    if match is None:
        raise UsageError(f"{_short(text)} is not a number with a unit; write for example {examples}")
    side, number, off, unit = match.groups()
    value = float(number.replace("\u2212", "-"))
    if not math.isfinite(value):
        raise UsageError(f"{_short(text)} is too large a number")
    return Quantity(value, unit, _SIDES[side or ""], _error(text, off, may_err))


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
    """Whether a distance may mean a thousand times as much: in much of the world '232.000 km' is 232 thousand."""
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
