"""The documented interface for programs: the same sheets as `diag ... --json`, in the same versioned forms.

Reading is free of side effects. What writes takes JSON alone, names the revision that it had seen, and answers with the
case as it then stands. May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from starlette.responses import JSONResponse

from diag.basics import Place, UsageError
from diag.casebook import Case, with_answer, with_measured
from diag.report import book_case_sheet, book_list_sheet, engines_sheet, form_schema, sheet_dict
from diag.store import Kept, Remark, Wanted, find_cases, rows_of
from diag.web.asking import Number, Visit, Visited, place_from
from diag.web.keeping import Written
from diag.web.routes_cases import new_case
from diag.web.routes_options import told_money
from diag.web.sliders import Money
from diag.web.words import API

__all__ = ["router"]

TROUBLE: dict[str, Any] = {
    "type": "object",
    "properties": {"error": {"type": "string"}, "message": {"type": "string"}},
    "required": ["error", "message"],
}
_TROUBLES = {400: "unfit", 401: "unpaired", 403: "foreign", 404: "no case", 405: "method", 409: "book moved"}
_TROUBLES |= {413: "large", 415: "kind", 421: "host", 422: "usage", 429: "often", 503: "book"}
router = APIRouter(
    prefix="/api",
    responses={
        status: {"description": API[kind], "content": {"application/json": {"schema": TROUBLE}}}
        for status, kind in _TROUBLES.items()
    },
)
Word = Annotated[str, Query(max_length=120)]
PlaceWord = Annotated[str, Query(max_length=10, description="a cylinder's number, a bank's letter, or 'vehicle'")]
MOST = 500


def _form(name: str) -> dict[int | str, dict[str, Any]]:
    """What a reading answers with: the JSON Schema of its form."""
    return {200: {"description": API["form"].format(form=name), "content": _json(form_schema(name))}}


def _json(schema: Any) -> dict[str, Any]:
    return {"application/json": {"schema": {key: value for key, value in schema.items() if key != "$schema"}}}


def _sheet(sheet: object) -> JSONResponse:
    return JSONResponse(sheet_dict(sheet))


# ---- reading ------------------------------------------------------------------------------------------------------


@router.get("/engines", responses=_form("diag.engines/1"), summary=API["engines"])
def engines(visit: Visited) -> JSONResponse:
    """The engines that the knowledge has."""
    return _sheet(engines_sheet(visit.shop.knowledge.engines))


@router.get("/cases", responses=_form("diag.book.list/1"), summary=API["cases"])
def cases(
    visit: Visited,
    words: Word = "",
    engine: Word = "",
    state: Literal["", "open", "closed"] = "",
    most: Annotated[int, Query(ge=1, le=MOST)] = 50,
) -> JSONResponse:
    """Cases of the book, newest first."""
    book = visit.shop.keeping.book
    is_open = {"open": True, "closed": False}.get(state)
    rows = visit.shop.keeping.shown(find_cases(book, Wanted(engine=engine, is_open=is_open, words=words, most=most)))
    return _sheet(book_list_sheet(visit.shop.knowledge, rows, book.database.shown, most))


@router.get("/cases/{number}", responses=_form("diag.book.case/1"), summary=API["case"])
def case(visit: Visited, number: Number, journal: bool = False) -> JSONResponse:
    """One case as it stands; with its journal where that is asked for. The customer stays in the book."""
    kept, _ = visit.shop.keeping.read(number)
    return _case_sheet(visit, kept, journal)


def _case_sheet(visit: Visit, kept: Kept, journal: bool = False, done: str = "", status: int = 200) -> JSONResponse:
    book = visit.shop.keeping.book
    row = rows_of(book, (kept.number,))[0]
    sheet = book_case_sheet(visit.shop.knowledge, kept, row, book.database.shown, done=done, journal=journal)
    return JSONResponse(sheet_dict(sheet), status)


@router.get("/cases/{number}/weigh", responses=_form("diag.weigh/1"), summary=API["weigh"])
def weigh(visit: Visited, number: Number) -> JSONResponse:
    """The faults behind a case: `diag weigh`."""
    _, told = visit.shop.keeping.read(number)
    return _sheet(visit.shop.reckoner.result("weigh", told))


@router.get("/cases/{number}/next", responses=_form("diag.next/1"), summary=API["next"])
def next_checks(visit: Visited, number: Number) -> JSONResponse:
    """The checks, ranked: `diag next`. This may take seconds."""
    _, told = visit.shop.keeping.read(number)
    return _sheet(visit.shop.reckoner.checks(told))


@router.get("/cases/{number}/repair", responses=_form("diag.repair/1"), summary=API["repair"])
def repair(visit: Visited, number: Number) -> JSONResponse:
    """The options and the advised plan: `diag repair`. The sliders of the page may stand in the query, by their names,
    such as `customer.horizon_months=24`; the spread is drawn only without them."""
    _, told = visit.shop.keeping.read(number)
    money: Money = told_money(visit, visit.shop.reckoner.result("sliders", told))
    reckoner = visit.shop.reckoner
    return _sheet(reckoner.options(told, money) if money else reckoner.result("drawn", told))


@router.get("/cases/{number}/why", responses=_form("diag.why/1"), summary=API["why"])
def why(visit: Visited, number: Number, fault: Word = "", rival: Word = "") -> JSONResponse:
    """Why a fault, and not its rival: `diag why`."""
    _, told = visit.shop.keeping.read(number)
    sheet, _ = visit.shop.reckoner.result("why", told, fault=fault, rival=rival)
    return _sheet(sheet)


# ---- writing ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NewCase:
    """A case to begin. `distance_km` and `age_years` may be left out."""

    title: str
    engine: str
    distance_km: float | None = None
    age_years: float | None = None


@dataclass(frozen=True)
class ToldFinding:
    """An answer: 'present', 'absent', 'not sure', 'not looked at', or a soft answer's id. `place`: a cylinder's number,
    a bank's letter, or 'vehicle'. `on`: the revision that was seen; 0: whatever stands now."""

    item: str
    answer: str
    place: str = "vehicle"
    under: str = ""
    on: int = 0


