"""The pages of a debrief and of a class. May import: blocks, figures, sheets, words, `text_case`, `text_training`."""

from __future__ import annotations

from diag.basics import counted, listed
from diag.report.blocks import Block, Column, Heading, Items, Sentence, Table
from diag.report.figures import at_place, duration, money, per_cent, short_place
from diag.report.sheets_training import (
    CalibrationLine,
    CheckHabitLine,
    ClassCaseLine,
    ClassSheet,
    DebriefSheet,
    HeedingLine,
    OwnCaseLine,
    ProgressLine,
    StepDebrief,
)
from diag.report.text_case import case_blocks
from diag.report.text_weigh import told_items
from diag.report.words import MAKERS_DATA_FIRST
from diag.report.words_training import PRACTICE, PRACTICE_CLASS, PRACTICE_DEBRIEF

__all__ = ["class_blocks", "debrief_blocks", "progress_blocks"]

LEAST_HABIT = 0.5  # money, below which a habit is not worth a line
MOST_HABITS = 12


def debrief_blocks(sheet: DebriefSheet) -> tuple[Block, ...]:
    """The page of `diag practice debrief`."""
    blocks: list[Block] = [*case_blocks(sheet.case)]
    if sheet.trainee:
        blocks.append(Sentence(PRACTICE_DEBRIEF["of"].format(trainee=sheet.trainee)))
    truth = [at_place(each.name, each.place, len(sheet.case.banks)) for each in sheet.truth]
    blocks.append(Sentence(PRACTICE_DEBRIEF["truth"].format(truth=listed(truth, "and") or PRACTICE["nothing_wrong"])))
    regret, labour = money(sheet.regret, sheet.currency), duration(sheet.minutes_regret)
    blocks.append(Sentence(PRACTICE_DEBRIEF["score"].format(regret=regret, minutes=labour), strong=True))
    if sheet.unsafe:
        said = PRACTICE_DEBRIEF["unsafe"].format(count=counted(sheet.unsafe))
        blocks.append(Sentence(said, strong=True))
    blocks += [Sentence(_came_to(sheet)), Heading(PRACTICE_DEBRIEF["steps"])]
    for step in sheet.steps:
        blocks += _step(step, sheet)
    key = "doubted" if sheet.doubted else "not_doubted"
    blocks.append(Sentence(PRACTICE_DEBRIEF[key].format(count=counted(sheet.doubted))))
    return (*blocks, *_beliefs(sheet), *_ending(sheet), Sentence(MAKERS_DATA_FIRST))


def _came_to(sheet: DebriefSheet) -> str:
    amounts = {
        name: money(getattr(sheet, name), sheet.currency) for name in ("total", "least", "expected", "expected_total")
    }
    kind = PRACTICE_DEBRIEF["bad_luck" if sheet.luck > 0 else "good_luck"]
    return PRACTICE_DEBRIEF["came_to"].format(luck=money(abs(sheet.luck), sheet.currency), kind=kind, **amounts)


def _step(step: StepDebrief, sheet: DebriefSheet) -> list[Block]:
    banks, words = len(sheet.case.banks), PRACTICE_DEBRIEF
    suspects = "; ".join(f"{at_place(each.name, each.place, banks)} {per_cent(each.chance)}" for each in step.known)
    lines = [words["known"].format(suspects=suspects)]
    if step.told:
        lines.append(words["told"].format(what="; ".join(told_items(step.told, banks))))
    if step.unsafe:
        lines.append(words["unsafe_step"].format(why=step.unsafe))
    if step.put_off:
        lines.append(words["put_off"])
    if step.regret < LEAST_HABIT and not step.unsafe:  # what safety asks for is best whatever its money
        lines.append(words["best"].format(best=step.best) if step.put_off else words["was_best"])
    else:
        regret = money(step.regret, sheet.currency)
        lines.append(words["best"].format(best=step.best))
        key = "as_good" if step.as_good else "regret"
        lines.append(words[key].format(regret=regret, minutes=duration(step.minutes)))
        if step.would_tell:
            lines.append(words["would_tell"].format(what="; ".join(told_items(step.would_tell, banks))))
    return [Items(words["step"].format(number=step.number, did=step.did), tuple(lines))]


