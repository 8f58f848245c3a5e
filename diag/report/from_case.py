"""From a case to the lines that name it and say what was told.

May import: casebook, knowledge_base, figures, sheets.
"""

from __future__ import annotations

from dataclasses import replace

from diag.basics import listed
from diag.casebook import NOT_LOOKED, Answer, Case, Measured, Work
from diag.knowledge_base import Knowledge
from diag.report.figures import at_place, give_or_take, place_words, time_ago
from diag.report.sheets_case import BankLine, CaseLine, EvidenceLine
from diag.report.words import EVIDENCE

__all__ = ["case_line", "condition_words", "evidence_lines", "measured_words", "told_line", "work_text"]


def case_line(case: Case) -> CaseLine:
    """The head of every sheet."""
    engine = case.engine
    return CaseLine(
        title=case.title,
        engine=case.engine_id,
        engine_name=engine.name,
        invented=engine.invented,
        injector=engine.injector,
        banks=tuple(BankLine(letter, numbers) for letter, numbers in engine.banks.items()),
        firing_order=engine.firing_order,
        cylinder_one=engine.cylinder_one,
        distance_km=case.distance_km,
        age_years=case.age_years,
    )


def evidence_lines(knowledge: Knowledge, case: Case) -> tuple[EvidenceLine, ...]:
    """All that was told, in its order: history first, then the epochs with the work between them."""
    lines = [_work_line(EVIDENCE["history"].format(work=work_text(knowledge, work))) for work in case.history]
    for tried, epoch in enumerate(case.epochs):
        told = [_work_line(EVIDENCE["tried"].format(work=work_text(knowledge, work))) for work in epoch.work]
        told += [_answer_line(knowledge, answer) for answer in epoch.answers]
        told += [_measured_line(knowledge, measured) for measured in epoch.measured]
        lines += [replace(line, after=tried) for line in told]
    return tuple(lines)


def told_line(knowledge: Knowledge, told: Answer | Measured) -> EvidenceLine:
    """One thing that was told."""
    return _answer_line(knowledge, told) if isinstance(told, Answer) else _measured_line(knowledge, told)


def _work_line(text: str) -> EvidenceLine:
    return EvidenceLine(text, None, "", used=True, note="")


def _answer_line(knowledge: Knowledge, answer: Answer) -> EvidenceLine:
    soft = knowledge.answers.get(answer.answer)
    silent = answer.answer == NOT_LOOKED or (soft is not None and soft.ratio.value == 1)
    what = _under(knowledge, knowledge.findings[answer.item].name, answer.condition)
    said = soft.name if soft is not None else EVIDENCE[answer.answer]
    return EvidenceLine(what, answer.place, said, not silent, EVIDENCE["tells_nothing"] if silent else "")


def _measured_line(knowledge: Knowledge, measured: Measured) -> EvidenceLine:
    what = _under(knowledge, knowledge.readings[measured.item].name, measured.condition)
    said = measured_words(knowledge, measured)
    return EvidenceLine(what, measured.place, said, used=True, note="", unit=measured.unit)


def measured_words(knowledge: Knowledge, measured: Measured) -> str:
    """A value with its error, or beyond what it is, and what it was read at: `60 mL/min at 400 bar`. A reading that the
    knowledge does not have (any more) keeps the digits that were told."""
    reading = knowledge.readings.get(measured.item)
    plain = f"{measured.value:g}" if measured.error is None else f"{measured.value:g} +/- {measured.error:.2g}"
    number = plain if reading is None else give_or_take(measured.value, reading.decimals, measured.error)
    value = f"{number} {measured.unit}".strip()
    said = EVIDENCE[measured.censored].format(value=value) if measured.censored else value
    if measured.at is not None:
        said = EVIDENCE["read_at"].format(value=said, at=f"{measured.at:g} {measured.at_unit}")
    return said


def work_text(knowledge: Knowledge, work: Work) -> str:
    """`replace the injector, cylinder 3, 4 months ago, helped: no`."""
    parts = [at_place(knowledge.repairs[work.repair].name, work.place)]
    if work.other is not None:
        parts = [EVIDENCE["exchanged"].format(place=parts[0], other=place_words(work.other))]
    lapses = {lapse: known.name for one in knowledge.components.values() for lapse, known in one.lapses.items()}
    if work.but:
        parts.append(EVIDENCE["but"].format(lapses=listed([lapses[each] for each in work.but], "and")))
    if work.months_ago is not None:
        parts.append(time_ago(work.months_ago))
    if work.km_ago is not None:
        parts.append(EVIDENCE["km_ago"].format(km=work.km_ago))
    if work.helped is not None:
        parts.append(EVIDENCE["helped"].format(helped=EVIDENCE[f"helped_{work.helped}"]))
    return ", ".join([*parts, *([work.note] if work.note else [])])


def condition_words(knowledge: Knowledge, condition: str | None) -> str | None:
    """A condition as the vocabulary words it."""
    if condition is None:
        return None
    return {str(key): words for key, words in knowledge.vocabulary.conditions.items()}.get(condition, condition)


def _under(knowledge: Knowledge, name: str, condition: str | None) -> str:
    words = condition_words(knowledge, condition)
    return f"{name}, {words}" if words else name