@dataclass(frozen=True)
class ToldReading:
    """A reading with its unit, such as '180 bar' or 'above 60 mL/min'. The rest as for a finding."""

    item: str
    value: str
    place: str = "vehicle"
    under: str = ""
    on: int = 0


@dataclass(frozen=True)
class ToldRemark:
    """Words that change nothing in the case, and can be searched."""

    text: str


@router.post("/cases", responses=_form("diag.book.case/1"), summary=API["begin"])
def begin(visit: Visited, told: NewCase) -> JSONResponse:
    """Begin a case."""
    begun = new_case(
        visit.shop.knowledge, _fit(told.title), told.engine, _number(told.distance_km), _number(told.age_years)
    )
    return _case_sheet(visit, visit.shop.keeping.begin(begun, visit.by), done="begun")


@router.post("/cases/{number}/findings", responses=_form("diag.book.case/1"), summary=API["finding"])
def tell_finding(visit: Visited, number: Number, told: ToldFinding) -> JSONResponse:
    """Tell a finding; an earlier answer to the same question since the last repair is replaced."""
    place, knowledge, under = place_from(told.place), visit.shop.knowledge, told.under or None
    return _write(visit, number, told.on, lambda now: with_answer(now, knowledge, told.item, place, told.answer, under))


@router.post("/cases/{number}/readings", responses=_form("diag.book.case/1"), summary=API["reading"])
def tell_reading(visit: Visited, number: Number, told: ToldReading) -> JSONResponse:
    """Tell a reading; it stands beside earlier ones."""
    place: Place = place_from(told.place)
    knowledge, text = visit.shop.knowledge, _fit(told.value)
    return _write(
        visit, number, told.on, lambda now: with_measured(now, knowledge, told.item, place, text, told.under or None)
    )


@router.post("/cases/{number}/remarks", responses=_form("diag.book.case/1"), summary=API["remark"])
def tell_remark(visit: Visited, number: Number, told: ToldRemark) -> JSONResponse:
    """Add a remark."""
    text = _fit(told.text).strip()
    if not text:
        raise UsageError("the remark is empty")
    kept, _ = visit.shop.keeping.read(number)
    written = visit.shop.keeping.add(number, kept.revision, (Remark(text),), visit.by)
    return _case_sheet(visit, written.kept, done="noted")


def _write(visit: Visit, number: int, on: int, deed: Callable[[Case], Case]) -> JSONResponse:
    shop = visit.shop
    seen = on if on > 0 else shop.keeping.read(number)[0].revision
    written: Written = shop.keeping.write(number, seen, deed, visit.by, shop.possible)
    shop.liken(written.kept, written.case)
    return _case_sheet(visit, written.kept, done="told")


def _fit(text: str) -> str:
    """Text without control characters, of a length that the book takes."""
    return "".join(character for character in text if character.isprintable())[:1000]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
