"""The bay: a case with its engine, what is believed and how it moved, what to check next; taking the last entry back.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from diag.report import engine_picture, evidence_lines, weigh_blocks
from diag.web.asking import Number, Sent, Visited, place_from, place_to
from diag.web.casepage import believed, case_page, in_time, last_entry
from diag.web.maps import engine_drawing, told_at
from diag.web.pages import back_to
from diag.web.routes_check import ranking

__all__ = ["case_page", "router"]

router = APIRouter(include_in_schema=False)


@router.get("/case/{number}")
def bay(visit: Visited, number: Number) -> Response:
    """The case in the bay."""
    kept, case = visit.shop.keeping.read(number)
    belief = believed(visit, kept, case)
    return case_page(
        visit,
        "bay.html",
        kept,
        case,
        belief=belief,
        ranking=ranking(visit, kept, case, wait=False),
        drawing=engine_drawing(case, belief.sheet),
        last=last_entry(visit, kept, case),
        entries=evidence_lines(visit.shop.knowledge, case),
        vehicle_told=told_at(case, None),
    )


@router.get("/case/{number}/belief")
def belief_in_full(visit: Visited, number: Number) -> Response:
    """All that is believed: every fault, what would be wrong together, and how far the findings agree."""
    kept, case = visit.shop.keeping.read(number)
    visit.shop.reckoner.begun("life", case)
    sheet, life = in_time(visit, "weigh", case), in_time(visit, "life", case)
    if sheet is None:
        return case_page(visit, "belief.html", kept, case, blocks=None)
    blocks = weigh_blocks(sheet, everything=True, head=False)
    return case_page(visit, "belief.html", kept, case, blocks=blocks, picture=engine_picture(case, sheet), life=life)


@router.get("/case/{number}/next")
def next_part(visit: Visited, number: Number) -> Response:
    """What to check next, by itself: the bay asks for it once the belief is shown."""
    kept, case = visit.shop.keeping.read(number)
    return case_page(visit, "next.html", kept, case, ranking=ranking(visit, kept, case, wait=True))


@router.post("/case/{number}/undo")
def undo(sent: Sent, number: Number) -> Response:
    """Take the last entry back."""
    written = sent.visit.shop.keeping.undo(number, sent.number("on"), sent.visit.by)
    sent.visit.shop.liken(written.kept, written.case)
    at = sent.word("at")
    if sent.word("to") == "vehicle":
        return back_to(f"/case/{number}/vehicle", "undone")
    return back_to(f"/case/{number}/at/{place_to(place_from(at))}" if at else f"/case/{number}", "undone")
