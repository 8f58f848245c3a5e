"""The counter: the customer's page to show and to print, options compared, estimate, work sheet, what was chosen.

What the customer is shown stands on a page of its own: no way to other cases, no workshop's side, no list of faults.
May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query
from starlette.responses import Response

from diag.basics import UsageError
from diag.casebook import Case
from diag.knowledge_base import Language, language_names, load_language
from diag.report import (
    CustomerPage,
    EstimateSheet,
    RepairSheet,
    estimate_blocks,
    estimate_csv,
    estimate_pdf,
    map_of,
    money,
    page_html,
    page_pdf,
    sheet_blocks,
    sheet_json,
    sheet_pdf,
)
from diag.store import Kept, Remark
from diag.web.asking import Number, Sent, Visit, Visited
from diag.web.casepage import case_page
from diag.web.pages import back_to, page
from diag.web.words_counter import COUNTER

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
LONGEST = 200
MOST = 3
AT_ONCE_S = 1.0
CHOSEN = COUNTER["noted"].split("{")[0].strip()
Wanted = Annotated[list[str], Query(max_length=8)]


@router.get("/case/{number}/counter")
def counter(visit: Visited, number: Number, language: str = "en", option: Wanted = []) -> Response:  # noqa: B006
    """For the advisor: which options, which language; and all the papers."""
    kept, case = visit.shop.keeping.read(number)
    wanted = tuple(each[:LONGEST] for each in option if each)
    sheet: RepairSheet | None = None
    trouble, made, waits = "", None, False
    noted, older = _chosen(visit, kept, case)
    try:
        sheet = visit.shop.reckoner.begun("options", case).result(AT_ONCE_S)
        _refuse(language, wanted)
        made = visit.shop.reckoner.begun("customer", case, language=language, chosen=wanted).result(AT_ONCE_S)
    except UsageError as error:
        trouble = _gone(sheet, wanted) or error.message
    except TimeoutError:  # the checks of a large engine take seconds: the screen is shown, and renews itself
        waits = True
    asked = _back(language, list(wanted))
    names = {code: load_language(code).name for code in language_names()}
    return case_page(
        visit,
        "counter.html",
        kept,
        case,
        words=COUNTER,
        sheet=sheet,
        made=made,
        waits=waits,
        trouble=trouble,
        language=language,
        languages=names,
        wanted=wanted,
        asked=asked,
        chosen=noted,
        older=older,
    )


def _refuse(language: str, wanted: tuple[str, ...]) -> None:
    """Raise UsageError for a page that cannot be."""
    if language not in language_names():
        raise UsageError("there is no such language here; choose one of the list")
    if len(wanted) > MOST:
        raise UsageError(f"two or three options go side by side, not {len(wanted)}")


def _gone(sheet: RepairSheet | None, wanted: tuple[str, ...]) -> str:
    """That an option which was chosen is not among those of the case as it stands, by its name; empty: all are."""
    names = [option.name for option in sheet.options] if sheet is not None else wanted
    gone = next((each for each in wanted if each not in names), None)
    return COUNTER["gone"].format(what=gone) if gone is not None else ""


def _made(visit: Visit, case: Case, language: str, wanted: tuple[str, ...]) -> CustomerPage:
    _refuse(language, wanted)
    try:
        found: CustomerPage = visit.shop.reckoner.result("customer", case, language=language, chosen=wanted)
    except UsageError as error:
        raise UsageError(_gone(visit.shop.reckoner.result("options", case), wanted) or error.message) from None
    return found


def _chosen(visit: Visit, kept: Kept, case: Case) -> tuple[str, bool]:
    """What was noted last of the customer's choice, and whether the case is another since."""
    noted = [text for text in kept.standing.remarks if text.startswith((CHOSEN, COUNTER["noted_none"]))]
    if not noted:
        return "", False
    at = [each.revision for each in kept.events if isinstance(each.payload, Remark) and each.payload.text == noted[-1]]
    return noted[-1], visit.shop.keeping.at(kept, at[-1]) != case


def _asked_page(visit: Visit, number: int, language: str, option: list[str]) -> CustomerPage:
    _, case = visit.shop.keeping.read(number)
    return _made(visit, case, language, tuple(each[:LONGEST] for each in option if each))


@router.get("/case/{number}/customer")
def shown(visit: Visited, number: Number, language: str = "en", option: Wanted = []) -> Response:  # noqa: B006
    """The customer's page alone on the screen."""
    made = _asked_page(visit, number, language, option)
    asked = _back(language, option)
    return page(
        visit, "customer.html", made.title, words=COUNTER, made=made, picture=map_of(made), number=number, asked=asked
    )


@router.get("/case/{number}/customer.pdf")
def as_pdf(visit: Visited, number: Number, language: str = "en", option: Wanted = []) -> Response:  # noqa: B006
    """The same as PDF, one side of A4."""
    return _file(page_pdf(_asked_page(visit, number, language, option)), "application/pdf", f"customer-{number}.pdf")


@router.get("/case/{number}/customer.html")
def as_file(visit: Visited, number: Number, language: str = "en", option: Wanted = []) -> Response:  # noqa: B006
    """The same as one HTML file to keep or to send."""
    made = page_html(_asked_page(visit, number, language, option))
    return _file(made.encode(), "text/html; charset=utf-8", f"customer-{number}.html", keep=True)


