"""The decision: options side by side, sliders for horizon and prices, break-even, and why at every total.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import DiagError, UsageError
from diag.casebook import Case
from diag.report import DoubtLine, RepairSheet, advice_sentence, after_blocks, options_picture, plan_blocks
from diag.store import Kept
from diag.web.asking import Number, Visit, Visited
from diag.web.casepage import case_page, in_time
from diag.web.reckoner import key_of
from diag.web.reckoning import OptionWhy
from diag.web.sliders import Money, Slider
from diag.web.words import SAY

__all__ = ["router", "told_money"]

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Turned:
    """Where the advice changes along the sliders; `lines` none: it is being worked out."""

    key: str
    lines: tuple[DoubtLine, ...] | None
    trouble: str


def told_money(visit: Visit, sliders: tuple[Slider, ...]) -> Money:
    """What the sliders say in the address, where it differs from the workshop's own. Raises UsageError."""
    told = []
    for each in sliders:
        text = visit.request.query_params.get(each.figure)
        if text is None or not text.strip():
            continue
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not each.low <= value <= each.high:
            ends = f"{each.low:g} and {each.high:g} {each.unit}"
            raise UsageError(f"{each.name}: '{text[:20]}' does not lie between {ends}")
        if abs(value - each.now) > 1e-9:
            told.append((each.figure, value))
    return tuple(told)


@router.get("/case/{number}/options")
def options(visit: Visited, number: Number) -> Response:
    """The options side by side, under the money that the sliders say."""
    kept, case = visit.shop.keeping.read(number)
    visit.shop.reckoner.begun("options", case)
    sliders: tuple[Slider, ...] | None = in_time(visit, "sliders", case)
    if sliders is None:
        return case_page(visit, "options.html", kept, case, sheet=None)
    visit.shop.reckoner.begun("slid", case)  # so that the first move of a slider waits for little
    told = told_money(visit, sliders)
    sheet = visit.shop.reckoner.options(case, told)
    picture = "" if told else _picture(visit, case)
    return case_page(
        visit,
        "options.html",
        kept,
        case,
        sheet=sheet,
        sentence=advice_sentence(sheet),
        sliders=[(each, dict(told).get(each.figure, each.now)) for each in sliders],
        told=bool(told),
        asked=urlencode(told),
        most=max((option.total for option in sheet.options), default=1.0) or 1.0,
        turned=_turned(visit, kept, case, wait=False),
        picture=picture,
    )


def _picture(visit: Visit, case: Case) -> str:
    """What luck may make of each option, where that was drawn already; it is begun where it was not."""
    future = visit.shop.reckoner.begun("drawn", case)
    if not future.done() or future.exception() is not None:
        return ""
    sheet: RepairSheet = future.result()
    try:
        return options_picture(sheet, SAY["best"])
    except UsageError:
        return ""


def _turned(visit: Visit, kept: Kept, case: Case, wait: bool) -> Turned:
    future = visit.shop.reckoner.begun("turns", case, about=f"{kept.number} turns")
    lines, trouble = None, ""
    if wait or future.done():
        try:
            lines = visit.shop.reckoner.result("turns", case)
        except DiagError as error:
            trouble = error.message
    return Turned(key_of(case, visit.shop.knowledge)[:12], lines, trouble)


@router.get("/case/{number}/turns")
def turns(visit: Visited, number: Number) -> Response:
    """Where another option begins to win; this waits until it is worked out."""
    kept, case = visit.shop.keeping.read(number)
    return case_page(visit, "turns.html", kept, case, turned=_turned(visit, kept, case, wait=True))


@router.get("/case/{number}/option")
def one_option(visit: Visited, number: Number, what: str = "") -> Response:
    """One option in full: why each of its numbers, its work with the cautions, its parts, how its total adds up."""
    kept, case = visit.shop.keeping.read(number)
    told = told_money(visit, visit.shop.reckoner.result("sliders", case))
    why: OptionWhy = visit.shop.reckoner.result("option", case, title=what, told=told)
    blocks = (*after_blocks(why.line, why.sheet.currency), *plan_blocks(why.sheet))
    return case_page(visit, "option.html", kept, case, why=why, blocks=blocks, what=what, asked=urlencode(told))
