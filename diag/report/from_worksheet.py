"""From the work of a chosen plan to its sheet. May import: worksheet, casebook, knowledge_base, the sheets, words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from diag.basics import Place
from diag.casebook import Case, Measured, access_without_minutes, still_there
from diag.knowledge_base import Caution, Engine, Knowledge, cautions_at, steps_of
from diag.report.figures import duration, per_cent, places_words
from diag.report.from_case import case_line, condition_words, measured_words
from diag.report.from_repair import after_lines, torque_lines
from diag.report.sheets_work import (
    CodeRow,
    ComplaintRow,
    PieceLine,
    RackRow,
    SectionPart,
    StepLine,
    StopLine,
    ValueRow,
    WorkSheet,
)
from diag.report.steps_words import step_words
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import RECORDS, WORK
from diag.report.work_texts import access_words, danger_texts, jobs_words

if TYPE_CHECKING:
    from diag.decision import Job
    from diag.worksheet import Chosen, ReadAgain, Section, StepAt, Work

    _PartsAt = Mapping[Job, Mapping[str, int]]

__all__ = ["work_sheet", "work_title"]


def work_sheet(knowledge: Knowledge, case: Case, work: Work, danger: Iterable[str] = ()) -> WorkSheet:
    """The sheet of `diag sheet`; `danger`: ids of the cautions that stand whatever is done."""
    engine = case.engine
    sections = _sections(knowledge, case, work)
    steps = [at for section in work.sections for at in section.steps]
    own = (engine.note,) if engine.note and work.sections else ()
    untimed = access_without_minutes(
        knowledge, engine, (knowledge.repairs[job.repair].access for job in work.chosen.jobs)
    )
    if untimed and work.sections:
        own = (WORK["untimed"].format(what=", ".join(access_words(knowledge, kind) for kind in untimed)), *own)
    if any(section.kind == "standing" for section in work.sections):
        own = (WORK["standing_uncounted"], *own)
    return WorkSheet(
        case=case_line(case),
        title=work_title(knowledge, engine, work.chosen),
        by_hand=work.chosen.option is None,
        minutes=work.minutes,
        danger=danger_texts(knowledge, danger),
        read_first=_read_first(knowledge, steps),
        notes=(*own, *_decided_by_test(knowledge, engine, work.chosen)),
        tools=work.tools,
        parts=tuple(_piece(knowledge, each.part, each.count) for each in work.parts),
        sections=sections,
        torques=torque_lines(engine, (name for at in steps for name in at.step.torques)),
        rack=tuple(RackRow(cylinder, cylinder in work.new_codes) for cylinder in work.rack),
        code_length=engine.trim_code.length,
        code_alphabet=engine.trim_code.alphabet,
        codes=tuple(_code(case, work, cylinder) for cylinder in work.codes),
        values=tuple(_value(knowledge, engine, each) for each in work.read_again),
        complaints=_complaints(knowledge, case) if work.sections else (),
        stops=tuple(StopLine(risk.name, places) for risk, places in work.risks),
        record=RECORDS if work.sections else (),
    )


def _code(case: Case, work: Work, cylinder: int) -> CodeRow:
    """A row of the ledger, with what the case notes of it."""
    noted = next((each for each in case.trim_codes if each.cylinder == cylinder), None)
    written = cylinder in work.new_codes
    moved = written and cylinder in work.rack
    return CodeRow(
        cylinder,
        written,
        on_part=noted.part if noted is not None and not moved else None,
        in_unit=noted.unit if noted is not None else None,
    )


def _decided_by_test(knowledge: Knowledge, engine: Engine, chosen: Chosen) -> tuple[str, ...]:
    """Where a test decides: to stop at its result, and what follows each; nothing for other work."""
    if not any(knowledge.repairs[job.repair].tells for job in chosen.jobs):
        return ()
    after = after_lines(knowledge, engine, chosen.option) if chosen.option is not None else ()
    lines = (
        WORK["tested_then"].format(
            answers="; ".join(each.answers), chance=per_cent(each.chance), work="; ".join(each.work)
        )
        for each in after
    )
    return (WORK["tested"], *lines)


def work_title(knowledge: Knowledge, engine: Engine, chosen: Chosen) -> str:
    """What the work is called: the option's title; where that is about the option and not the work, the work itself."""
    named = chosen.title if chosen.option is None or chosen.option.name != "likeliest" else ""
    return named or "; ".join(jobs_words(knowledge, engine, chosen.jobs))


def _sections(knowledge: Knowledge, case: Case, work: Work) -> tuple[SectionPart, ...]:
    from diag.worksheet import parts_at

    found, number_, parts = [], 0, parts_at(knowledge, work.chosen.jobs)
    for section in work.sections:
        jobs = section.jobs or (() if section.kind == "standing" else work.chosen.jobs)
        here = {job: parts[job] for job in jobs}
        lines = []
        for at in section.steps:
            number_ += 1
            lines.append(_step(knowledge, case.engine, here, at, number_))
        found.append(
            SectionPart(
                kind=section.kind,
                title=_title(case.engine, section),
                jobs=jobs_words(knowledge, case.engine, section.jobs),
                opens=tuple(_opens(knowledge, case, *key) for key in section.opens),
                steps=tuple(lines),
            )
        )
    return tuple(found)