def _beliefs(sheet: DebriefSheet) -> list[Block]:
    words = PRACTICE_DEBRIEF
    if not sheet.beliefs:
        return []
    columns = (
        Column(words["belief"], grows=True),
        Column(PRACTICE["places"]),
        Column(words["after"], right=True),
        Column(words["said"], right=True),
        Column(words["model"], right=True),
        Column(words["so"]),
        Column(words["brier"], right=True),
        Column(words["log"], right=True),
    )
    rows = tuple(
        (
            each.name,
            short_place(each.place, len(sheet.case.banks)),
            str(each.after),
            per_cent(each.said),
            per_cent(each.model),
            words["yes" if each.true else "no"],
            f"{each.brier:.2f}",
            f"{each.log:.2f}",
        )
        for each in sheet.beliefs
    )
    return [Heading(words["beliefs"]), Table(columns, rows, lead=0), Sentence(words["means"])]


def _ending(sheet: DebriefSheet) -> list[Block]:
    words = PRACTICE_DEBRIEF
    blocks: list[Block] = [Heading(words["why"]), Sentence(sheet.why)]
    if sheet.words:
        blocks += [Heading(words["words"]), Sentence(sheet.words)]
    notes = [words["covers"].format(what=", ".join(sheet.covers))] if sheet.covers else []
    notes += [words[key].format(what=text) for key in ("learn", "misleads") if (text := getattr(sheet, key))]
    if notes:
        blocks.append(Items(words["notes"], tuple(notes)))
    if sheet.ask:
        blocks.append(Items(words["ask"], sheet.ask, numbered=True))
    return blocks


def class_blocks(sheet: ClassSheet) -> tuple[Block, ...]:
    """The page of `diag practice class`."""
    words = PRACTICE_CLASS
    blocks: list[Block] = [Heading(words["title"], level=1), Heading(words["trainees"]), _trainees(sheet)]
    if not sheet.cases:
        blocks.append(Sentence(words["nothing"]))
    else:
        blocks += [Heading(words["cases"]), _cases(sheet)]
        if not sheet.doubted:
            blocks.append(Sentence(PRACTICE_DEBRIEF["not_doubted"]))
    habits = [each for each in sheet.habits if max(each.needless_cost, each.missed_cost) >= LEAST_HABIT]
    if habits:
        blocks += [Heading(words["habits"]), _habits(habits[:MOST_HABITS])]
    off = [each for each in sheet.heeding if each.more or each.less]
    if off:
        blocks += [Heading(words["heeding"]), _heeding(off[:MOST_HABITS]), Sentence(words["heeding_how"])]
    for key in ("early", "late", "trials"):
        count, cost = getattr(sheet, key), money(getattr(sheet, f"{key}_cost"), sheet.currency)
        if count:
            blocks.append(Sentence(words[key].format(count=counted(count), cost=cost)))
    unsafe = sheet.unsafe.items()
    blocks += [
        Sentence(words["unsafe_line"].format(count=counted(count), why=why), strong=True) for why, count in unsafe
    ]
    if sheet.calibration is not None:
        blocks.append(Sentence(_calibration(sheet.calibration)))
    if sheet.unread:
        blocks.append(Items(words["unread"], sheet.unread))
    return tuple(blocks)


