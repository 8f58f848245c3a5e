"""Numbers as a hand types them into the page, written as a case file would have them.

A tablet's keys for numbers may have a comma and no point. A comma is taken for one where it cannot stand between
thousands; what may be either is left to be refused in words. May import: `diag.basics`, `diag.casebook`.
"""

from __future__ import annotations

import re

from diag.basics import UsageError
from diag.casebook import read_quantity

__all__ = ["number_typed", "reading_typed", "with_unit"]

_DECIMAL_COMMA = re.compile(r"(?<![\d.,'])(?<!\d )(?:(\d*),(\d{1,2}|\d{4,})|(0),(\d{3}))(?![\d.,'])")


def number_typed(text: str) -> str:
    """`1,5 bar` as `1.5 bar`, and a minus sign as the hyphen; `1,500 bar` as it is."""
    told = text.strip().replace("\u2212", "-")
    return _DECIMAL_COMMA.sub(lambda found: f"{found[1] or found[3] or ''}.{found[2] or found[4]}", told)


def with_unit(text: str, unit: str) -> str:
    """A bare number with its unit behind it; anything else as it is."""
    told = number_typed(text)
    bare = told.lstrip("-+\u2212").replace(".", "", 1).replace(",", "").isdecimal()
    return f"{told} {unit}" if bare else told


def reading_typed(text: str, unit: str) -> str:
    """A reading with the unit that was chosen beside it; one that was typed with the number stands instead."""
    told = number_typed(text)
    head, at, tail = told.partition(" at ")
    try:
        bare = not read_quantity(head, may_err=True).unit
    except UsageError:  # a clock, or refused later for what it is
        bare = False
    return f"{head} {unit}{at}{tail}".strip() if bare else told