def _title(engine: Engine, section: Section) -> str:
    if section.kind != "opened":
        return WORK[section.kind]
    banks = list(dict.fromkeys(bank for _, bank in section.opens))
    if len(engine.banks) == 1 or not any(isinstance(job.place, int | str) for job in section.jobs):
        return WORK["opened_alone"]
    where = places_words(banks)
    return WORK["opened"].format(where=f"{where[:1].upper()}{where[1:]}")


def _opens(knowledge: Knowledge, case: Case, kind: str, bank: str) -> str:
    words = access_words(knowledge, kind)
    if len(case.engine.banks) > 1 and sum(m > 0 for m in case.engine.access_minutes.get(kind, {}).values()) > 1:
        words = f"{words}, {places_words([bank])}"
    if _is_open(knowledge, case, kind, bank):
        return f"{words} ({WORK['open_already']})"
    minutes = case.engine.access_minutes.get(kind, {}).get(bank, 0.0)
    return f"{words} ({duration(minutes)})" if minutes else words


def _is_open(knowledge: Knowledge, case: Case, kind: str, bank: str) -> bool:
    includes = knowledge.vocabulary.access
    return any(
        there == bank and (kind == opened or kind in includes[opened].includes) for opened, there in case.open_access
    )


def _step(knowledge: Knowledge, engine: Engine, jobs: _PartsAt, at: StepAt, number_: int) -> StepLine:
    return StepLine(
        number=number_,
        step=at.id,
        text=step_words(at.step, engine),
        places=_ticked(engine, at.places),
        hazards=at.step.hazards,
        cautions=tuple(_short(caution) for caution in cautions_at(knowledge, at.step).values()),
        torques=torque_lines(engine, at.step.torques),
        parts=_parts_at(knowledge, engine, jobs, at),
        record=at.step.record or "",
        injector_out=at.step.removes_injector,
    )


def _ticked(engine: Engine, places: Sequence[Place]) -> tuple[Place, ...]:
    """Where a step is ticked; the vehicle and the one bank of an engine in line need no name where they stand alone."""
    known = tuple(None if len(engine.banks) == 1 and isinstance(place, str) else place for place in places)
    return () if set(known) <= {None} else tuple(dict.fromkeys(known))


def _short(caution: Caution) -> str:
    return caution.short or caution.text


def _parts_at(knowledge: Knowledge, engine: Engine, jobs: _PartsAt, at: StepAt) -> tuple[PieceLine, ...]:
    """The parts of a step, as many as the repairs that come by it here count."""
    here = [
        parts
        for job, parts in jobs.items()
        if at.id in steps_of(knowledge, knowledge.repairs[job.repair]) and _meets(engine, job, at.places)
    ]
    counts = {part: sum(parts.get(part, 0) for parts in here) for part in at.step.parts}
    return tuple(_piece(knowledge, part, count) for part, count in counts.items() if count)


def _meets(engine: Engine, job: Job, places: Sequence[Place]) -> bool:
    """Whether a job is done at one of these places, or its bank is among them."""
    if not places or job.place in places or job.place is None:
        return True
    return isinstance(job.place, int) and engine.bank_of(job.place) in places


def _piece(knowledge: Knowledge, part: str, count: int) -> PieceLine:
    known = knowledge.prices.parts[part]
    return PieceLine(part, known.name, count, known.single_use)


def _read_first(knowledge: Knowledge, steps: Sequence[StepAt]) -> tuple[str, ...]:
    """The full texts of all that stands at the steps and the general ones of their hazards, as the file orders them."""
    hazards = {hazard for at in steps for hazard in at.step.hazards}
    named = {name for at in steps for name in at.step.cautions}
    return tuple(
        caution.text for name, caution in knowledge.cautions.items() if name in named or set(caution.hazards) & hazards
    )


def _value(knowledge: Knowledge, engine: Engine, again: ReadAgain) -> ValueRow:
    known = knowledge.readings[again.reading]
    return ValueRow(
        reading=again.reading,
        name=known.name,
        place=again.place,
        unit=known.unit,
        limit=_limit(engine, known.limit or known.relative_to),
        before=_measured(knowledge, again.before),
    )


def _limit(engine: Engine, name: str | None) -> str:
    if name is None:
        return WORK["no_limit"]
    limit = engine.limits.get(name)
    if limit is None or limit.value is None:
        return MAKERS_VALUE
    notes = [limit.note] if limit.note else []
    if limit.default and WORK["default_limit"] not in (limit.note or ""):  # the note of a new engine's file says so
        notes.append(WORK["default_limit"])
    return f"{limit.value:g} {limit.unit}" + (f" ({'; '.join(notes)})" if notes else "")


def _measured(knowledge: Knowledge, measured: Measured | None) -> str:
    """What was read, with all that must be alike when it is read again."""
    if measured is None:
        return WORK["not_measured"]
    return ", ".join(
        filter(None, (measured_words(knowledge, measured), condition_words(knowledge, measured.condition)))
    )


def _complaints(knowledge: Knowledge, case: Case) -> tuple[ComplaintRow, ...]:
    """What was told to be there, be it softly, and not to be gone since."""
    rows = []
    for item, place, condition in still_there(knowledge, case):
        words = condition_words(knowledge, condition)
        name = knowledge.findings[item].name
        rows.append(ComplaintRow(f"{name}, {words}" if words else name, place))
    return tuple(rows)
