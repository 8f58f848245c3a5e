"""Numbers as people read them: chances, money, minutes, readings. May import: `diag.basics` and words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from diag.basics import Place, counted, listed, minor_digits
from diag.report.words import AGO, LIKELIHOOD_SCALE, MAKERS_VALUE, ORDINALS, PLACES

__all__ = [
    "at_place",
    "at_places",
    "chance_words",
    "direction",
    "duration",
    "give_or_take",
    "money",
    "number",
    "ordinal",
    "per_cent",
    "place_words",
    "places_words",
    "rounded_to_sum",
    "short_place",
    "tightening",
    "time_ago",
    "whole_per_cent",
]

DAYS_A_MONTH = 365.25 / 12
_FROM_THE_RIGHT = frozenset(("ar", "ckb", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi"))  # Unicode CLDR, from memory


def whole_per_cent(chance: float) -> int:
    """A chance in whole per cent, rounded half up; above 99 % only where it is more than 99 %, likewise below 1 %."""
    if chance < 0.01:
        return 0
    if chance > 0.99:
        return 100
    return math.floor(100 * chance + 0.5)


def per_cent(chance: float) -> str:
    """`93 %`, 'under 1 %' or 'over 99 %': nothing is ever said to be impossible or sure."""
    whole = whole_per_cent(chance)
    return {0: "under 1 %", 100: "over 99 %"}.get(whole, f"{whole} %")


def chance_words(chance: float) -> str:
    """The word for a chance, on the scale of Mastrandrea et al. (2010) made disjoint.

    It goes by the whole per cent that is printed beside it, so that word and number never disagree:
    0.93 is 'very likely', 0.50 'about as likely as not'.
    """
    whole = whole_per_cent(chance)
    return next(word for least, word in LIKELIHOOD_SCALE if whole >= least)


def number(value: float, decimals: int) -> str:
    """A number with thousands marked and a true minus sign kept off zero."""
    text = f"{value:,.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.,") else text


def give_or_take(value: float, decimals: int, error: float | None) -> str:
    """A number as `number` has it, with the error that was told beside it: '3.12 +/- 0.05'."""
    if error is None:
        return number(value, decimals)
    return f"{number(value, decimals + 1)} +/- {error:.2g}"


def money(amount: float, currency: str, exact: bool = False) -> str:
    """Money with its currency, in whole units; `exact` keeps those of its smallest unit where there are any (prices of
    parts): 1.50 EUR, 1.324 KWD, 655 JPY."""
    digits = minor_digits(currency)
    decimals = digits if exact and abs(amount - round(amount)) >= 0.5 / 10.0**digits else 0
    return f"{number(amount, decimals)} {currency}"


def rounded_to_sum(amounts: Sequence[float]) -> tuple[int, ...]:
    """Whole amounts that add up to the rounded total, each within one of its own value (largest remainders first)."""
    floors = [math.floor(amount) for amount in amounts]
    missing = round(sum(amounts)) - sum(floors)
    by_remainder = sorted(range(len(amounts)), key=lambda index: floors[index] - amounts[index])
    for index in by_remainder[: max(missing, 0)]:
        floors[index] += 1
    return tuple(floors)


def duration(minutes: float) -> str:
    """`25 min`, `1 h`, `1 h 50 min`."""
    hours, rest = divmod(round(minutes), 60)
    return " ".join(
        part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "") if part
    )


def time_ago(months: float) -> str:
    """`10 days ago`, `5 weeks ago`, `14 months ago`: in the unit in which people say it."""
    days = months * DAYS_A_MONTH
    if days < 14:
        return AGO["days"].format(count=counted(round(days)))
    if days < 70:
        return AGO["weeks"].format(count=counted(round(days / 7)))
    return AGO["months"].format(count=counted(f"{months:.3g}"))


def place_words(place: Place, banks: int = 2) -> str:
    """Where something is: `cylinder 2`, `bank A`, `vehicle`; the one bank of an engine in line is `all cylinders`."""
    if place is None:
        return PLACES["vehicle"]
    if isinstance(place, int):
        return PLACES["cylinder"].format(number=place)
    return PLACES["bank"].format(letter=place) if banks > 1 else PLACES["all_cylinders"]


def at_place(text: str, place: Place, banks: int = 2) -> str:
    """A thing and where it is: `reseal the injector, cylinder 2`; of the vehicle as a whole nothing is added."""
    return text if place is None else f"{text}, {place_words(place, banks)}"


def short_place(place: Place, banks: int = 2) -> str:
    """The same for tables: `cyl. 2`, `bank A`, `vehicle`."""
    return PLACES["short_cylinder"].format(number=place) if isinstance(place, int) else place_words(place, banks)


def direction(language: str) -> Literal["ltr", "rtl"]:
    """Which way a language is written, by its ISO 639 code: from left to right, or from right to left."""
    return "rtl" if language in _FROM_THE_RIGHT else "ltr"


def ordinal(count: int) -> str:
    """A place in a row, from 1: `second`; `11th` beyond those that have words."""
    return ORDINALS[count - 1] if count <= len(ORDINALS) else f"{count}th"


def places_words(places: Sequence[Place], banks: int = 2) -> str:
    """Several places: `cylinders 1, 2 and 4`, `cylinder 2`, `bank A`, `banks A and B`."""
    if len(places) > 1 and banks > 1 and all(isinstance(place, str) for place in places):
        return PLACES["banks"].format(letters=listed([str(place) for place in places], "and"))
    if len(places) == 1 or not all(isinstance(place, int) for place in places):
        return ", ".join(place_words(place, banks) for place in places)
    return PLACES["cylinders"].format(numbers=listed([str(place) for place in places], "and"))


def at_places(name: str, places: Sequence[Place], banks: int = 2) -> str:
    """`reseal the injector, cylinders 1, 2 and 4`; what is of the vehicle has no place."""
    return name if list(places) == [None] else f"{name}, {places_words(places, banks)}"


def tightening(newton_metres: float | None, then_degrees: float | None) -> str:
    """`6 N·m, then 90 degrees`; what only the maker knows is a blank to be filled in."""
    if newton_metres is None:
        return MAKERS_VALUE
    turn = f", then {then_degrees:g} degrees" if then_degrees is not None else ""
    return f"{newton_metres:g} N·m{turn}"
