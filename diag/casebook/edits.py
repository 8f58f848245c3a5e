"""Changes to a case: each gives a new case and leaves the old one as it was, so that undoing is keeping the old one.

May import: `diag.basics`, the records of `diag.knowledge_base`, and within the room the records and words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diag.basics import Place, UsageError, did_you_mean, listed
from diag.casebook.cases import ABSENT, PRESENT, Answer, Case, Epoch, Fault, Helped, Measured, Work
from diag.casebook.reading_units import read_reading
from diag.casebook.words import (
    CONDITIONS,
    HELPED_ANSWERS,
    answer_id,
    answer_words,
    other_fault,
    place_fault,
    place_words,
    scope_of,
)
from diag.knowledge_base import Knowledge

__all__ = [
    "answer_of",
    "findings_after_exchange",
    "symptoms_after",
    "with_access",
    "with_answer",
    "with_helped",
    "with_measured",
    "with_work",
    "without_answer",
]


def with_answer(
    case: Case, knowledge: Knowledge, item: str, place: Place, word: str, condition: str | None = None
) -> Case:
    """The case with one more answer in its latest epoch; an earlier answer to the same question there is replaced.

    `word` is what people say ('yes', 'not sure', a soft answer). Raises UsageError where the question or the answer
    makes no sense.
    """
    _check_item(case, knowledge, item, place, condition, "finding")
    answer = answer_id(word, knowledge)
    if answer is None:
        words = answer_words(knowledge)
        raise UsageError(f"'{word}' is no answer; {did_you_mean(word, words, most=20) or f'it can be {listed(words)}'}")
    kept = without_answer(case, item, place, condition).epochs[-1]
    return _with_latest(case, replace(kept, answers=(*kept.answers, Answer(item, place, answer, condition))))


def with_measured(
    case: Case, knowledge: Knowledge, item: str, place: Place, text: str, condition: str | None = None
) -> Case:
    """The case with one more reading in its latest epoch, such as '180 bar', 'above 60 mL/min' or '3.12 +/- 0.05'.

    A number without unit is in the reading's own, because whoever asks has shown it. Repeats stand beside each other.
    Raises UsageError where it makes no sense.
    """
    _check_item(case, knowledge, item, place, condition, "reading")
    reading = knowledge.readings[item]
    read = read_reading(text, reading, case.engine)
    if not reading.lowest <= read.value <= reading.highest:
        lies = f"it lies between {reading.lowest:g} and {reading.highest:g} {reading.unit}"
        raise UsageError(f"'{text}' is not plausible for {reading.name}; {lies}")
    latest = case.epochs[-1]
    measured = Measured(
        item, place, read.value, reading.unit, read.censored, condition, read.error, read.at, read.at_unit
    )
    return _with_latest(case, replace(latest, measured=(*latest.measured, measured)))


def with_work(case: Case, knowledge: Knowledge, works: Sequence[Work]) -> Case:
    """The case after work: a new epoch. What follows from whether it helped for the vehicle's symptoms is told.

    Raises UsageError for unknown repairs and places.
    """
    if not works:
        raise UsageError("this does not say what was done; name at least one repair")
    for work in works:
        if work.repair not in knowledge.repairs:
            hint = did_you_mean(work.repair, knowledge.repairs)
            raise UsageError(f"there is no repair '{work.repair}'" + (f"; {hint}" if hint else ""))
        fault = place_fault(case.engine, knowledge.repairs[work.repair].on, work.place)
        fault = fault or other_fault(case.engine, knowledge.repairs[work.repair], work.place, work.other)
        if fault is not None:
            raise UsageError(f"{work.repair}: {fault[0]}; {fault[1]}")
    answers = symptoms_after(knowledge, case.epochs, works)
    return replace(case, epochs=(*case.epochs, Epoch(tuple(works), answers)), open_access=())


def with_helped(case: Case, knowledge: Knowledge, helped: Helped) -> Case:
    """The case with the word of whether the latest work helped, and what follows from it for the symptoms that were
    not answered since. Raises UsageError where nothing was tried."""
    latest = case.epochs[-1]
    if not latest.work:
        raise UsageError("nothing was tried yet in this case, so nothing can have helped")
    works = tuple(replace(work, helped=helped) for work in latest.work)
    told = {(each.item, each.place, each.condition) for each in latest.answers}
    follows = symptoms_after(knowledge, case.epochs[:-1], works)
    added = tuple(each for each in follows if (each.item, each.place, each.condition) not in told)
    return _with_latest(case, replace(latest, work=works, answers=(*latest.answers, *added)))


def with_access(case: Case, open_access: Sequence[tuple[str, str]]) -> Case:
    """The case with this access open (pairs of access kind and bank) and no other."""
    return replace(case, open_access=tuple(dict.fromkeys(open_access)))


def without_answer(case: Case, item: str, place: Place, condition: str | None = None) -> Case:
    """The case without the answers and readings of one question in its latest epoch."""
    latest, asked = case.epochs[-1], (item, place, condition)
    answers = tuple(each for each in latest.answers if (each.item, each.place, each.condition) != asked)
    measured = tuple(each for each in latest.measured if (each.item, each.place, each.condition) != asked)
    return _with_latest(case, replace(latest, answers=answers, measured=measured))


def answer_of(case: Case, item: str, place: Place, condition: str | None = None) -> Answer | None:
    """The latest answer to a question, from whichever epoch; none where it was never answered."""
    return _latest_answers(case.epochs).get((item, place, condition))


def symptoms_after(knowledge: Knowledge, before: Sequence[Epoch], works: Sequence[Work]) -> tuple[Answer, ...]:
    """What the word of whether it helped says of the vehicle's present symptoms: there again ('no', 'worse'), absent
    ('yes'), or softly 'better' or 'something else now', as the knowledge has it.

    Nothing follows from 'for a while' or no word; nor for symptoms of one cylinder or bank.
    """
    helped = {work.helped for work in works if work.helped in HELPED_ANSWERS}
    if len(helped) != 1:
        return ()
    now = next(answer for word, answer in HELPED_ANSWERS.items() if word in helped)
    if now not in (PRESENT, ABSENT) and now not in knowledge.answers:
        return ()
    return tuple(
        replace(answer, answer=now)
        for answer in _latest_answers(before).values()
        if answer.answer in (PRESENT, HELPED_ANSWERS["partly"])
        if answer.place is None and knowledge.findings[answer.item].kind == "symptom"
    )


def findings_after_exchange(
    knowledge: Knowledge, before: Sequence[Epoch], work: Work, fault: Fault
) -> tuple[Answer, ...]:
    """What 'the fault moved' (stayed, gone) says after an exchange, in the findings by which the fault was known.

    These are the present findings of the two cylinders that what was moved can cause; the vehicle's present symptoms
    are still there, or gone. Empty where nothing was told that the fault sits on one of the two cylinders.
    """
    moves = set(knowledge.repairs[work.repair].moves)
    latest = [each for each in _latest_answers(before).values() if each.answer == PRESENT]
    other = {work.place: work.other, work.other: work.place}
    found: dict[tuple[str, Place, str | None], Answer] = {}
    for each in latest:
        shows = knowledge.severities.get(knowledge.findings[each.item].shows)
        if each.place not in other or shows is None or moves.isdisjoint(shows.causes):
            continue
        here, there = ("present", "absent") if fault == "stayed" else ("absent", "present")
        for place, answer in ((each.place, here), (other[each.place], there if fault != "gone" else "absent")):
            key = (each.item, place, each.condition)
            if key not in found or answer == PRESENT:  # both had it: both have it still
                found[key] = replace(each, place=place, answer=answer)
    if not found:
        return ()
    shaken = [each for each in latest if each.place is None and knowledge.findings[each.item].kind == "symptom"]
    now = ABSENT if fault == "gone" else PRESENT
    return (*found.values(), *(replace(each, answer=now) for each in shaken))


def _latest_answers(epochs: Sequence[Epoch]) -> dict[tuple[str, Place, str | None], Answer]:
    return {(each.item, each.place, each.condition): each for epoch in epochs for each in epoch.answers}


def _with_latest(case: Case, epoch: Epoch) -> Case:
    return replace(case, epochs=(*case.epochs[:-1], epoch))


def _check_item(case: Case, knowledge: Knowledge, item: str, place: Place, condition: str | None, what: str) -> None:
    known = knowledge.findings if what == "finding" else knowledge.readings
    if item not in known:
        hint = did_you_mean(item, known)
        raise UsageError(f"there is no {what} '{item}'" + (f"; {hint}" if hint else ""))
    fault = place_fault(case.engine, scope_of(knowledge, item), place)
    if fault is not None:
        raise UsageError(f"{item} of {place_words(place)}: {fault[0]}; {fault[1]}")
    if condition is not None and condition not in CONDITIONS:
        raise UsageError(f"there is no condition '{condition}'; {did_you_mean(condition, CONDITIONS)}")
