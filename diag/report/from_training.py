"""From practice cases to their sheets. May import: training, decision, casebook, knowledge_base, the sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import Place, listed
from diag.casebook import NUMBERING, PRESENT, Case, StudyFile, as_the_maker_numbers
from diag.knowledge_base import Check, Knowledge, Repair
from diag.report.cautions import cautions_of, told_cautions
from diag.report.figures import at_place, duration, money
from diag.report.from_case import case_line, evidence_lines, told_line
from diag.report.sheets_case import CaseLine, EvidenceLine
from diag.report.sheets_training import (
    MadeSheet,
    OfferLine,
    PracticeStateSheet,
    RepairOffer,
    StudiesSheet,
    StudyLine,
    TruthLine,
)
from diag.report.words_training import PRACTICE
from diag.report.work_texts import jobs_words

if TYPE_CHECKING:
    from diag.decision import Job
    from diag.training import Belief, Difficulty, Event, HiddenTruth, Made, TraineeView, TruthPart

__all__ = [
    "complaint_words",
    "made_sheet",
    "plan_words",
    "practice_case",
    "practice_state_sheet",
    "studies_sheet",
    "truth_lines",
]


def practice_state_sheet(knowledge: Knowledge, view: TraineeView) -> PracticeStateSheet:
    """All that a trainee may see while a case runs."""
    case = view.case
    latest = view.events[-1] if view.events else None
    return PracticeStateSheet(
        case=practice_case(knowledge, case),
        known=_known(knowledge, case),
        latest=_found(knowledge, latest),
        step_cautions=_cautions(knowledge, latest),
        said=_said(knowledge, view, latest),
        minutes=view.minutes,
        paid=view.paid,
        currency=view.currency,
        cautions=told_cautions(knowledge, case),
        checks=tuple(_offer(knowledge, each.check, each.places, each.minutes, each.barred) for each in view.checks),
        repairs=_repairs(knowledge, view.repairs),
        ended=view.ended,
    )


def _known(knowledge: Knowledge, case: Case) -> tuple[EvidenceLine, ...]:
    """All that was told; first how the control unit numbers the cylinders, where that is known."""
    if case.numbering is None:
        return evidence_lines(knowledge, case)
    state = knowledge.components[NUMBERING].states[case.numbering]
    known = case.numbering == as_the_maker_numbers(knowledge)
    said = PRACTICE["as_the_maker"] if known else state.plain or state.name
    numbers = EvidenceLine(PRACTICE["numbering"], None, said, used=True, note="")
    return (numbers, *evidence_lines(knowledge, case))


def practice_case(knowledge: Knowledge, case: Case) -> CaseLine:
    """The head of a practice case; without a title of its own it is called by its complaint."""
    title = case.title or PRACTICE["title"].format(complaint=complaint_words(knowledge, case))
    return case_line(replace(case, title=title))


def complaint_words(knowledge: Knowledge, case: Case) -> str:
    """What the customer came with: `rough idle and white or grey smoke`."""
    told = [each for each in case.epochs[0].answers if each.answer == PRESENT]
    return listed([at_place(knowledge.findings[each.item].name, each.place) for each in told], "and")


def plan_words(knowledge: Knowledge, case: Case, jobs: Sequence[Job]) -> str:
    """A plan in words; none is `nothing now`."""
    return "; ".join(jobs_words(knowledge, case.engine, jobs)) or PRACTICE["nothing_now"]


def truth_lines(knowledge: Knowledge, faults: Sequence[TruthPart]) -> tuple[TruthLine, ...]:
    """Faults in words."""
    found = []
    for each in faults:
        known = knowledge.components[each.component]
        words = f"{known.name}: {known.states[each.state].name}"
        found.append(TruthLine(each.component, words, each.place, each.state))
    return tuple(found)


def _found(knowledge: Knowledge, event: Event | None) -> tuple[EvidenceLine, ...]:
    return tuple(told_line(knowledge, each) for each in getattr(event, "found", ()))


def _cautions(knowledge: Knowledge, event: Event | None) -> tuple[str, ...]:
    """The usual cautions of what was done, or is to be done."""
    from diag.training import Asked, Decided, Fitted

    works: list[Check | Repair] = []
    if isinstance(event, Asked):
        works = [knowledge.checks[event.check]]
    elif isinstance(event, Fitted | Decided):
        works = [knowledge.repairs[job.repair] for job in event.jobs]
    return tuple(dict.fromkeys(text for work in works for text in cautions_of(knowledge, work)))


def _said(knowledge: Knowledge, view: TraineeView, event: Event | None) -> tuple[str, ...]:
    """What the last step took, broke or ended with."""
    from diag.training import Asked, Believed, Decided, Fitted

    if isinstance(event, Believed):
        banks = len(view.case.engine.banks)
        said = [_believed(knowledge, each, banks) for each in event.beliefs]
        return (PRACTICE["believed"].format(what="; ".join(said)),)
    if isinstance(event, Decided):
        return (PRACTICE["decided"].format(plan=plan_words(knowledge, view.case, event.jobs)),)
    if isinstance(event, Asked) and event.refused:
        return (PRACTICE["refused"].format(why=event.refused),)
    if not isinstance(event, Asked | Fitted):
        return ()
    took = PRACTICE["took"].format(
        minutes=duration(event.minutes),
        money=money(event.cost, view.currency),
        all_minutes=duration(view.minutes),
        all_money=money(view.paid, view.currency),
    )
    helped = (PRACTICE[f"helped_{event.helped}"],) if isinstance(event, Fitted) else ()
    broke = event.broken if isinstance(event, Asked) else ()
    more = (PRACTICE["broke"].format(what="; ".join(broke)),) if broke else ()
    nothing = (PRACTICE["nothing_told"],) if not event.found else ()
    return (*helped, *nothing, *more, took)


def _believed(knowledge: Knowledge, each: Belief, banks: int) -> str:
    """As it was typed: `0.8` for `80` is to be seen at once."""
    return f"{at_place(knowledge.components[each.component].name, each.place, banks)}, {100 * each.chance:g} %"


def _offer(knowledge: Knowledge, check: str, places: tuple[Place, ...], minutes: float, barred: str) -> OfferLine:
    known = knowledge.checks[check]
    return OfferLine(
        check, known.name, places, minutes, PRACTICE[barred] if barred else "", cautions_of(knowledge, known)
    )


def _repairs(knowledge: Knowledge, jobs: Sequence[Job]) -> tuple[RepairOffer, ...]:
    places: dict[str, list[Place]] = {}
    for job in jobs:
        places.setdefault(job.repair, []).append(job.place)
    return tuple(
        RepairOffer(name, knowledge.repairs[name].name, tuple(where), cautions_of(knowledge, knowledge.repairs[name]))
        for name, where in places.items()
    )


def studies_sheet(files: Mapping[str, StudyFile], about: bool) -> StudiesSheet:
    """The sheet of `diag practice studies`; `about`: for the trainer, since it gives most of them away."""
    lines = [
        StudyLine(name, file.case.title, file.case.engine_id, file.grade, file.covers if about else ())
        for name, file in files.items()
    ]
    return StudiesSheet(tuple(sorted(lines, key=lambda each: (each.grade, each.id))))


def made_sheet(knowledge: Knowledge, made: Made, number: int, reveal: bool, written: Path | None = None) -> MadeSheet:
    """The sheet of `diag practice make`."""
    start, hidden, measured = made.practice.start, made.hidden, made.difficulty
    guess = _guess(knowledge, measured) if measured is not None and reveal else ""
    return MadeSheet(
        case=practice_case(knowledge, start),
        number=number,
        complaint=_known(knowledge, start),
        truth=_truth_if(knowledge, hidden, reveal),
        revealed=reveal,
        currency=knowledge.prices.currency,
        grade=made.practice.grade,
        hours=measured.hours if measured is not None else None,
        needed=measured.needed if measured is not None else None,
        misled=measured.misled if measured is not None else None,
        checks=measured.checks if measured is not None else None,
        minutes=measured.minutes if measured is not None else None,
        guess=guess,
        guess_chance=measured.chance if guess and measured is not None else None,
        tries=made.tries,
        written=str(written) if written is not None else "",
    )


def _truth_if(knowledge: Knowledge, hidden: HiddenTruth, reveal: bool) -> tuple[TruthLine, ...]:
    return truth_lines(knowledge, hidden.faults) if reveal else ()


def _guess(knowledge: Knowledge, measured: Difficulty) -> str:
    component, place = measured.guess
    return at_place(knowledge.components[component].name, place)
