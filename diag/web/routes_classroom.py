"""The classroom: the trainer opens a class, trainees play its cases, and look back at each once they have ended it.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Future
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import UsageError
from diag.report import class_blocks, complaint_words, debrief_blocks, told_items, trainee_pdf
from diag.web.asking import Number, Sent, SentForm, Visit, Visited, place_from
from diag.web.guard import Refused
from diag.web.pages import UNFIT, back_to, lines_of, page
from diag.web.reckoner import PATIENCE_S, Busy
from diag.web.schooling import MOST_CASES, SECRET_BYTES, Held, Looking, School, Wanted, moment
from diag.web.trainers import began
from diag.web.words import PROBLEMS
from diag.web.words_classroom import CLASSROOM

__all__ = ["router"]

router = APIRouter(include_in_schema=False)
HERE = ("127.0.0.1", "::1", "testclient")
TRAINER, SEAT = "diag_trainer", "diag_seat"  # cookies of the classroom alone; their secrets outlive the server
KEPT_S = 90 * 24 * 3600
MOST_WORDS = 2000
GRADES = range(1, 6)
CHOICES = ("study", "book", "again")
Fields = Mapping[str, tuple[str, ...]]


def _school(visit: Visit) -> School:
    school: School = visit.request.app.state.school
    return school


def _seat(visit: Visit) -> str:
    return visit.request.cookies.get(SEAT, "")[:200]


def _trainer(visit: Visit) -> str:
    return visit.request.cookies.get(TRAINER, "")[:200]


def _at_the_machine(visit: Visit) -> bool:
    """Whether the class may be opened from here: at the machine that serves the page."""
    return visit.request.client is not None and visit.request.client.host in HERE


def _address(visit: Visit) -> str:
    return visit.request.client.host if visit.request.client is not None else "nobody"


def _is_trainer(visit: Visit) -> bool:
    return _school(visit).is_trainer(_trainer(visit))


def _only_the_trainer(visit: Visit) -> None:
    if not _is_trainer(visit):
        raise Refused(403, "trainer_only")


def _with_cookie(visit: Visit, answer: Response, name: str, token: str) -> Response:
    secure = visit.shop.settings.secure
    answer.set_cookie(name, token, KEPT_S, path="/classroom", secure=secure, httponly=True, samesite="strict")
    return answer


@router.get("/classroom")
def classroom(visit: Visited, said: str = "") -> Response:
    """For the trainer the class; for a trainee the way to a seat."""
    return _classroom(visit, said)


def _classroom(visit: Visit, said: str = "", typed: Fields | None = None, wrong: Sequence[str] = ()) -> Response:
    """The same; where a class cannot be opened, with what is the matter and with all that was typed and ticked."""
    school = _school(visit)
    held = school.held_now()
    trainer = _is_trainer(visit)
    making = school.making_for(_trainer(visit))
    may_open = _at_the_machine(visit) and (held is None or trainer) and not making
    may_take_over = held is not None and held.returned and not trainer
    if may_take_over:
        school.code.draw()
    name = school.name_of(_seat(visit))
    return page(
        visit,
        "classroom.html",
        CLASSROOM["title"],
        422 if wrong else 200,
        words=CLASSROOM,
        said=said,
        typed=typed or {},
        wrong=wrong,
        held=held is not None,
        making=making,
        trouble=school.trouble if may_open else "",
        may_open=may_open,
        may_take_over=may_take_over,
        trainer=trainer,
        seated=name,
        ended=_ended(visit),
        seats=_seats(held) if held is not None and trainer else [],
        cases=_cases(visit, held) if held is not None and trainer else [],
        count=len(held.course.cases) if held is not None else 0,
        currency=visit.shop.knowledge.prices.currency,
        **(_offers(visit) if may_open else {}),
    )


def _seats(held: Held) -> list[dict[str, Any]]:
    """For the trainer: how far everybody is, at the case that they are at."""
    found = []
    for name in held.course.trainees:
        mine = [each for each in held.course.sittings if each.trainee == name]
        at = max(mine, key=lambda each: each.number)
        play = at.journal.seat.play
        found.append(
            {"name": name, "number": at.number, "play": play, "away": name.casefold() not in held.seats}
            | {"ended": sum(each.journal.seat.play.ended for each in mine)}
        )
    return found


def _cases(visit: Visit, held: Held) -> list[str]:
    """For the trainer: what the customers of the cases tell."""
    knowledge = visit.shop.knowledge
    practices = [seat.play.practice for seat in held.course.cases]
    return [each.title or complaint_words(knowledge, each.start) for each in practices]


def _ended(visit: Visit, but: int = 0) -> list[tuple[int, str]]:
    """For a trainee: the cases that they may look back at, all but one of them, with what their customers tell."""
    ended = [each for each in _school(visit).ended_of(_seat(visit)) if each.number != but]
    practices = [(each.number, each.journal.seat.play.practice) for each in ended]
    return [(number, each.title or complaint_words(visit.shop.knowledge, each.start)) for number, each in practices]


def _offers(visit: Visit) -> dict[str, Any]:
    """What a class can be made of."""
    school, knowledge = _school(visit), visit.shop.knowledge
    closed, earlier = school.of_book(), school.earlier()
    mine = [each for each in earlier if began(_trainer(visit), each.folder)]
    if len(mine) < len(earlier):
        school.code.draw()
    return {
        "studies": school.offered(),
        "closed": [(each, ", ".join(knowledge.findings[item].name for item in each.complaint)) for each in closed],
        "earlier": earlier,
        "mine": mine,
        "engines": {id_: engine.name for id_, engine in knowledge.engines.items()},
        "faults": {id_: each.name for id_, each in knowledge.components.items() if each.fault},
        "grades": GRADES,
        "most": MOST_CASES,
    }


@router.post("/classroom/open")
def open_class(sent: Sent) -> Response:
    """Open a class; only at the machine, and only the trainer may end one that is held."""
    token = _may_open(sent.visit)
    try:
        return _opened(sent, token)
    except UNFIT as error:
        return _classroom(sent.visit, typed=sent.fields, wrong=lines_of(error))


def _opened(sent: SentForm, token: str) -> Response:
    studies, book, again = (tuple(each for each in sent.fields.get(name, ()) if each) for name in CHOICES)
    wanted = Wanted(studies, book, _wishes(sent), again)
    is_open = _school(sent.visit).open(token, wanted)
    return _with_cookie(sent.visit, back_to("/classroom", "class_open" if is_open else ""), TRAINER, token)


def _may_open(visit: Visit) -> str:
    """The trainer's secret, drawn where the browser has none. Raises Refused and UsageError where it may not."""
    if not _at_the_machine(visit):
        raise Refused(403, "not_here")
    if _school(visit).held_now() is not None and not _is_trainer(visit):
        raise UsageError("a class is held by another browser; it ends there")
    return _trainer(visit) or secrets.token_urlsafe(SECRET_BYTES)