def progress_blocks(line: ProgressLine, cases: tuple[OwnCaseLine, ...], currency: str) -> tuple[Block, ...]:
    """The head of a trainee's own page: case by case beside the class, and how it went on."""
    words = PRACTICE_CLASS
    names = ("grade", "own_regret", "labour", "unsafe", "class_mean", "of")
    columns = (Column(words["case"], grows=True), *(Column(words[name], right=True) for name in names))
    rows = tuple(
        (
            each.title,
            str(each.grade) if each.grade is not None else "",
            f"{each.regret:,.0f}",
            duration(each.minutes),
            str(each.unsafe),
            f"{each.class_mean:,.0f}",
            str(each.trainees),
        )
        for each in cases
    )
    blocks: list[Block] = [
        Heading(words["page_title"].format(trainee=line.trainee or words["trainee"]), level=1),
        Table(columns, rows, lead=0),
        Sentence(words["own_mean"].format(regret=money(line.regret, currency), labour=duration(line.minutes))),
    ]
    if line.ended > 1:
        better = words["own_better" if line.trend < 0 else "own_worse"]
        blocks.append(Sentence(better.format(change=money(abs(line.trend), currency))))
    if line.calibration is not None:
        key = "own_too_sure" if line.calibration.lean > 0 else "own_not_sure"
        points = per_cent(abs(line.calibration.lean))
        blocks.append(Sentence(words[key].format(statements=counted(line.calibration.statements), points=points)))
    return tuple(blocks)


def _trainees(sheet: ClassSheet) -> Table:
    words = PRACTICE_CLASS
    names = ("ended", "running", "regret", "labour", "unsafe", "trend", "brier", "lean")
    columns = (Column(words["trainee"], grows=True), *(Column(words[name], right=True) for name in names))
    return Table(columns, tuple(_trainee(each) for each in sheet.trainees), lead=0)


def _trainee(each: ProgressLine) -> tuple[str, ...]:
    known = each.calibration
    said = (f"{known.brier:.2f}", _points(known.lean)) if known is not None else ("", "")
    numbers = (f"{each.regret:,.0f}", duration(each.minutes), str(each.unsafe), f"{each.trend:+,.0f}")
    return (each.trainee, str(each.ended), str(each.running), *numbers, *said)


def _points(difference: float) -> str:
    return f"{100 * difference:+.0f} %"


def _cases(sheet: ClassSheet) -> Table:
    words = PRACTICE_CLASS
    names = ("grade", "ended", "least", "mean", "most", "time", "paid")
    columns = (
        Column(words["case"], grows=True),
        *(Column(words[name], right=True) for name in names),
        Column(words["missed"], grows=True),
    )
    names_of = {each.check: each.name for each in sheet.habits}
    return Table(columns, tuple(_case(each, names_of.get(each.missed, "")) for each in sheet.cases), lead=0)


def _case(each: ClassCaseLine, missed: str) -> tuple[str, ...]:
    numbers = (f"{amount:,.0f}" for amount in (each.least, each.mean, each.most))
    grade = str(each.grade) if each.grade is not None else ""
    return (each.practice, grade, str(each.trainees), *numbers, duration(each.minutes), f"{each.paid:,.0f}", missed)


def _habits(habits: list[CheckHabitLine]) -> Table:
    words = PRACTICE_CLASS
    names = ("asked", "needless", "people", "cost", "under", "cost")
    columns = (Column(words["check"], grows=True), *(Column(words[name], right=True) for name in names))
    rows = tuple(
        (
            each.name,
            str(each.asked),
            str(each.needless),
            str(each.people),
            f"{each.needless_cost:,.0f}",
            str(each.missed),
            f"{each.missed_cost:,.0f}",
        )
        for each in habits
    )
    return Table(columns, rows, lead=0)


def _heeding(lines: list[HeedingLine]) -> Table:
    words = PRACTICE_CLASS
    names = ("heard", "people", "more", "less", "beyond")
    columns = (Column(words["check"], grows=True), *(Column(words[name], right=True) for name in names))
    rows = tuple(
        (each.name, str(each.heard), str(each.people), str(each.more), str(each.less), _times(each.beyond))
        for each in lines
    )
    return Table(columns, rows, lead=0)


def _times(decibans: float) -> str:
    """A weight as a multiple of odds."""
    return f"x {10 ** (decibans / 10):.2g}"


def _calibration(found: CalibrationLine) -> str:
    numbers = {
        name: getattr(found, name) for name in ("brier", "reliability", "resolution", "uncertainty", "log", "off")
    }
    return PRACTICE_CLASS["calibration"].format(
        statements=counted(found.statements),
        points=per_cent(abs(found.lean)),
        more=PRACTICE_CLASS["too_sure" if found.lean > 0 else "not_sure"],
        **numbers,
    )
