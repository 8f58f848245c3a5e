"""The classroom: the trainer opens a class, trainees play the case, and look back once they have ended it.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import UsageError
from diag.report import class_blocks, debrief_blocks, told_items
from diag.web.asking import Sent, SentForm, Visit, Visited, place_from
from diag.web.guard import Refused
from diag.web.pages import back_to, page
from diag.web.schooling import School
from diag.web.words_classroom import CLASSROOM

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
HERE = ("127.0.0.1", "::1", "testclient")
MOST_WORDS = 2000


def _school(visit: Visit) -> School:
    school: School = visit.request.app.state.school
    return school


def _key(visit: Visit) -> str:
    if visit.session is None:
        raise Refused(403, "unpaired")
    return visit.session.key


def _at_the_machine(visit: Visit) -> bool:
    """Whether the class may be opened from here: at the machine that serves the page."""
    return visit.request.client is not None and visit.request.client.host in HERE


def _is_trainer(visit: Visit) -> bool:
    course = _school(visit).course
    return course is not None and course.trainer == _key(visit)


@router.get("/classroom")
def classroom(visit: Visited, said: str = "") -> Response:
    """For the trainer the class; for a trainee the way to a seat."""
    school = _school(visit)
    course = school.course
    trainer = _is_trainer(visit)
    return page(
        visit,
        "classroom.html",
        CLASSROOM["title"],
        words=CLASSROOM,
        said=said,
        held=course is not None,
        case_title=course.practice.title if course is not None else "",
        may_open=_at_the_machine(visit) and (course is None or trainer),
        trainer=trainer,
        seated=course is not None and _key(visit) in course.seats,
        studies=school.offered() if _at_the_machine(visit) and (course is None or trainer) else {},
        seats=list(course.seats.values()) if course is not None and trainer else [],
        currency=visit.shop.knowledge.prices.currency,
    )


@router.post("/classroom/open")
def open_class(sent: Sent) -> Response:
    """Open a class; only at the machine, and only the trainer may end one that is held."""
    visit = sent.visit
    if not _at_the_machine(visit):
        raise Refused(403, "not_here")
    if _school(visit).course is not None and not _is_trainer(visit):
        raise UsageError("a class is held by another browser; it ends there, or when the page is served anew")
    _school(visit).open(_key(visit), sent.word("study"))
    return back_to("/classroom", "class_open")


@router.post("/classroom/join")
def join(sent: Sent) -> Response:
    """Take a seat."""
    _school(sent.visit).join(_key(sent.visit), sent.word("name"))
    return back_to("/classroom/play")


@router.get("/classroom/play")
def play(visit: Visited, said: str = "") -> Response:
    """The case as the trainee knows it, with all that can be done."""
    knowledge = visit.shop.knowledge
    sheet = _school(visit).state(_key(visit))
    places = [each for bank in sheet.case.banks for each in bank.cylinders]
    return page(
        visit,
        "play.html",
        sheet.case.title,
        words=CLASSROOM,
        said=said,
        sheet=sheet,
        banks=len(sheet.case.banks),
        known=told_items(sheet.known, len(sheet.case.banks)),
        latest=told_items(sheet.latest, len(sheet.case.banks)),
        places=[*map(str, places), *([bank.letter for bank in sheet.case.banks] if len(sheet.case.banks) > 1 else [])],
        components={id_: each.name for id_, each in knowledge.components.items() if each.fault},
    )


@router.post("/classroom/ask")
def ask(sent: Sent) -> Response:
    """Ask for a check: `check` is its id and place, with an @ between."""
    name, _, where = sent.word("check").partition("@")
    _school(sent.visit).ask(_key(sent.visit), name, place_from(where or "vehicle"))
    return back_to("/classroom/play", "taken")


@router.post("/classroom/sure")
def sure(sent: Sent) -> Response:
    """Note how sure the trainee is of a fault."""
    from diag.training import Belief

    try:
        chance = float(sent.word("chance").replace(",", ".").rstrip("% ")) / 100.0
    except ValueError:
        raise UsageError("say how sure you are in per cent, such as 80") from None
    place = place_from(sent.word("place") or "vehicle")
    _school(sent.visit).believe(_key(sent.visit), Belief(sent.word("component"), place, chance))
    return back_to("/classroom/play", "taken")


@router.post("/classroom/work")
def work(sent: Sent) -> Response:
    """Fit what is ticked for a trial, or make it the plan that ends the case."""
    school, key = _school(sent.visit), _key(sent.visit)
    if sent.word("how") == "fit":
        school.fit(key, _ticked(sent))
        return back_to("/classroom/play", "taken")
    school.decide(key, _ticked(sent), sent.word("told")[:MOST_WORDS])
    return back_to("/classroom/play", "ended")


def _ticked(sent: SentForm) -> tuple[str, ...]:
    """The work that is ticked, as `reseal@2`."""
    return tuple(each.removesuffix("@vehicle") for each in sent.fields.get("job", ()))


@router.get("/classroom/debrief")
def debrief(visit: Visited) -> Response:
    """The look back at one's own case, once it has ended."""
    sheet = _school(visit).debrief(_key(visit))
    return page(visit, "looking_back.html", CLASSROOM["debrief"], words=CLASSROOM, blocks=debrief_blocks(sheet))


@router.get("/classroom/class")
def compared(visit: Visited) -> Response:
    """All trainees beside each other: for the trainer alone, as it tells what was wrong."""
    if not _is_trainer(visit):
        raise Refused(403, "trainer_only")
    blocks = class_blocks(_school(visit).compared())
    return page(visit, "looking_back.html", CLASSROOM["class"], words=CLASSROOM, blocks=blocks)