def _wishes(sent: SentForm) -> tuple[str, ...]:
    """The wish as `diag practice` writes it, once for each vehicle. Raises UsageError."""
    engine, known = sent.word("engine"), sent.visit.shop.knowledge
    if not engine:
        return ()
    if engine not in known.engines:
        raise UsageError("choose an engine of the list")
    count = sent.number("count")
    if count > MOST_CASES:
        raise UsageError(f"a class has at most {MOST_CASES} cases; choose fewer")
    parts = [f"faults={sent.word('faults', '1')}"]
    if sent.word("fault"):
        if sent.word("fault") not in known.components:
            raise UsageError("choose a fault of the list")
        parts.append(f"fault={sent.word('fault')}")
    parts += [f"{name}={sent.word(name)}" for name in ("grade", "misleading") if sent.word(name)]
    parts += ["history=yes"] if sent.word("history") else []
    if any("," in part for part in parts):
        raise UsageError("choose what the wish says from the lists")
    return tuple(",".join((f"{engine}#{number}", *parts)) for number in range(1, count + 1))


@router.post("/classroom/go-on")
def go_on(sent: Sent) -> Response:
    """Take an earlier class up again."""
    token = _may_open(sent.visit)
    _school(sent.visit).go_on_with(token, sent.word("class"), sent.word("code")[:40], _address(sent.visit))
    return _with_cookie(sent.visit, back_to("/classroom", "class_on"), TRAINER, token)


@router.post("/classroom/take-over")
def take_over(sent: Sent) -> Response:
    """Be the trainer of a class that goes on after a restart, where the trainer's own browser did not come back: by the
    code that stands where diag was started, from any device that was let in."""
    token = _trainer(sent.visit) or secrets.token_urlsafe(SECRET_BYTES)
    _school(sent.visit).take_over(token, sent.word("code")[:40], _address(sent.visit))
    return _with_cookie(sent.visit, back_to("/classroom", "class_on"), TRAINER, token)


