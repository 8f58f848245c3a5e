"""From a debrief, and from a class, to their sheets and the table of all choices.

May import: training, explain, casebook, knowledge_base, and the modules of this room about practice.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.report.figures import at_place
from diag.report.from_case import told_line
from diag.report.from_training import plan_words, practice_case, truth_lines
from diag.report.sheets_training import (
    BeliefLine,
    CalibrationLine,
    CheckHabitLine,
    ClassCaseLine,
    ClassSheet,
    DebriefSheet,
    HeedingLine,
    OwnCaseLine,
    ProgressLine,
    StepDebrief,
    SuspectLine,
)
from diag.report.words_training import PRACTICE_CLASS, PRACTICE_DEBRIEF

if TYPE_CHECKING:
    from diag.training import (
        BeliefScore,
        Calibration,
        Choice,
        Classroom,
        Debrief,
        FaultThen,
        Seat,
        StepReview,
        TraineeProgress,
    )

__all__ = ["case_lines", "class_csv", "class_line", "class_sheet", "debrief_sheet"]


def debrief_sheet(knowledge: Knowledge, seat: Seat, found: Debrief, trainee: str, draws: int) -> DebriefSheet:
    """The sheet of `diag practice debrief`."""
    start, notes = seat.play.practice.start, seat.hidden.notes
    return DebriefSheet(
        case=practice_case(knowledge, start),
        trainee=trainee,
        truth=truth_lines(knowledge, seat.hidden.faults),
        currency=found.currency,
        steps=tuple(_step(knowledge, start, each, place) for place, each in enumerate(found.steps, start=1)),
        beliefs=tuple(_belief(knowledge, each, found.steps) for each in found.beliefs),
        words=str(getattr(seat.play.events[-1], "words", "")),
        expected=found.expected,
        regret=found.regret,
        minutes_regret=found.minutes_regret,
        all_regret=found.all_regret,
        expected_total=found.expected_total,
        total=found.outcome.total,
        least=found.outcome.least,
        luck=found.luck,
        unsafe=found.unsafe,
        minutes=seat.play.minutes,
        why=_why(found),
        covers=notes.covers,
        learn=notes.learn,
        misleads=notes.misleads,
        ask=notes.ask,
        doubted=draws,
    )


def _why(found: Debrief) -> str:
    """Why the likeliest fault at the end is as likely as it is, in short, as `diag why` has it."""
    from diag.explain import explain
    from diag.report.from_why import why_sheet

    return why_sheet(found.weighed, explain(found.weighed)).in_short


def _step(knowledge: Knowledge, case: Case, step: StepReview, number: int) -> StepDebrief:
    return StepDebrief(
        number=number,
        did=_choice(knowledge, case, step.chosen),
        kind=step.chosen.kind,
        check=step.chosen.check,
        known=tuple(_suspect(knowledge, each) for each in step.known),
        best=_choice(knowledge, case, step.best),
        best_check=step.best.check,
        value=step.chosen.value,
        best_value=step.chosen.value - step.regret,
        regret=step.regret,
        minutes=step.minutes,
        as_good=step.as_good,
        unsafe=step.unsafe,
        put_off=step.put_off,
        told=tuple(told_line(knowledge, each) for each in step.told),
        would_tell=tuple(told_line(knowledge, each) for each in step.would_tell),
    )


def _choice(knowledge: Knowledge, case: Case, choice: Choice) -> str:
    if choice.kind == "check":
        name = at_place(knowledge.checks[choice.check].name, choice.place, len(case.engine.banks))
        return PRACTICE_DEBRIEF["check_at"].format(check=name)
    return PRACTICE_DEBRIEF[choice.kind].format(plan=plan_words(knowledge, case, choice.jobs))


def _suspect(knowledge: Knowledge, each: FaultThen) -> SuspectLine:
    return SuspectLine(each.component, knowledge.components[each.component].name, each.place, each.chance)


def _belief(knowledge: Knowledge, each: BeliefScore, steps: Sequence[StepReview]) -> BeliefLine:
    name = knowledge.components[each.component].name
    after = sum(step.number < each.after for step in steps)  # what was only said is no step
    return BeliefLine(after, name, each.place, each.said, each.model, each.true, each.brier, each.log)


def class_sheet(knowledge: Knowledge, found: Classroom) -> ClassSheet:
    """The sheet of `diag practice class`."""
    return ClassSheet(
        currency=found.currency,
        trainees=tuple(_progress(each) for each in found.trainees),
        cases=tuple(ClassCaseLine(**vars(each)) for each in found.cases),
        habits=tuple(CheckHabitLine(name=knowledge.checks[each.check].name, **vars(each)) for each in found.habits),
        heeding=tuple(HeedingLine(name=_source(knowledge, each.source), **vars(each)) for each in found.heeding),
        **vars(found.haste),
        unsafe=dict(found.unsafe),
        calibration=_calibration(found.calibration),
        unread=found.unread,
        doubted=found.doubted,
    )


def _progress(each: TraineeProgress) -> ProgressLine:
    return ProgressLine(
        trainee=each.trainee,
        ended=each.ended,
        running=each.running,
        regret=each.regret,
        minutes=each.minutes,
        unsafe=each.unsafe,
        regrets=each.regrets,
        trend=each.trend,
        calibration=_calibration(each.calibration),
    )


def _calibration(found: Calibration | None) -> CalibrationLine | None:
    if found is None:
        return None
    parts = found.parts
    return CalibrationLine(
        statements=found.statements,
        brier=found.brier,
        log=found.log,
        reliability=parts.reliability,
        resolution=parts.resolution,
        uncertainty=parts.uncertainty,
        lean=found.lean,
        off=found.off,
    )


def class_line(found: Classroom, trainee: str) -> ProgressLine:
    """One trainee over their cases."""
    return next(_progress(each) for each in found.trainees if each.trainee == trainee)


def case_lines(found: Classroom, trainee: str) -> tuple[OwnCaseLine, ...]:
    """The cases that a trainee ended, in the order in which they were begun, beside the class."""
    means = {each.practice: each for each in found.cases}
    return tuple(
        OwnCaseLine(
            practice=practice.id,
            title=practice.start.title or practice.id,
            grade=practice.grade,
            regret=each.review.regret,
            minutes=each.review.minutes_regret,
            unsafe=each.review.unsafe,
            class_mean=means[practice.id].mean,
            trainees=means[practice.id].trainees,
        )
        for each in found.sittings
        for practice in (each.journal.seat.play.practice,)
        if each.journal.trainee == trainee and each.review is not None
    )


def _source(knowledge: Knowledge, source: str) -> str:
    check = knowledge.checks.get(source)
    return check.name if check is not None else PRACTICE_CLASS["trial"]


COLUMNS = (
    "trainee", "case", "grade", "begun", "step", "kind", "did", "best", "regret", "minutes", "as_good", "unsafe",
    "put_off", "currency",
)  # fmt: skip


def class_csv(knowledge: Knowledge, found: Classroom) -> str:
    """Every choice of everybody as CSV (RFC 4180, UTF-8); money as plain decimals, its currency in a column."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for sitting in found.sittings:
        practice = sitting.journal.seat.play.practice
        steps: Sequence[StepReview] = sitting.review.steps if sitting.review is not None else ()
        for number, step in enumerate(steps, start=1):
            writer.writerow(
                (
                    _safe(sitting.journal.trainee), practice.id, practice.grade or "", sitting.journal.begun, number,
                    step.chosen.kind, _choice(knowledge, practice.start, step.chosen),
                    _choice(knowledge, practice.start, step.best), f"{step.regret:.6g}", f"{step.minutes:.6g}",
                    int(step.as_good), step.unsafe, int(step.put_off), found.currency,
                )
            )  # fmt: skip
    return stream.getvalue()


def _safe(text: str) -> str:
    """A name that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text