@router.post("/case/{number}/chosen")
def choose(sent: Sent, number: Number) -> Response:
    """Note which option the customer chose, with its price and the limit up to which work goes on without a call."""
    visit, language = sent.visit, sent.word("language", "en")
    wanted, picked = sent.fields.get("option", ()), sent.word("chosen")
    text = COUNTER["noted_none"]
    if picked:
        made = _asked_page(visit, number, language, list(wanted))
        text = _noted(made, picked)
    visit.shop.keeping.add(number, sent.number("on"), (Remark(text),), visit.by)
    asked = _back(language, list(wanted))
    return back_to(f"/case/{number}/counter?{asked}", "taken")


def _noted(made: CustomerPage, picked: str) -> str:
    at = next((index for index, option in enumerate(made.options) if option.option == picked), None)
    if at is None:
        raise UsageError("that option stands no longer on the page; look at the options again")
    option = made.options[at]
    limit = made.rows[-1].cells[at][0]
    named = f"{option.heading}: {'; '.join(made.rows[0].cells[at])}"
    said = COUNTER["limit"].format(limit=limit) if option.price and any(map(str.isdigit, limit)) else ""
    return COUNTER["noted"].format(what=named, price=money(option.price, made.currency), limit=said).strip()


# ---- estimate and work sheet ----------------------------------------------------------------------------------


@router.get("/case/{number}/estimate")
def estimate(
    visit: Visited,
    number: Number,
    what: str = "",
    language: str = "en",
    option: Wanted = [],  # noqa: B006
) -> Response:
    """The estimate of an option, by its printed name; of the advised one without; in the customer's language. `option`:
    what the counter sets side by side when one goes back to it."""
    kept, case = visit.shop.keeping.read(number)
    sheet, words = _priced(visit, case, what, language)
    files = [(COUNTER[f"estimate_{kind}"], f"estimate.{kind}") for kind in ("pdf", "csv", "json")]
    title = COUNTER["estimate_of"].format(what=sheet.title)
    return case_page(
        visit, "paper.html", kept, case, words=COUNTER, heading=title, blocks=estimate_blocks(sheet, words),
        files=files, asked=_asked(what, language), back=_back(language, option), spoken=language,
    )  # fmt: skip


def _priced(visit: Visit, case: Case, what: str, language: str) -> tuple[EstimateSheet, Language]:
    _refuse(language, ())
    sheet = visit.shop.reckoner.result("priced", case, option=what[:LONGEST] or None, language=language)
    return sheet, load_language(language)


@router.get("/case/{number}/sheet")
def work(
    visit: Visited,
    number: Number,
    what: str = "",
    language: str = "en",
    option: Wanted = [],  # noqa: B006
) -> Response:
    """The work sheet of an option, in English; `language` and `option`: what the counter is then asked for."""
    kept, case = visit.shop.keeping.read(number)
    _refuse(language, ())
    sheet = visit.shop.reckoner.result("work", case, option=what[:LONGEST] or None)
    title = COUNTER["sheet_of"].format(what=sheet.title)
    files = [(COUNTER["sheet_pdf"], "sheet.pdf")]
    return case_page(
        visit, "paper.html", kept, case, words=COUNTER, heading=title, blocks=sheet_blocks(sheet), files=files,
        asked=_asked(what, language), back=_back(language, option), spoken="en",
    )  # fmt: skip


def _back(language: str, wanted: list[str]) -> str:
    """What the counter is asked for: language and options."""
    return urlencode([("language", language), *(("option", each[:LONGEST]) for each in wanted if each)])


def _asked(what: str, language: str) -> str:
    return urlencode({"what": what[:LONGEST], "language": language} if what else {"language": language})


@router.get("/case/{number}/estimate.{kind}")
def estimate_file(visit: Visited, number: Number, kind: str, what: str = "", language: str = "en") -> Response:
    """The estimate as a file: pdf, csv or json."""
    makers: dict[str, tuple[Callable[[EstimateSheet, Language], bytes], str]] = {
        "pdf": (estimate_pdf, "application/pdf"),
        "csv": (lambda sheet, words: estimate_csv(sheet, words).encode(), "text/csv; charset=utf-8"),
        "json": (lambda sheet, words: sheet_json(sheet).encode(), "application/json"),
    }
    if kind not in makers:
        raise UsageError("the estimate is made as pdf, csv or json")
    _, case = visit.shop.keeping.read(number)
    make, media = makers[kind]
    return _file(make(*_priced(visit, case, what, language)), media, f"estimate-{number}.{kind}", keep=kind != "pdf")


@router.get("/case/{number}/sheet.pdf")
def sheet_file(visit: Visited, number: Number, what: str = "") -> Response:
    """The work sheet as PDF."""
    _, case = visit.shop.keeping.read(number)
    made = visit.shop.reckoner.result("work", case, option=what[:LONGEST] or None)
    return _file(sheet_pdf(made), "application/pdf", f"work-sheet-{number}.pdf")


def _file(content: bytes, media: str, name: str, keep: bool = False) -> Response:
    """A file: shown by the browser, or kept by it (`keep`)."""
    how = "attachment" if keep else "inline"
    return Response(content, media_type=media, headers={"content-disposition": f'{how}; filename="{name}"'})