@router.post("/classroom/end")
def end(sent: Sent) -> Response:
    """End the class."""
    _only_the_trainer(sent.visit)
    _school(sent.visit).end()
    return back_to("/classroom", "class_ended")


@router.post("/classroom/again")
def let_in_again(sent: Sent) -> Response:
    """Let a trainee who has another device now sit down again under the same name."""
    _only_the_trainer(sent.visit)
    _school(sent.visit).let_in_again(sent.word("name"))
    return back_to("/classroom", "seat_free")


# ---- trainees ----------------------------------------------------------------------------------------------------


@router.post("/classroom/join")
def join(sent: Sent) -> Response:
    """Take a seat."""
    school = _school(sent.visit)
    if school.name_of(_seat(sent.visit)) and not sent.word("name"):
        return back_to("/classroom/play")
    try:
        token = school.join(sent.word("name"))
    except UNFIT as error:
        return _classroom(sent.visit, typed=sent.fields, wrong=lines_of(error))
    return _with_cookie(sent.visit, back_to("/classroom/play"), SEAT, token)


@router.get("/classroom/play")
def play(visit: Visited, said: str = "") -> Response:
    """The case as the trainee knows it, with all that can be done."""
    return _play(visit, said)


def _play(visit: Visit, said: str = "", typed: Fields | None = None, wrong: Sequence[str] = ()) -> Response:
    """The same; where a step was refused, with what is the matter and with all that was typed and ticked."""
    knowledge, school = visit.shop.knowledge, _school(visit)
    sheet, sat = school.state(_seat(visit)), school.seat_of(_seat(visit))
    count = len(school.held().course.cases)
    places = [each for bank in sheet.case.banks for each in bank.cylinders]
    return page(
        visit,
        "play.html",
        sheet.case.title,
        422 if wrong else 200,
        words=CLASSROOM,
        said=said,
        typed=typed or {},
        wrong=wrong,
        sheet=sheet,
        number=sat.number,
        earlier=_ended(visit, sat.number),
        on=moment(sat),
        count=count,
        banks=len(sheet.case.banks),
        known=told_items(sheet.known, len(sheet.case.banks)),
        latest=told_items(sheet.latest, len(sheet.case.banks)),
        places=[*map(str, places), *([bank.letter for bank in sheet.case.banks] if len(sheet.case.banks) > 1 else [])],
        components={id_: each.name for id_, each in knowledge.components.items() if each.fault},
    )


def _or_again(step: Callable[[SentForm], Response], sent: SentForm) -> Response:
    """Do a step; one that is refused brings the case again with what was typed. Raises UsageError without a seat."""
    try:
        return step(sent)
    except UNFIT as error:
        return _play(sent.visit, typed=sent.fields, wrong=lines_of(error))


@router.post("/classroom/ask")
def ask(sent: Sent) -> Response:
    """Ask for a check: `check` is its id and place, with an @ between."""
    return _or_again(_asked, sent)


def _asked(sent: SentForm) -> Response:
    name, _, where = sent.word("check").partition("@")
    done = _school(sent.visit).ask(_seat(sent.visit), name, place_from(where or "vehicle"), sent.word("on"))
    return _back(done, "taken")


@router.post("/classroom/sure")
def sure(sent: Sent) -> Response:
    """Note how sure the trainee is of a fault."""
    return _or_again(_sure, sent)


def _sure(sent: SentForm) -> Response:
    from diag.training import Belief

    try:
        chance = float(sent.word("chance").replace(",", ".").rstrip("% ")) / 100.0
    except ValueError:
        raise UsageError("say how sure you are in per cent, such as 80") from None
    place = place_from(sent.word("place") or "vehicle")
    said = Belief(sent.word("component"), place, chance)
    return _back(_school(sent.visit).believe(_seat(sent.visit), said, sent.word("on")), "taken")


@router.post("/classroom/work")
def work(sent: Sent) -> Response:
    """Fit what is ticked for a trial, or make it the plan that ends the case."""
    return _or_again(_worked, sent)


def _worked(sent: SentForm) -> Response:
    school, token = _school(sent.visit), _seat(sent.visit)
    if sent.word("how") == "fit":
        return _back(school.fit(token, _ticked(sent), sent.word("on")), "taken")
    done = school.decide(token, _ticked(sent), sent.word("told")[:MOST_WORDS], sent.word("on"))
    return _back(done, "ended")


def _back(done: bool, said: str) -> Response:
    """Back to the case; where a form came from a page that was older than the case, that is said."""
    return back_to("/classroom/play", said if done else "older")


