"""The next checks: ranked, each with how it is done, its cautions, and its answers to fill in.

May import: fastapi, the rooms below, and the room below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce

from fastapi import APIRouter
from starlette.responses import Response

from diag.basics import DiagError, Place, UsageError, counted
from diag.casebook import Case, Question, codes_told, with_answer, with_check_open, with_codes, with_measured
from diag.knowledge_base import Knowledge
from diag.report import (
    CHECKS,
    Block,
    Cautions,
    CheckLine,
    Heading,
    Items,
    NextSheet,
    Sentence,
    at_place,
    cautions_of,
    check_blocks,
    closed_first_words,
    duration,
    money,
    nearest_sentence,
    net_with_second,
    next_blocks,
    stop_sentence,
    worth_sentence,
)
from diag.store import Kept
from diag.web.asking import Number, Sent, SentForm, Visit, Visited, place_from
from diag.web.casepage import PATIENT_S, case_page, patience_s
from diag.web.pages import UNFIT, lines_of
from diag.web.questions import Asked, asked_by_check, asked_of, soft_answers, told_lines
from diag.web.reckoner import key_of
from diag.web.routes_tell import told_in_bay
from diag.web.typed import reading_typed
from diag.web.words import SAY

__all__ = ["Ranking", "ranking", "router"]

router = APIRouter(include_in_schema=False)
SHOWN, IDLE_SHOWN = 6, 3  # how many are offered, and how many at least where fewer pay
Deed = Callable[[Case], Case]


class Slips(UsageError):  # noqa: N818  named by what it is
    """What is the matter with several fields of a form: the lines of each, by its name."""

    def __init__(self, lines: Mapping[str, tuple[str, ...]]) -> None:
        super().__init__(SAY["slips"].format(count=counted(len(lines))))
        self.lines = lines


@dataclass(frozen=True)
class Offer:
    """One check of the ranking as the bay shows it."""

    line: CheckLine
    title: str
    facts: str
    pays: bool
    together: float  # the net with the best second check after it, where the order goes by that; else 0


@dataclass(frozen=True)
class Ranking:
    """The next checks, or that they are still being worked out (`sheet` none), or why there are none."""

    key: str
    sheet: NextSheet | None
    trouble: str
    verdict: str
    offers: tuple[Offer, ...]
    cannot: tuple[tuple[str, str], ...]
    opened: tuple[str, ...]


def ranking(visit: Visit, kept: Kept, case: Case, wait: bool) -> Ranking:
    """The next checks of a case. They are worked out after the belief, by other processes; `wait`: until they are."""
    knowledge, reckoner = visit.shop.knowledge, visit.shop.reckoner
    future = reckoner.begun("checks", case, about=str(kept.number)) if wait else reckoner.begin_bay(kept.number, case)
    sheet, trouble = None, ""
    if wait or future.done():
        try:
            sheet = reckoner.checks(case)
        except DiagError as error:
            trouble = error.message
    kinds = knowledge.vocabulary.access
    return Ranking(
        key=key_of(case, knowledge)[:12],
        sheet=sheet,
        trouble=trouble,
        verdict=_verdict(sheet) if sheet is not None else "",
        offers=_offers(sheet) if sheet is not None else (),
        cannot=tuple((check, knowledge.checks[check].name) for check in case.cannot if check in knowledge.checks),
        opened=tuple(
            at_place(kinds[kind].name, bank, len(case.engine.banks)) for kind, bank in case.open_access if kind in kinds
        ),
    )


def _verdict(sheet: NextSheet) -> str:
    if not sheet.checks:
        return SAY["no_checks"]
    first = sheet.checks[0]
    banks = len(sheet.case.banks)
    if sheet.stop:
        return f"{stop_sentence(sheet)} {nearest_sentence(sheet.checks, sheet.currency, banks)}"
    return SAY["do_first"].format(check=at_place(first.name, first.place, banks))


def _offers(sheet: NextSheet) -> tuple[Offer, ...]:
    """The best place of each check, best first."""
    best: dict[str, CheckLine] = {}
    for line in sheet.checks:
        best.setdefault(line.check, line)
    offers = [_offer(line, sheet) for line in best.values()]
    paying = sum(offer.pays for offer in offers)
    return tuple(offers[: min(max(paying, IDLE_SHOWN), SHOWN)])


def _offer(line: CheckLine, sheet: NextSheet) -> Offer:
    facts = [duration(line.minutes), SAY["worth"].format(worth=money(line.worth, sheet.currency))]
    facts += [SAY["costs"].format(cost=money(line.cost, sheet.currency))]
    facts += [SAY["comes_off"].format(what=", ".join(line.opens)) if line.opens else SAY["nothing_off"]]
    facts += [SAY["closed_first"].format(what=", ".join(line.closes))] if line.closes else []
    title = at_place(line.name, line.place, len(sheet.case.banks))
    together = net_with_second(sheet, line)
    return Offer(line, title, " · ".join(facts), line.net > 0 or line.first_by_rule or together > 0, together)


@router.get("/case/{number}/checks")
def checks(visit: Visited, number: Number) -> Response:
    """The ranking in full."""
    kept, case = visit.shop.keeping.read(number)
    found = ranking(visit, kept, case, wait=patience_s(visit) >= PATIENT_S)
    blocks = next_blocks(found.sheet, head=False) if found.sheet is not None else ()
    return case_page(visit, "checks.html", kept, case, ranking=found, blocks=blocks)


@router.get("/case/{number}/check/{check}/{where}")
def one_check(visit: Visited, number: Number, check: str, where: str) -> Response:
    """One check: cautions first, how it is done, what it needs, why it is worth that; and its answers."""
    return _page(visit, number, check, where)


def _page(
    visit: Visit, number: int, check: str, where: str, typed: Mapping[str, tuple[str, ...]] | None = None,
    wrong: tuple[str, ...] = (), slips: Mapping[str, tuple[str, ...]] | None = None,
) -> Response:  # fmt: skip
    """`typed`: what was typed and cannot be taken, and `wrong` why; `slips`: why, by the fields that it is about."""
    kept, case = visit.shop.keeping.read(number)
    place = _done_at(visit.shop.knowledge, case, check, place_from(where))
    known = visit.shop.knowledge
    sheet: NextSheet | None = visit.shop.reckoner.known("checks", case)
    line = None
    if sheet is not None:
        line = next((each for each in sheet.checks if each.check == check and each.place == place), None)
    questions, reads_codes = asked_by_check(known, case, check, place)
    return case_page(
        visit,
        "check.html",
        kept,
        case,
        422 if wrong else 200,
        typed=typed or {},
        wrong=wrong,
        slips=slips or {},
        check=check,
        where=place,
        name=at_place(known.checks[check].name, place, len(case.engine.banks)),
        blocks=_blocks(known, case, check, place, line, sheet),
        questions=[_asked(known, case, question) for question in questions if not question.codes],
        reads_codes=reads_codes,
        soft=soft_answers(known),
        cannot=check in case.cannot,
    )


def _done_at(knowledge: Knowledge, case: Case, check: str, place: Place) -> Place:
    """The place at which the check that was touched is done: its own cylinder, that one's bank, or the vehicle."""
    if check not in knowledge.checks:
        raise UsageError("there is no such check")
    covers = knowledge.checks[check].covers
    if covers == "vehicle":
        return None
    if covers == "bank":
        bank = case.engine.bank_of(place) if isinstance(place, int) and place in case.engine.cylinders else place
        if bank in case.engine.banks:
            return bank
        return next(iter(case.engine.banks))
    if place in case.engine.cylinders:
        return place
    raise UsageError("this check is done at one cylinder; choose it on the engine")


