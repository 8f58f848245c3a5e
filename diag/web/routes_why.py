"""Why: what speaks for a fault and against it, why it and not another, and what the advice rests on.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from diag.report import why_blocks
from diag.web.asking import Number, Visited, place_to
from diag.web.casepage import believed, case_page, in_time

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
LONGEST = 120
MOST_RIVALS = 8


@router.get("/case/{number}/why")
def why(visit: Visited, number: Number, fault: str = "", rival: str = "", advice: str = "") -> Response:
    """Why a fault is as likely as it is; without one, the leading fault. `advice`: what the advice rests on, too."""
    kept, case = visit.shop.keeping.read(number)
    told = {"fault": fault[:LONGEST], "rival": rival[:LONGEST]}
    made = in_time(visit, "why in full", case, advice=True, **told) if advice else in_time(visit, "why", case, **told)
    faults = [
        (f"{line.fault.component} {place_to(line.fault.place) if line.fault.place is not None else ''}".strip(), line)
        for line in believed(visit, kept, case).shown
    ]
    return case_page(
        visit,
        "why.html",
        kept,
        case,
        blocks=why_blocks(made[0], everything=True, head=False) if made is not None else None,
        picture=made[1] if made is not None else "",
        faults=[(words, line.name, line.fault.place) for words, line in faults[:MOST_RIVALS]],
        fault=told["fault"],
        rival=told["rival"],
        advice=bool(advice),
    )