def _ticked(sent: SentForm) -> tuple[str, ...]:
    """The work that is ticked, as `reseal@2`."""
    return tuple(each.removesuffix("@vehicle") for each in sent.fields.get("job", ()))


@router.post("/classroom/next")
def next_case(sent: Sent) -> Response:
    """Go on to the next case of the class."""
    _school(sent.visit).move_on(_seat(sent.visit))
    return back_to("/classroom/play")


# ---- looking back ------------------------------------------------------------------------------------------------


@router.get("/classroom/debrief")
def debrief(visit: Visited, case: int = 0) -> Response:
    """The look back at one's own case, once it has ended; `case`: which, without it the last one."""
    made, more = _looked(visit, _school(visit).debrief(_seat(visit), case))
    paper = "/classroom/debrief.pdf" + (f"?case={case}" if case else "")
    blocks = None if made is None else debrief_blocks(made)
    return _looked_back(visit, CLASSROOM["debrief"], blocks, [(CLASSROOM["own_pdf"], paper)], more)


@router.get("/classroom/debrief.pdf")
def debrief_paper(visit: Visited, case: int = 0) -> Response:
    """The same to be printed."""
    made = _patiently(_school(visit).debrief(_seat(visit), case))
    return _file(trainee_pdf(made.trainee, (made,)), "application/pdf", "looking-back.pdf")


@router.get("/classroom/class")
def compared(visit: Visited) -> Response:
    """All trainees beside each other: for the trainer alone, as it tells what was wrong."""
    _only_the_trainer(visit)
    made, more = _looked(visit, _school(visit).compared())
    papers = [(CLASSROOM["csv"], "/classroom/class.csv")]
    papers += [
        (CLASSROOM["trainee_pdf"].format(name=each.trainee), f"/classroom/trainee/{number}.pdf")
        for number, each in enumerate(made.papers if made is not None else (), start=1)
    ]
    blocks = None if made is None else class_blocks(made.sheet)
    return _looked_back(visit, CLASSROOM["class"], blocks, papers, more)


@router.get("/classroom/class.csv")
def class_table(visit: Visited) -> Response:
    """Every choice of everybody, for the trainer alone."""
    _only_the_trainer(visit)
    made = _patiently(_school(visit).compared())
    return _file(made.csv.encode(), "text/csv; charset=utf-8", "class.csv", keep=True)


@router.get("/classroom/trainee/{number}.pdf")
def trainee_paper(visit: Visited, number: Number) -> Response:
    """What is printed for one trainee, for the trainer alone."""
    _only_the_trainer(visit)
    made = _patiently(_school(visit).compared())
    if number > len(made.papers):
        raise UsageError("so many trainees have not ended a case yet")
    paper = made.papers[number - 1]
    return _file(trainee_pdf(paper.trainee, paper.cases, paper.before), "application/pdf", f"{paper.file}.pdf")


def _looked(visit: Visit, looking: Looking) -> tuple[Any, bool]:
    """What there is to see by now, none where the page has to look again; and whether the doubt of the numbers is still
    being drawn."""
    if looking.in_doubt is not None and _there(looking.in_doubt):
        return looking.in_doubt.result(), False
    try:
        return looking.at_once.result(visit.shop.settings.page_wait_s), True
    except (TimeoutError, CancelledError, BrokenExecutor):
        return None, True


def _patiently(looking: Looking) -> Any:
    """The same for a paper, waited for. Raises Busy where it takes too long."""
    if looking.in_doubt is not None and _there(looking.in_doubt):
        return looking.in_doubt.result()
    try:
        return looking.at_once.result(PATIENCE_S)
    except (TimeoutError, CancelledError, BrokenExecutor):
        raise Busy(PROBLEMS["busy"]) from None


def _there(future: Future[Any]) -> bool:
    """Whether it was worked out. What went wrong there is told by the quicker one, or is not needed."""
    return future.done() and not future.cancelled() and future.exception() is None


def _file(content: bytes, media: str, name: str, keep: bool = False) -> Response:
    """A file: shown by the browser, or kept by it (`keep`)."""
    how = "attachment" if keep else "inline"
    return Response(content, media_type=media, headers={"content-disposition": f'{how}; filename="{name}"'})


def _looked_back(visit: Visit, title: str, blocks: object, papers: Sequence[tuple[str, str]], more: bool) -> Response:
    return page(visit, "looking_back.html", title, words=CLASSROOM, blocks=blocks, papers=papers, more=more)