def _blocks(
    knowledge: Knowledge, case: Case, check: str, place: Place, line: CheckLine | None, sheet: NextSheet | None
) -> tuple[Block, ...]:
    """How it is done: from the ranking where it is known, with what it is worth; else as the knowledge has it."""
    if line is not None and sheet is not None:
        worth = (Heading(SAY["why_worth"]), Sentence(worth_sentence(line, sheet.currency)))
        return (*check_blocks(line, sheet.currency, len(case.engine.banks)), *worth)
    known = knowledge.checks[check]
    needs = tuple(knowledge.vocabulary.preconditions.get(each, each) for each in known.needs)
    closes = closed_first_words(knowledge, case, known)
    blocks: list[Block] = [Heading(SAY["how_title"]), Cautions(cautions_of(knowledge, known))]
    blocks += [Items(CHECKS["closes"], closes)] if closes else []
    blocks.append(Sentence(known.how))
    blocks += [Items(SAY["needs"], needs)] if needs else []
    blocks += [Items(SAY["tools"], known.tools)] if known.tools else []
    return tuple(blocks)


def _asked(knowledge: Knowledge, case: Case, question: Question) -> tuple[Asked, ...]:
    lines = told_lines(knowledge, case)
    under = question.condition or ""
    return tuple(asked_of(knowledge, case, question.item, place, under, lines) for place in question.places)


