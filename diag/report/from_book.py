"""From the book to its sheets. What the knowledge does not have (any more) is called by its id.

May import: store, casebook, knowledge_base, figures, sheets, words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from diag.basics import Place, counted
from diag.casebook import Answer, Measured, Work
from diag.knowledge_base import Knowledge
from diag.report.figures import duration, money, place_words
from diag.report.from_case import condition_words, evidence_lines, measured_words, work_text
from diag.report.sheets_book import (
    BookCaseSheet,
    BookFileLine,
    BookFoundLine,
    BookLikeLine,
    BookLikeSheet,
    BookLine,
    BookListSheet,
    BookOutcome,
    CustomerLine,
    JournalLine,
)
from diag.report.words import EVIDENCE
from diag.report.words_book import BOOK, CURED_WORDS, RETOLD_FACTS, SURE_WORDS
from diag.store import (
    Attached,
    CaseRow,
    Closed,
    Customer,
    Draft,
    Event,
    Finding,
    Fitted,
    FoundRow,
    Kept,
    Like,
    Linked,
    Opened,
    Outcome,
    Payload,
    Reading,
    Remark,
    Repair,
    Retold,
    Undo,
    fold,
)

__all__ = ["book_case_sheet", "book_like_sheet", "book_list_sheet", "journal_words"]


def book_list_sheet(knowledge: Knowledge, rows: Sequence[CaseRow], book: str, most: int) -> BookListSheet:
    """The cases of a list."""
    return BookListSheet(book, tuple(_line(knowledge, row) for row in rows), most)


def book_like_sheet(knowledge: Knowledge, case: str, alike: Sequence[Like], rows: Sequence[CaseRow]) -> BookLikeSheet:
    """Similar cases with what was found in them."""
    by_number = {row.number: row for row in rows}
    return BookLikeSheet(
        case,
        tuple(
            BookLikeLine(_line(knowledge, by_number[each.number]), each.likeness, each.faults, each.findings)
            for each in alike
            if each.number in by_number
        ),
    )


def book_case_sheet(
    knowledge: Knowledge,
    kept: Kept,
    row: CaseRow,
    place: str,
    *,
    done: str = "",
    notes: Sequence[str] = (),
    came_back_in: Sequence[int] = (),
    customer: Customer | None = None,
    journal: bool = False,
    numbers: Mapping[str, int] | None = None,
) -> BookCaseSheet:
    """One case; `numbers` are those of other cases by their uid, for the words of links."""
    standing = kept.standing
    case = standing.draft.case(knowledge)
    return BookCaseSheet(
        done=done,
        notes=tuple(notes),
        case=_line(knowledge, row),
        place=place,
        outcome=_outcome(knowledge, standing.outcome) if standing.outcome is not None else None,
        came_back_in=tuple(came_back_in),
        remarks=standing.remarks,
        files=tuple(BookFileLine(each.name, each.size, each.digest) for each in standing.files),
        customer=CustomerLine(customer.name, customer.plate) if customer is not None else None,
        told=_told(knowledge, standing.draft) if case is None else _told_in_words(knowledge, kept),
        journal=_journal(knowledge, kept.events, numbers or {}) if journal else (),
    )


def _line(knowledge: Knowledge, row: CaseRow) -> BookLine:
    return BookLine(
        row.number,
        row.uid,
        row.revision,
        row.title,
        row.engine,
        row.is_open,
        row.opened_at,
        row.changed_at,
        row.closed_at,
        row.cured,
        row.came_back_from,
        tuple(_found(knowledge, each) for each in row.found),
    )


def _found(knowledge: Knowledge, row: FoundRow) -> BookFoundLine:
    component = knowledge.components.get(row.component)
    state = component.states.get(row.state) if component is not None else None
    words = BOOK["found_words"].format(
        component=component.name if component is not None else row.component,
        state=state.name if state is not None else row.state,
        place=place_words(_place(row.place)),
        sure=SURE_WORDS.get(row.sure, row.sure),
    )
    return BookFoundLine(row.component, row.state, row.place, row.sure, words)


def _place(text: str) -> Place:
    return None if not text else int(text) if text.isdecimal() else text


def _outcome(knowledge: Knowledge, outcome: Outcome) -> BookOutcome:
    return BookOutcome(
        outcome.cured,
        tuple(_fitted(knowledge, each) for each in outcome.fitted),
        outcome.minutes,
        outcome.cost,
        outcome.currency if outcome.cost is not None else "",
        outcome.note,
    )


def _fitted(knowledge: Knowledge, fitted: Fitted) -> str:
    known = knowledge.repairs.get(fitted.item) or knowledge.prices.parts.get(fitted.item)
    count = f"{fitted.count} × " if fitted.count != 1 else ""
    where = f", {place_words(fitted.place)}" if fitted.place is not None else ""
    return f"{count}{known.name if known is not None else fitted.item}{where}"


def _told_in_words(knowledge: Knowledge, kept: Kept) -> tuple[str, ...]:
    case = kept.standing.draft.case(knowledge)
    assert case is not None
    try:
        lines = evidence_lines(knowledge, case)
    except KeyError:  # the knowledge has changed since: an item, answer or repair of the case is not in it any more
        return _told(knowledge, kept.standing.draft)
    return tuple(f"{line.what}, {place_words(line.place)}: {line.said}" if line.said else line.what for line in lines)


def _told(knowledge: Knowledge, draft: Draft) -> tuple[str, ...]:
    lines = [_work(knowledge, work) for work in draft.history]
    for epoch in draft.epochs:
        lines += [_work(knowledge, work) for work in epoch.work]
        lines += [_answer(knowledge, answer) for answer in epoch.answers]
        lines += [_measured(knowledge, measured) for measured in epoch.measured]
    return tuple(lines)


def journal_words(knowledge: Knowledge, events: Sequence[Event]) -> tuple[str, ...]:
    """What these events of a journal say, each in words."""
    return tuple(_words(knowledge, event.payload, {}) for event in events)


def _journal(knowledge: Knowledge, events: Sequence[Event], numbers: Mapping[str, int]) -> tuple[JournalLine, ...]:
    """Each event in words; of a case that was told anew, what changed."""
    lines = []
    for position, event in enumerate(events):
        if isinstance(event.payload, Retold):
            words = _retold(knowledge, fold(events[:position]).draft, event.payload.draft)
        else:
            words = _words(knowledge, event.payload, numbers)
        lines.append(JournalLine(event.revision, event.kind, event.at, event.by, words))
    return tuple(lines)


def _retold(knowledge: Knowledge, before: Draft, after: Draft) -> str:
    """What a case told anew says otherwise than before; in general words where that is its order alone."""
    old, new = Counter(_told(knowledge, before)), Counter(_told(knowledge, after))
    parts = [_fact(name, after) for name in RETOLD_FACTS if getattr(before, name) != getattr(after, name)]
    parts += (new - old).elements()
    parts += [BOOK["no_longer"].format(line=line) for line in (old - new).elements()]
    return "; ".join(parts) or BOOK["retold"]


def _fact(name: str, draft: Draft) -> str:
    """A fact of the vehicle as it now is; of what takes more words, that it changed."""
    value = getattr(draft, name)
    if name == "distance_km" and value is not None:
        return EVIDENCE["distance"].format(distance_km=value)
    if name == "age_years" and value is not None:
        return EVIDENCE["age"].format(age_years=counted(value))
    return RETOLD_FACTS[name].format(value=BOOK["not_told"] if value in (None, "") else value)


def _words(knowledge: Knowledge, payload: Payload, numbers: Mapping[str, int]) -> str:
    """What an event says."""
    match payload:
        case Opened(draft):
            return draft.title or BOOK["no_title"]
        case Finding(answer):
            return _answer(knowledge, answer)
        case Reading(measured):
            return _measured(knowledge, measured)
        case Repair(work):
            return "; ".join(_work(knowledge, each) for each in work)
        case Retold():
            return BOOK["retold"]
        case Undo(back_to):
            return BOOK["undo"].format(back_to=back_to)
        case Closed(outcome):
            return _closing(knowledge, outcome)
        case Linked(uid):
            return BOOK["linked"].format(number=numbers[uid]) if uid in numbers else BOOK["linked_elsewhere"]
        case Remark(text):
            return text
        case Attached(_, name, _):
            return BOOK["attached"].format(name=name)
    return BOOK["erased"]


def _closing(knowledge: Knowledge, outcome: Outcome) -> str:
    found = [
        _found(
            knowledge, FoundRow(each.component, each.state, "" if each.place is None else str(each.place), each.sure)
        )
        for each in outcome.found
    ]
    parts = [line.words for line in found] or [BOOK["nothing_found"]]
    parts += [_fitted(knowledge, each) for each in outcome.fitted]
    parts += [duration(outcome.minutes)] if outcome.minutes is not None else []
    parts += [money(outcome.cost, outcome.currency, exact=True)] if outcome.cost is not None else []
    parts.append(BOOK["cured"].format(cured=CURED_WORDS[outcome.cured]))
    parts += [outcome.note] if outcome.note else []
    return "; ".join(parts)


def _answer(knowledge: Knowledge, answer: Answer) -> str:
    finding, soft = knowledge.findings.get(answer.item), knowledge.answers.get(answer.answer)
    said = soft.name if soft is not None else EVIDENCE.get(answer.answer, answer.answer)
    item = _under(knowledge, finding.name if finding is not None else answer.item, answer.condition)
    return BOOK["finding"].format(item=item, place=place_words(answer.place), answer=said)


def _under(knowledge: Knowledge, item: str, condition: str | None) -> str:
    words = condition_words(knowledge, condition)
    return BOOK["under"].format(item=item, condition=words) if words else item


def _measured(knowledge: Knowledge, measured: Measured) -> str:
    reading, said = knowledge.readings.get(measured.item), measured_words(knowledge, measured)
    item = _under(knowledge, reading.name if reading is not None else measured.item, measured.condition)
    return BOOK["finding"].format(item=item, place=place_words(measured.place), answer=said)


def _work(knowledge: Knowledge, work: Work) -> str:
    if work.repair in knowledge.repairs:
        return work_text(knowledge, work)
    return f"{work.repair}, {place_words(work.place)}" if work.place is not None else work.repair
