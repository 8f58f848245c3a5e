"""Numbers as a hand types them into the page, written as a case file would have them.

A tablet's keys for numbers may have a comma and no point. A comma is taken for one where it cannot stand between
thousands; what may be either is left to be refused in words. May import: `diag.basics`.
"""

from __future__ import annotations

import re

from diag.basics import UsageError

__all__ = ["number_typed", "with_unit"]

_DECIMAL_COMMA = re.compile(r"(?<![\d.,'])(?<!\d )(?:(\d*),(\d{1,2}|\d{4,})|(0),(\d{3}))(?![\d.,'])")
_THOUSANDS = re.compile(r"\d{1,3}\.\d{3}(\s*km)?", re.ASCII)


def number_typed(text: str) -> str:
    """`1,5 bar` as `1.5 bar`, and a minus sign as the hyphen; `1,500 bar` as it is."""
    told = text.strip().replace("\u2212", "-")
    return _DECIMAL_COMMA.sub(lambda found: f"{found[1] or found[3] or ''}.{found[2] or found[4]}", told)


def with_unit(text: str, unit: str) -> str:
    """A bare number with its unit behind it; anything else as it is.

    Raises UsageError for a distance such as `187.000`, which people write for 187 thousand.
    """
    told = number_typed(text)
    if unit == "km" and _THOUSANDS.fullmatch(told):
        whole = told.split(".")[0] + told.split(".")[1][:3]
        raise UsageError(f"'{text[:20]}' may be {told.split('.')[0]} km or {whole} km; write it without the point")
    return f"{told} {unit}" if told.replace(".", "", 1).replace(",", "").isdecimal() else told
