"""The list of cases, and beginning one. May import: fastapi, the rooms below, and the room below."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from fastapi import APIRouter
from starlette.background import BackgroundTask
from starlette.responses import Response

from diag.basics import CaseError, Problem, UsageError
from diag.casebook import Case, demo_cases, load_case, read_case
from diag.knowledge_base import Knowledge
from diag.store import CaseRow, Wanted, find_cases
from diag.web.asking import Sent, Visit, Visited
from diag.web.pages import UNFIT, back_to, lines_of, page
from diag.web.typed import with_unit
from diag.web.words import SAY
from diag.web.words_cases import CASES

__all__ = ["new_case", "printable", "router"]

router = APIRouter(include_in_schema=False)
MOST = 60
LONGEST = 120
LONGEST_TITLE = 200
_DEMOS: dict[int, tuple[Knowledge, list[tuple[str, str, str]]]] = {}


@dataclass(frozen=True)
class Found:
    """Cases of a list, and whether it leaves some out because there are so many."""

    rows: tuple[CaseRow, ...]
    more: bool


@router.get("/")
def cases(
    visit: Visited, said: str = "", words: str = "", engine: str = "", state: str = "", found: str = ""
) -> Response:
    """The cases of the book, newest first, or those that are looked for, and the ways to begin one."""
    asked = {"words": words[:LONGEST].strip(), "engine": engine[:LONGEST], "found": found[:LONGEST]}
    made = _page(visit, asked, state, said)
    made.background = BackgroundTask(visit.shop.reckoner.warm)  # as soon as it stands
    return made


def _page(
    visit: Visit, asked: Mapping[str, str], state: str = "", said: str = "",
    typed: Mapping[str, str] | None = None, wrong: tuple[str, ...] = (),
) -> Response:  # fmt: skip
    """`typed`: what was typed of a new case and cannot be taken, and `wrong` why."""
    open_cases, closed_cases = (
        _found(visit, Wanted(**asked, is_open=is_open, most=MOST)) if state != other else Found((), False)
        for is_open, other in ((True, "closed"), (False, "open"))
    )
    return page(
        visit,
        "cases.html",
        SAY["cases_title"],
        422 if wrong else 200,
        said=said,
        typed=typed or {},
        wrong=wrong,
        asked={**asked, "state": state},
        searched=bool(state or any(asked.values())),
        most=MOST,
        words=CASES,
        faults={id_: each.name for id_, each in visit.shop.knowledge.components.items() if each.fault},
        open_cases=open_cases,
        closed_cases=closed_cases,
        engines={id_: engine.name for id_, engine in visit.shop.knowledge.engines.items()},
        demos=_demos(visit.shop.knowledge),
    )


def _found(visit: Visit, wanted: Wanted) -> Found:
    """Open and closed ones are looked for apart, so that many of the ones never push out the others."""
    keeping = visit.shop.keeping
    rows = find_cases(keeping.book, replace(wanted, most=wanted.most + 1))
    return Found(tuple(keeping.shown(rows[: wanted.most])), len(rows) > wanted.most)


def _demos(knowledge: Knowledge) -> list[tuple[str, str, str]]:
    """Name, title and engine of each invented case, read once for the knowledge that is served."""
    found = _DEMOS.get(id(knowledge))
    if found is None or found[0] is not knowledge:
        found = _DEMOS[id(knowledge)] = (knowledge, _demos_read(knowledge))
    return found[1]


def _demos_read(knowledge: Knowledge) -> list[tuple[str, str, str]]:
    found = []
    for name, path in demo_cases().items():
        try:
            case = load_case(path, knowledge)
        except CaseError:  # another knowledge may lack what a demo case speaks of
            continue
        found.append((name, case.title, case.engine.name))
    return found


@router.post("/cases/new")
def begin(sent: Sent) -> Response:
    """Begin a case from its title, engine, distance and age."""
    visit, typed = sent.visit, {name: sent.word(name) for name in ("title", "engine", "distance", "age")}
    try:
        case = new_case(visit.shop.knowledge, **typed)
    except UNFIT as error:
        return _page(visit, {"words": "", "engine": "", "found": ""}, typed=typed, wrong=lines_of(error))
    kept = visit.shop.keeping.begin(case, visit.by)
    visit.shop.liken(kept, case)
    return back_to(f"/case/{kept.number}", "begun")


@router.post("/cases/demo")
def take_demo(sent: Sent) -> Response:
    """Take an invented case into the book."""
    name, demos = sent.word("demo"), demo_cases()
    if name not in demos:
        raise UsageError("there is no invented case of that name")
    case = load_case(demos[name], sent.visit.shop.knowledge)
    kept = sent.visit.shop.keeping.begin(case, sent.visit.by)
    sent.visit.shop.liken(kept, case)
    return back_to(f"/case/{kept.number}", "begun")


def new_case(knowledge: Knowledge, title: str, engine: str, distance: str = "", age: str = "") -> Case:
    """A case from what was typed, read by the words and limits of a case file. Raises UsageError, CaseError."""
    if not title:
        raise UsageError("the case has no title yet; say in a few words which vehicle it is and what it came with")
    if engine not in knowledge.engines:
        raise UsageError("choose an engine of the list")
    lines = [f"engine: {_quoted(engine)}"]
    lines += [f"distance: {_quoted(with_unit(distance, 'km'))}"] if distance else []
    lines += [f"age: {_quoted(with_unit(age, 'years'))}"] if age else []
    try:
        read = read_case(Path("page"), knowledge, "\n".join(lines) + "\n")
    except CaseError as error:
        raise CaseError([Problem("", 0, 0, each.message, each.hint) for each in error.problems]) from None
    return replace(read, title=printable(title))


def printable(text: str) -> str:
    """Text on one line, of the length of a title."""
    return "".join(character for character in text if character.isprintable())[:LONGEST_TITLE]


def _quoted(text: str) -> str:
    """Text between the single quotes of YAML, on one line."""
    doubled = "".join(character for character in text if character.isprintable()).replace("'", "''")
    return f"'{doubled}'"
