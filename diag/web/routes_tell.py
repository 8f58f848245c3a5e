"""Telling: answers and readings at a place, codes, repairs tried, what stands open, and notes of the head.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import Place, UsageError
from diag.casebook import (
    FAULTS,
    HELPED,
    Case,
    CodeRead,
    Work,
    codes_told,
    findings_after_exchange,
    is_code,
    lapses_at,
    lapses_named,
    place_words,
    with_access,
    with_answer,
    with_codes,
    with_helped,
    with_measured,
    with_work,
    without_answer,
)
from diag.knowledge_base import Knowledge
from diag.report import cautions_of, danger_cautions
from diag.web.asking import Number, Sent, SentForm, Visit, Visited, place_from, place_to
from diag.web.casepage import believed, case_page, last_entry
from diag.web.fragments import questions_of
from diag.web.keeping import Written
from diag.web.maps import engine_drawing
from diag.web.pages import UNFIT, back_to, lines_of
from diag.web.questions import asked_at, asked_of, soft_answers
from diag.web.typed import reading_typed
from diag.web.words import SAY

__all__ = [
    "done",
    "lapses_ticked",
    "one_word_each",
    "router",
    "tell",
    "told_in_bay",
    "with_answer_sent",
    "with_value_sent",
]

router = APIRouter(include_in_schema=False)
Deed = Callable[[Case], Case]
CLEAR = "clear"


def tell(sent: SentForm, number: int, deed: Deed, for_bay: bool = False) -> Written:
    """Do a deed to a case, once it is known that the case can be so. `for_bay`: the bay is shown next, so what it shows
    is begun beside that. Raises ImpossibleEvidence, Clash, UsageError."""
    shop = sent.visit.shop

    def possible(case: Case) -> None:
        if for_bay:
            shop.reckoner.begin_bay(number, case)
        shop.possible(case)

    written = shop.keeping.write(number, sent.number("on"), deed, sent.visit.by, possible)
    shop.liken(written.kept, written.case)
    return written


def done(written: Written, address: str) -> Response:
    """Go on after writing, saying what became of it."""
    if not written.changed:
        return back_to(address, "unchanged")
    return back_to(address, "added_to_others" if written.others else "taken")


def told_in_bay(sent: SentForm, number: int, deed: Deed) -> Response:
    """Do a deed and go on in the bay, whose checks are begun meanwhile."""
    return done(tell(sent, number, deed, for_bay=True), f"/case/{number}")


@router.get("/case/{number}/at/{where}")
def at_place(visit: Visited, number: Number, where: str) -> Response:
    """What can be told at a cylinder, a bank, or of the whole vehicle."""
    return _at_page(visit, number, place_from(where))


def _at_page(visit: Visit, number: int, place: Place, wrong: tuple[str, ...] = (), codes: str = "") -> Response:
    """`wrong`: why what was told there cannot be taken; `codes`: those that were typed."""
    kept, case = visit.shop.keeping.read(number)
    if not _has(case, place):
        raise UsageError(f"this engine has no {place_words(place)}")
    belief = believed(visit, kept, case)
    mine = [line for line in belief.shown if line.fault.place == place]
    return case_page(
        visit,
        "at.html",
        kept,
        case,
        422 if wrong else 200,
        wrong=wrong,
        codes=codes,
        where=place,
        groups=asked_at(visit.shop.knowledge, case, place, _worth_most(visit, case)),
        question=questions_of(
            visit.session.token if visit.session is not None else "",
            number,
            kept.revision,
            soft_answers(visit.shop.knowledge),
            _dangers(visit.shop.knowledge),
            kept.standing.outcome is None,
        ),
        drawing=engine_drawing(case, belief.sheet),
        belief=belief,
        last=last_entry(visit, kept, case),
        mine=mine,
        reads_codes=place is None,
        codes_read=[_code_words(each) for each in case.epochs[-1].codes],
    )


def _code_words(read: CodeRead) -> str:
    """`P0201 0x2E, intermittent`."""
    code = read.code if read.status is None else f"{read.code} 0x{read.status:02X}"
    return f"{code}, {SAY[f'code_{read.state}']}"


def _dangers(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    """The cautions of each finding that is dangerous."""
    findings = knowledge.findings.items()
    return {item: tuple(danger_cautions(knowledge, [finding])) for item, finding in findings if finding.danger}


def _has(case: Case, place: Place) -> bool:
    return place is None or place in case.engine.cylinders or place in case.engine.banks


def _worth_most(visit: Visit, case: Case) -> list[str]:
    """The checks that are worth most, where they are known already; nobody waits for it here."""
    ranking = visit.shop.reckoner.known("checks", case)
    return [line.check for line in ranking.checks] if ranking is not None else []


@router.post("/case/{number}/tell")
def tell_answer(sent: Sent, number: Number) -> Response:
    """One answer; `clear` takes it out again."""
    place = place_from(sent.word("place"))
    deed = with_answer_sent(sent, sent.word("item"), place, sent.word("under"), sent.word("answer"))
    return _told_at(sent, number, place, deed)


def _told_at(sent: SentForm, number: int, place: Place, deed: Deed) -> Response:
    """Back to the place at which it was told; with what is the matter where it cannot be taken."""
    try:
        return done(tell(sent, number, deed), f"/case/{number}/at/{place_to(place)}")
    except UNFIT as error:
        if not _has(sent.visit.shop.keeping.read(number)[1], place):
            raise
        return _at_page(sent.visit, number, place, lines_of(error), sent.word("codes"))


def with_answer_sent(sent: SentForm, item: str, place: Place, under: str, answer: str) -> Deed:
    """The deed of one answer."""
    knowledge = sent.visit.shop.knowledge

    def deed(case: Case) -> Case:
        asked_of(knowledge, case, item, place, under)
        if answer == CLEAR:
            return without_answer(case, item, place, under or None)
        return with_answer(case, knowledge, item, place, answer.replace("_", " "), under or None)

    return deed


@router.get("/case/{number}/pad/{item}/{where}")
def pad(visit: Visited, number: Number, item: str, where: str, under: str = "", back: str = "") -> Response:
    """A number pad for one reading."""
    return _pad_page(visit, number, item, place_from(where), under)


def _pad_page(
    visit: Visit, number: int, item: str, place: Place, under: str,
    typed: Mapping[str, tuple[str, ...]] | None = None, wrong: tuple[str, ...] = (),
) -> Response:  # fmt: skip
    """`typed`: what was typed and cannot be taken, and `wrong` why."""
    kept, case = visit.shop.keeping.read(number)
    asked = asked_of(visit.shop.knowledge, case, item, place, under)
    if not asked.reading:
        raise UsageError("this is no reading")
    return case_page(visit, "pad.html", kept, case, 422 if wrong else 200, asked=asked, typed=typed or {}, wrong=wrong)


@router.post("/case/{number}/measure")
def measure(sent: Sent, number: Number) -> Response:
    """One reading; several of the same stand beside each other, until they are cleared."""
    place = place_from(sent.word("place"))
    item, under = sent.word("item"), sent.word("under")
    if sent.word("clear"):
        return _told_at(sent, number, place, with_answer_sent(sent, item, place, under, CLEAR))

    def deed(case: Case) -> Case:
        return with_value_sent(sent, item, place, under, _value(sent))(case)

    if "hx-request" in sent.visit.request.headers:  # then its field stays on the page with what was typed
        return _told_at(sent, number, place, deed)
    try:
        return done(tell(sent, number, deed), f"/case/{number}/at/{place_to(place)}")
    except UNFIT as error:
        return _pad_page(sent.visit, number, item, place, under, sent.fields, lines_of(error))


def _value(sent: SentForm) -> str:
    bound = sent.word("bound")
    if bound not in ("", "above", "below"):
        raise UsageError("a bound is above or below")
    if not sent.word("value"):
        raise UsageError(SAY["reading_none"])
    return f"{bound} {reading_typed(sent.word('value'), sent.word('unit'))}".strip()


def with_value_sent(sent: SentForm, item: str, place: Place, under: str, text: str) -> Deed:
    """The deed of one reading, as `180 bar`."""
    knowledge = sent.visit.shop.knowledge

    def deed(case: Case) -> Case:
        asked_of(knowledge, case, item, place, under)
        return with_measured(case, knowledge, item, place, text, under or None)

    return deed


@router.post("/case/{number}/codes")
def codes(sent: Sent, number: Number) -> Response:
    """The codes that are stored. `all` says that nothing else is stored of the codes that the knowledge knows."""
    knowledge = sent.visit.shop.knowledge

    def deed(case: Case) -> Case:
        read = codes_told(sent.word("codes"))
        whole = [item for item in knowledge.findings if is_code(knowledge, item)] if sent.word("all") else []
        if not read and not whole:
            raise UsageError(
                "write the codes that are stored, such as 'P0263 P0302 pending', or tick that nothing else is stored"
            )
        return with_codes(case, knowledge, whole, read)

    return _told_at(sent, number, None, deed)


@router.get("/case/{number}/tried")
def tried(visit: Visited, number: Number) -> Response:
    """What was tried, and whether it helped."""
    return _tried_page(visit, number)


def _tried_page(
    visit: Visit, number: int, typed: Mapping[str, tuple[str, ...]] | None = None, wrong: tuple[str, ...] = ()
) -> Response:
    """`typed`: what was typed and cannot be taken, and `wrong` why."""
    kept, case = visit.shop.keeping.read(number)
    knowledge = visit.shop.knowledge
    repairs = {id_: each for id_, each in knowledge.repairs.items() if each.kind != "way out"}
    return case_page(
        visit,
        "tried.html",
        kept,
        case,
        422 if wrong else 200,
        typed=typed or {},
        wrong=wrong,
        repairs=repairs,
        places=[*(case.engine.banks if len(case.engine.banks) > 1 else ()), *case.engine.cylinders],
        helped=one_word_each(HELPED),
        faults=one_word_each(FAULTS),
        lapses=lapses_at(knowledge, repairs),
        cautions_of={id_: cautions_of(knowledge, each) for id_, each in repairs.items()},
        last_work=case.epochs[-1].work,
    )


def one_word_each(words: Mapping[str, str]) -> dict[str, str]:
    """One word for each meaning, the first."""
    found: dict[str, str] = {}
    for word, meaning in words.items():
        found.setdefault(meaning, word)
    return {word: meaning for meaning, word in found.items()}


@router.post("/case/{number}/tried")
def try_work(sent: Sent, number: Number) -> Response:
    """Work that was done now: a new stretch of the case begins with it."""
    try:
        return _worked(sent, number)
    except UNFIT as error:
        return _tried_page(sent.visit, number, sent.fields, lines_of(error))


def _worked(sent: SentForm, number: int) -> Response:
    knowledge = sent.visit.shop.knowledge
    repair = sent.word("repair")
    if repair not in knowledge.repairs:
        raise UsageError("choose the work of the list")
    other = place_from(sent.word("other")) if sent.word("other") else None
    but = lapses_ticked(sent, knowledge, repair)

    def deed(case: Case) -> Case:
        places = _where_done(sent, knowledge, case, repair)
        works = [Work(repair, each, other=other if isinstance(other, int) else None, but=but) for each in places]
        return worked(case, knowledge, works, sent.word("helped"), sent.word("fault"))

    return told_in_bay(sent, number, deed)


def lapses_ticked(sent: SentForm, knowledge: Knowledge, repair: str) -> tuple[str, ...]:
    """What was ticked as left undone. Raises UsageError for what cannot be left undone at this work."""
    names = lapses_at(knowledge, knowledge.repairs)
    return lapses_named(
        knowledge, repair, ", ".join(names.get(each, each).lower() for each in sent.fields.get("but", ()))
    )


def _where_done(sent: SentForm, knowledge: Knowledge, case: Case, repair: str) -> list[Place]:
    """The places that were ticked for a work. Raises UsageError where they are too few or too many."""
    known = knowledge.repairs[repair]
    if known.on == "vehicle":
        return [None]
    ticked = [place_from(each) for each in dict.fromkeys(sent.fields.get("place", ()))]
    if not ticked and known.on == "bank" and len(case.engine.banks) == 1:
        ticked = list(case.engine.banks)
    if not ticked:
        raise UsageError(SAY[f"tried_which_{known.on}"])
    if known.moves and len(ticked) > 1:
        raise UsageError(SAY["tried_one"])
    return ticked


def worked(case: Case, knowledge: Knowledge, works: Sequence[Work], helped: str, fault: str) -> Case:
    """The case after work, with the word of whether it helped, or what became of the fault. Raises UsageError."""
    after = with_work(case, knowledge, works)
    if fault:
        if not knowledge.repairs[works[0].repair].moves:
            raise UsageError(SAY["tried_no_exchange"])
        if fault not in FAULTS:
            raise UsageError("say what became of the fault: moved, stayed or gone")
        answers = findings_after_exchange(knowledge, case.epochs, works[0], FAULTS[fault])
        if not answers:
            raise UsageError(
                "nothing was told yet by which the fault sits on one of the two cylinders; tell that first"
            )
        after = replace(after, epochs=(*after.epochs[:-1], replace(after.epochs[-1], answers=answers)))
    if not helped:
        return after
    if helped not in HELPED:
        raise UsageError("say whether it helped")
    return with_helped(after, knowledge, HELPED[helped])


@router.post("/case/{number}/helped")
def say_helped(sent: Sent, number: Number) -> Response:
    """Whether the latest work helped, told afterwards."""
    word, knowledge = sent.word("helped"), sent.visit.shop.knowledge
    if word not in HELPED:
        raise UsageError("say whether it helped")
    return told_in_bay(sent, number, lambda case: with_helped(case, knowledge, HELPED[word]))


@router.post("/case/{number}/cannot")
def cannot(sent: Sent, number: Number) -> Response:
    """A check that is not possible here, or (`again`) is possible after all."""
    check, again = sent.word("check"), bool(sent.word("again"))
    if check not in sent.visit.shop.knowledge.checks:
        raise UsageError("there is no such check")

    def deed(case: Case) -> Case:
        left = tuple(each for each in case.cannot if each != check)
        return replace(case, cannot=left if again else (*left, check))

    return told_in_bay(sent, number, deed)


@router.post("/case/{number}/shut")
def shut(sent: Sent, number: Number) -> Response:
    """All that was opened is closed again."""
    return told_in_bay(sent, number, lambda case: with_access(case, ()))
