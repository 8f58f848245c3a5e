"""One case in the book: its journal, closing it, cases like it; and how good the predictions for all closed ones were.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import DiagError, Place, UsageError
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.report import book_case_blocks, book_case_sheet, book_like_blocks, book_like_sheet, fault_words, score_blocks
from diag.store import (
    Closed,
    Likeness,
    Remark,
    Said,
    Wanted,
    append,
    case_of,
    come_backs_of,
    find_cases,
    number_of,
    read_kept,
    read_outcome,
    rows_of,
    similar_cases,
)
from diag.web.asking import Number, Sent, SentForm, Visit, Visited
from diag.web.casepage import FORM_WAIT_S, believed, case_page
from diag.web.keeping import Clash
from diag.web.pages import UNFIT, back_to, lines_of, page
from diag.web.typed import number_typed
from diag.web.words_cases import CASES, CURED_SAID, SURE_SAID

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
FOUND_ROWS, FITTED_ROWS = 3, 3
MOST_ALIKE = 10
LONGEST_REMARK = 2000
VEHICLE = "vehicle"


@router.get("/case/{number}/book")
def in_the_book(visit: Visited, number: Number) -> Response:
    """How the case ended, its journal, and the form that closes it."""
    return _page(visit, number)


def _page(
    visit: Visit, number: int, typed: Mapping[str, tuple[str, ...]] | None = None, wrong: tuple[str, ...] = ()
) -> Response:
    """`typed`: what was typed and cannot be taken, and `wrong` why."""
    kept, case = visit.shop.keeping.read(number)
    book = visit.shop.keeping.book
    sheet = book_case_sheet(
        visit.shop.knowledge,
        kept,
        rows_of(book, [number])[0],
        book.database.shown,
        came_back_in=come_backs_of(book, kept.uid),
        journal=True,
        numbers={link.uid: before for link in kept.standing.links if (before := number_of(book, link.uid))},
    )
    return case_page(
        visit,
        "closing.html",
        kept,
        case,
        422 if wrong else 200,
        typed={name: values[0] for name, values in (typed or {}).items()},
        wrong=wrong,
        words=CASES,
        currency=visit.shop.knowledge.prices.currency,
        blocks=book_case_blocks(sheet)[1:],
        cured=CURED_SAID,
        sure=SURE_SAID,
        likeliest=_likeliest(visit, kept.number),
        faults=_faults(visit.shop.knowledge),
        repairs={id_: each.name for id_, each in visit.shop.knowledge.repairs.items()},
        places=_places(case),
        found_rows=range(1, FOUND_ROWS + 1),
        fitted_rows=range(1, FITTED_ROWS + 1),
    )


def _likeliest(visit: Visit, number: int) -> list[tuple[str, str, Place]]:
    """The likeliest faults with their likeliest state: as it is written, in words, and where."""
    kept, case = visit.shop.keeping.read(number)
    lines = []
    for moved in believed(visit, kept, case, FORM_WAIT_S).shown:
        fault = moved.fault
        state = max(fault.states[1:], key=lambda each: each.chance)
        where = "" if fault.place is None else f" {fault.place}"
        lines.append((f"{fault.component} {state.state}{where}", fault_words(fault), fault.place))
    return lines


def _faults(knowledge: Knowledge) -> list[tuple[str, str]]:
    """Every fault: as it is written, and in words."""
    return [
        (f"{name} {state}", f"{component.name}: {named.name}")
        for name, component in knowledge.components.items()
        if component.fault
        for state, named in list(component.states.items())[1:]
    ]


def _places(case: Case) -> list[str]:
    banks = list(case.engine.banks) if len(case.engine.banks) > 1 else []
    return [*map(str, case.engine.cylinders), *banks]


@router.post("/case/{number}/close")
def close(sent: Sent, number: Number) -> Response:
    """Close the case: what was found and how sure, what was fitted, time and money, whether it cured."""
    try:
        return _closed(sent, number)
    except UNFIT as error:
        return _page(sent.visit, number, sent.fields, lines_of(error))


def _closed(sent: SentForm, number: int) -> Response:
    visit = sent.visit
    _, case = visit.shop.keeping.read(number)
    found = [
        " ".join([_with_place(sent, "found", "found_where", row), sent.word(f"sure{row}", "seen")])
        for row in range(1, FOUND_ROWS + 1)
        if sent.word(f"found{row}")
    ]
    fitted = [
        _with_place(sent, "fitted", "fitted_where", row)
        for row in range(1, FITTED_ROWS + 1)
        if sent.word(f"fitted{row}")
    ]
    said = Said(
        sent.word("cured"),
        tuple(found),
        tuple(fitted),
        number_typed(sent.word("time")),
        number_typed(sent.word("cost")),
        sent.word("note"),
    )
    outcome = read_outcome(said, visit.shop.knowledge, case.engine)
    alike, _ = _likeness(visit, case)
    visit.shop.keeping.add(number, sent.number("on"), (Closed(outcome),), visit.by, alike)
    return back_to(f"/case/{number}/book", "closed")


def _with_place(sent: SentForm, what: str, where: str, row: int) -> str:
    place = sent.word(f"{where}{row}")
    return f"{sent.word(f'{what}{row}')} {place}".strip()


@router.post("/case/{number}/reopen")
def reopen(sent: Sent, number: Number) -> Response:
    """Take the closing back; the journal keeps both."""
    kept, _ = sent.visit.shop.keeping.read(number)
    if kept.standing.outcome is None:
        raise UsageError(f"case {number} is open")
    sent.visit.shop.keeping.undo(number, sent.number("on"), sent.visit.by)
    return back_to(f"/case/{number}/book", "undone")


@router.post("/case/{number}/remark")
def remark(sent: Sent, number: Number) -> Response:
    """Add a remark, which changes nothing in the case and can be searched."""
    text = sent.word("text")[:LONGEST_REMARK]
    if not text:
        raise UsageError("the remark is empty; write it first")
    keeping, on = sent.visit.shop.keeping, sent.number("on")
    try:
        keeping.add(number, on, (Remark(text),), sent.visit.by)
    except Clash as clash:  # it is of nothing that others can have written
        keeping.add(number, clash.now.revision, (Remark(text),), sent.visit.by)
        return back_to(f"/case/{number}/book", "added_to_others")
    return back_to(f"/case/{number}/book", "taken")


@router.get("/case/{number}/alike")
def alike(visit: Visited, number: Number) -> Response:
    """Cases like this one, with what was found then."""
    kept, case = visit.shop.keeping.read(number)
    book = visit.shop.keeping.book
    likeness, trouble = _likeness(visit, case)
    blocks: object = ()
    if likeness is not None:
        append(book, number, (), likeness=likeness)  # so that others find this one
        withheld = visit.shop.keeping.withheld()
        found = similar_cases(book, likeness, MOST_ALIKE + len(withheld), besides=number)
        found = tuple(each for each in found if each.number not in withheld)[:MOST_ALIKE]
        rows = rows_of(book, [each.number for each in found])
        blocks = book_like_blocks(book_like_sheet(visit.shop.knowledge, str(number), found, rows))
    numbers = [row.number for row in rows] if likeness is not None else []
    return case_page(visit, "alike.html", kept, case, words=CASES, blocks=blocks, trouble=trouble, numbers=numbers)


def _likeness(visit: Visit, case: Case) -> tuple[Likeness | None, str]:
    """What the book compares the case by, or why it cannot be compared."""
    try:
        return visit.shop.reckoner.alike(case), ""
    except DiagError as error:
        return None, error.message


@router.get("/calibration")
def calibration(visit: Visited) -> Response:
    """How good the predictions for the closed cases were."""
    book = visit.shop.keeping.book
    rows = find_cases(book, Wanted(is_open=False, most=1_000_000))
    blocks: object = ()
    picture = ""
    if rows:
        newest = max(row.closed_at for row in rows)
        case = case_of(read_kept(book, rows[0].number), visit.shop.knowledge)
        told = {"book": visit.shop.settings.book, "closed": len(rows), "newest": newest}
        sheet, picture = visit.shop.reckoner.result("calibration", case, **told)
        blocks = score_blocks(sheet)[1:]
    return page(visit, "calibration.html", CASES["calibration"], words=CASES, blocks=blocks, picture=picture)