@router.post("/case/{number}/check/{check}/{where}")
def answer_check(sent: Sent, number: Number, check: str, where: str) -> Response:
    """All that a check showed, in one go; what it opened stands open from then on."""
    try:
        return _answered(sent, number, check, where)
    except Slips as slips:
        return _page(sent.visit, number, check, where, sent.fields, lines_of(slips), slips.lines)
    except UNFIT as error:
        return _page(sent.visit, number, check, where, sent.fields, lines_of(error))


def _answered(sent: SentForm, number: int, check: str, where: str) -> Response:
    knowledge = sent.visit.shop.knowledge
    _, case = sent.visit.shop.keeping.read(number)
    place = _done_at(knowledge, case, check, place_from(where))
    deeds = _deeds(sent, case, check, place)
    if not deeds:
        raise UsageError("nothing was answered yet; touch at least one answer, or write one reading")
    deeds.append(lambda told: with_check_open(told, knowledge, knowledge.checks[check], place))
    return told_in_bay(sent, number, lambda told: reduce(lambda before, deed: deed(before), deeds, told))


def _deeds(sent: SentForm, case: Case, check: str, place: Place) -> list[Deed]:
    knowledge = sent.visit.shop.knowledge
    questions, _ = asked_by_check(knowledge, case, check, place)
    deeds: list[Deed] = []
    slips: dict[str, tuple[str, ...]] = {}
    for question in questions:
        if question.codes:
            if sent.word("codes"):
                read, asked = codes_told(sent.word("codes")), question.codes
                deeds.append(lambda told, asked=asked, read=read: with_codes(told, knowledge, asked, read))  # type: ignore[misc]
            continue
        for asked_one in _asked(knowledge, case, question):
            deed = _deed(sent, knowledge, asked_one)
            deeds += [deed] if deed is not None else []
            slips |= _slip(deed, case, asked_one) if deed is not None and asked_one.reading else {}
    if slips:
        raise Slips(slips)
    return deeds


def _slip(deed: Deed, case: Case, asked: Asked) -> dict[str, tuple[str, ...]]:
    """What is the matter with one reading, by the name of its field; nothing where it can be taken."""
    try:
        deed(case)
    except UNFIT as error:
        return {asked.key: lines_of(error)}
    return {}


def _deed(sent: SentForm, knowledge: Knowledge, asked: Asked) -> Deed | None:
    """What the form says of one question; none where it says nothing new."""
    said, under = sent.word(asked.key), asked.under or None
    if asked.reading:
        if not said:
            return None
        text = reading_typed(said, sent.word(f"{asked.item}:unit"))
        return lambda told: with_measured(told, knowledge, asked.item, asked.place, text, under)
    if said in ("", asked.answer):
        return None
    return lambda told: with_answer(told, knowledge, asked.item, asked.place, said.replace("_", " "), under)
