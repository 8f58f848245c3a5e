"""The vehicle: how far and how old it is, what was done before it came, its trim codes, and whether it was here before.

What is typed is read as in a case file, so that limits and messages are the same; where something is wrong, the page
comes again with what was typed and what is the matter. May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import DiagError, UsageError, counted
from diag.casebook import (
    HELPED,
    NUMBERING,
    Case,
    TrimCode,
    history_told,
    lapses_at,
    numbering_words,
    with_history,
    with_numbering,
    with_trim_codes,
    with_vehicle,
)
from diag.knowledge_base import Key, Knowledge, Tree, convert
from diag.report import Block, ledger_blocks, trim_ledger, work_text
from diag.store import Kept, Linked, Wanted, come_backs_of, find_cases, goes_back_to, number_of, read_kept
from diag.web.asking import Number, Sent, SentForm, Visit, Visited
from diag.web.casepage import case_page, last_entry
from diag.web.keeping import Clash
from diag.web.pages import back_to, lines_of
from diag.web.routes_cases import printable
from diag.web.routes_tell import done, lapses_ticked, one_word_each, tell
from diag.web.typed import with_unit
from diag.web.words_vehicle import VEHICLE

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
TRIM = ("part", "unit", "part_before", "unit_before")
LONGEST_NOTE = 200
MOST_EARLIER = 100


@dataclass(frozen=True)
class Wrong:
    """What was the matter with a form: which one, what was typed, and what to say."""

    form: str
    typed: Mapping[str, tuple[str, ...]]
    lines: tuple[str, ...]


@router.get("/case/{number}/vehicle")
def vehicle(visit: Visited, number: Number, change: int = 0) -> Response:
    """All of it; `change`: the work of the history that is to be changed, counted from 1."""
    return _page(visit, number, change)


def _page(visit: Visit, number: int, change: int = 0, wrong: Wrong | None = None) -> Response:
    kept, case = visit.shop.keeping.read(number)
    knowledge = visit.shop.knowledge
    repairs = {id_: each for id_, each in knowledge.repairs.items() if each.kind != "way out"}
    form = wrong.form if wrong is not None else ""
    codes = _codes(case) if form != "trim" else _first(wrong)
    return case_page(
        visit,
        "vehicle.html",
        kept,
        case,
        422 if wrong is not None else 200,
        words=VEHICLE,
        wrong=wrong,
        about=_about(case) | (_first(wrong) if form == "vehicle" else {}),
        numberings=_numberings(knowledge),
        history=[work_text(knowledge, work) for work in case.history],
        work=_work_fields(case, change) if form != "history" else _typed(wrong),
        change=change if 1 <= change <= len(case.history) else 0,
        repairs=repairs,
        moving={id_ for id_, each in repairs.items() if each.moves},
        lapses=lapses_at(knowledge, repairs),
        helped=one_word_each(HELPED),
        places=_places(case),
        codes=codes,
        codes_before=any(code for name, code in codes.items() if "_before:" in name),
        ledger=_ledger(knowledge, case),
        last=last_entry(visit, kept, case),
        **_before(visit, kept),
    )


def _first(wrong: Wrong | None) -> dict[str, str]:
    return {name: values[0] for name, values in wrong.typed.items()} if wrong is not None else {}


def _typed(wrong: Wrong | None) -> dict[str, tuple[str, ...]]:
    return dict(wrong.typed) if wrong is not None else {}


def _places(case: Case) -> list[int | str]:
    return [*case.engine.cylinders, *(case.engine.banks if len(case.engine.banks) > 1 else ())]


def _about(case: Case) -> dict[str, str]:
    return {
        "title": case.title,
        "distance": f"{case.distance_km:.10g} km" if case.distance_km is not None else "",
        "age": _age(case.age_years) if case.age_years is not None else "",
        "numbering": case.numbering or "",
    }


def _age(years: float) -> str:
    """An age as it is typed, and taken again for the same: `11 years`, `11 years 4 months`."""
    whole, months = divmod(round(12 * years), 12)
    if not months or abs(12 * years - 12 * whole - months) > 1e-6 or float(f"{years:.3g}") == years:
        return f"{counted(years):year|years}"
    parts = [f"{counted(whole):year|years}"] if whole else []
    return " ".join([*parts, f"{counted(months):month|months}"])


def _numberings(knowledge: Knowledge) -> dict[str, str]:
    """The states that may be told, in words."""
    states = knowledge.components[NUMBERING].states if NUMBERING in knowledge.components else {}
    return {state: states[state].plain or states[state].name for state in numbering_words(knowledge).values()}


def _work_fields(case: Case, change: int) -> dict[str, tuple[str, ...]]:
    """The fields of the work that is to be changed; empty ones for none."""
    if not 1 <= change <= len(case.history):
        return {}
    work = case.history[change - 1]
    return {
        "repair": (work.repair,),
        "at": (str(work.place),) if work.place is not None else (),
        "other": (str(work.other),) if work.other is not None else (),
        "months": (_ago(work.months_ago),) if work.months_ago is not None else (),
        "km": (f"{work.km_ago:.10g} km",) if work.km_ago is not None else (),
        "helped": tuple(word for word, helped in one_word_each(HELPED).items() if helped == work.helped),
        "but": work.but,
        "note": (work.note,),
    }


def _ago(months: float) -> str:
    """`3 weeks` where that is a whole number and months are not."""
    weeks = convert(months, "months", "weeks")
    whole = abs(weeks - round(weeks)) < 1e-6 and abs(months - round(months)) > 1e-6
    if whole:
        return f"{counted(f'{weeks:.4g}'):week|weeks}"
    return f"{counted(f'{months:.4g}'):month|months}"


def _codes(case: Case) -> dict[str, str]:
    """The ledger as the fields of its form."""
    known = {entry.cylinder: entry for entry in case.trim_codes}
    return {
        f"{name}:{cylinder}": _written(getattr(known.get(cylinder, TrimCode(cylinder)), name))
        for cylinder in case.engine.cylinders
        for name in TRIM
    }


def _written(code: str | None) -> str:
    return "" if code is None else code or "none"


def _ledger(knowledge: Knowledge, case: Case) -> tuple[Block, ...]:
    """What the codes say, without the heading."""
    return ledger_blocks(trim_ledger(knowledge, case))[1:]


def _before(visit: Visit, kept: Kept) -> dict[str, object]:
    """The cases that this one came back from and those that came back from it, and what it may be linked to."""
    book = visit.shop.keeping.book
    linked = [number_of(book, link.uid) for link in kept.standing.links]
    rows = visit.shop.keeping.shown(find_cases(book, Wanted(is_open=False, most=MOST_EARLIER)))
    same_first = sorted(rows, key=lambda row: row.engine != kept.standing.draft.engine_id)
    return {
        "linked": linked,
        "earlier": [row for row in same_first if row.number != kept.number and row.number not in linked],
        "later": come_backs_of(book, kept.uid),
    }


def _tried(sent: SentForm, number: int, form: str, do: Callable[[], Response], change: int = 0) -> Response:
    """Do it, or show the page again with what was typed and what is the matter with it."""
    try:
        return do()
    except Clash:
        raise
    except DiagError as error:
        return _page(sent.visit, number, change, Wrong(form, sent.fields, lines_of(error)))


@router.post("/case/{number}/vehicle")
def keep_vehicle(sent: Sent, number: Number) -> Response:
    """What the vehicle is, how far and how old, and how its control unit numbers the cylinders."""
    knowledge = sent.visit.shop.knowledge
    title = printable(sent.word("title"))

    def deed(case: Case) -> Case:
        distance, age = with_unit(sent.word("distance"), "km"), with_unit(sent.word("age"), "years")
        told = with_numbering(with_vehicle(case, knowledge, distance, age), knowledge, sent.word("numbering"))
        return replace(told, title=title) if title else told

    return _tried(sent, number, "vehicle", lambda: done(tell(sent, number, deed), f"/case/{number}/vehicle"))


@router.post("/case/{number}/history")
def keep_history(sent: Sent, number: Number) -> Response:
    """Work before the case: added, changed (`which`, counted from 1), or taken out (`remove`)."""
    knowledge, which = sent.visit.shop.knowledge, sent.word("remove") or sent.word("which") or "0"
    at = int(which) - 1 if which.isascii() and which.isdecimal() and len(which) < 5 else -2

    def deed(case: Case) -> Case:
        works = () if sent.word("remove") else history_told(case, knowledge, _told(sent, knowledge, case))
        if at == -1:
            return with_history(case, knowledge, (*case.history, *works))
        if not 0 <= at < len(case.history):
            raise UsageError(VEHICLE["gone"])
        return with_history(case, knowledge, (*case.history[:at], *works, *case.history[at + 1 :]))

    act = lambda: done(tell(sent, number, deed), f"/case/{number}/vehicle")  # noqa: E731
    return _tried(sent, number, "history", act, change=at + 1)


def _told(sent: SentForm, knowledge: Knowledge, case: Case) -> dict[Key, Tree]:
    """The form as an entry of `history:`. Raises UsageError where it does not say what or where."""
    repair = sent.word("repair")
    if repair not in knowledge.repairs:
        raise UsageError("choose the work of the list")
    known = knowledge.repairs[repair]
    entry: dict[Key, Tree] = {"did": repair}
    ticked = sent.fields.get("at", ())
    wanted: list[Tree] = [int(each) for each in ticked if each.isdecimal()]
    if known.on == "bank":
        wanted = [each for each in ticked if each in case.engine.banks]
        wanted = wanted or (list(case.engine.banks) if len(case.engine.banks) == 1 else [])
    if known.on != "vehicle":
        if not wanted:
            raise UsageError(VEHICLE[f"which_{known.on}"])
        entry[known.on] = wanted
    if known.moves:
        if len(wanted) != 1 or not sent.word("other"):
            raise UsageError(VEHICLE["two"])
        entry["with"] = int(sent.word("other")) if sent.word("other").isdecimal() else sent.word("other")
    ago: list[Tree] = [with_unit(sent.word(name), unit) for name, unit in (("months", "months"), ("km", "km"))]
    if any(ago):
        entry["ago"] = [each for each in ago if each]
    for name in ("helped", "note"):
        if sent.word(name):
            entry[name] = printable(sent.word(name))[:LONGEST_NOTE]
    lapses: list[Tree] = list(lapses_ticked(sent, knowledge, repair))
    return entry | ({"but": lapses} if lapses else {})


@router.post("/case/{number}/trim")
def keep_codes(sent: Sent, number: Number) -> Response:
    """The ledger of trim codes, all of it."""
    knowledge = sent.visit.shop.knowledge

    def deed(case: Case) -> Case:
        told = {
            cylinder: {name: sent.word(f"{name}:{cylinder}") for name in TRIM} for cylinder in case.engine.cylinders
        }
        return with_trim_codes(case, knowledge, told)

    return _tried(sent, number, "trim", lambda: done(tell(sent, number, deed), f"/case/{number}/vehicle"))


@router.post("/case/{number}/earlier")
def link_earlier(sent: Sent, number: Number) -> Response:
    """Note that this case is a come-back of an earlier, closed one."""

    def act() -> Response:
        book, chosen = sent.visit.shop.keeping.book, sent.word("earlier")
        if not (chosen.isascii() and chosen.isdecimal() and len(chosen) <= 9):
            raise UsageError(VEHICLE["not_here"])
        before, kept = read_kept(book, int(chosen)), read_kept(book, number)
        if before.number == number:
            raise UsageError(VEHICLE["itself"])
        if before.standing.outcome is None:
            raise UsageError(VEHICLE["not_closed"].format(number=before.number))
        if goes_back_to(book, before.uid, kept.uid):
            raise UsageError(VEHICLE["round"].format(number=before.number))
        if Linked(before.uid) in kept.standing.links:
            raise UsageError(VEHICLE["linked_already"].format(number=before.number))
        sent.visit.shop.keeping.add(number, sent.number("on"), (Linked(before.uid),), sent.visit.by)
        return back_to(f"/case/{number}/vehicle", "taken")

    return _tried(sent, number, "earlier", act)
