"""The work sheet and the estimate as PDF, from the same records as their pages.

May import: `diag.basics`, sheets, words, `typesetting`.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import Place
from diag.knowledge_base import Language
from diag.report.estimate_words import ENGLISH, estimate_words
from diag.report.figures import duration, place_words, short_place
from diag.report.sheets_case import CaseLine
from diag.report.sheets_repair import TorqueLine
from diag.report.sheets_work import EstimateSheet, StepLine, WorkSheet
from diag.report.text_case import case_blocks
from diag.report.text_worksheet import (
    by_hand_lines,
    by_reading,
    estimate_rows,
    noted,
    pieces_words,
    stop_words,
    where_words,
)
from diag.report.typesetting import pdf_of
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import WORK

__all__ = ["estimate_pdf", "sheet_pdf"]

TICK = WORK["tick"]

Content = dict[str, object]


def sheet_pdf(sheet: WorkSheet) -> bytes:
    """The work sheet as PDF, A4. Raises UsageError where typst is not installed."""
    working = bool(sheet.sections)
    marks = [WORK["demonstration"]] if sheet.case.invented and working else []
    time = WORK["time"].format(time=duration(sheet.minutes)) if working else WORK["nothing"]
    content: Content = {
        **_head(sheet.case, WORK["title"].format(title=sheet.title)),
        "makers_first": WORK["makers_first"],
        "caution": WORK["caution"],
        "danger_heading": WORK["until_done"] if sheet.danger else "",
        "danger": sheet.danger,
        "marks": [*marks, *by_hand_lines(sheet)],
        "notes": [time, *sheet.notes],
        "read_first_heading": WORK["read_first"],
        "read_first": sheet.read_first,
        "first_tables": [_parts(sheet)] if sheet.parts else [],
        "tools_heading": WORK["tools"],
        "tools": ", ".join(sheet.tools),
        "sections": [
            {
                "title": section.title,
                "jobs": WORK["jobs"].format(jobs="; ".join(section.jobs)) if section.jobs else "",
                "opens": WORK["open_once"].format(what="; ".join(section.opens)) if section.opens else "",
                "steps": [_step(step) for step in section.steps],
            }
            for section in sheet.sections
        ],
        "tables": _tables(sheet),
        "stops_heading": WORK["stop"],
        "stops": [stop_words(line.what, line.places, len(sheet.case.banks)) for line in sheet.stops],
        "record_heading": WORK["record"],
        "record": sheet.record,
    }
    return pdf_of("work_sheet", content)


def estimate_pdf(sheet: EstimateSheet, language: Language | None = None) -> bytes:
    """The estimate as PDF, A4. Raises UsageError where typst is not installed."""
    words = estimate_words(language)
    title, lines = words.say("title", title=sheet.title), estimate_rows(sheet, words)
    facts: Content = {"title": title, "case": sheet.case.title, "facts": words.facts(sheet.case)}
    sums = ((words.say("net"), sheet.net), (words.tax(sheet), sheet.tax), (words.say("total"), sheet.total))
    content: Content = {
        **(_head(sheet.case, title) if words.code == ENGLISH else facts),
        "language": words.code,
        "marks": [words.say("by_hand")] if sheet.by_hand else [],
        "columns": [words.say(name) for name in ("line", "quantity", "each", "amount")],
        "rows": lines,
        "sums": [(said, words.money(amount, sheet)) for said, amount in sums],
        "range": words.range(sheet) if lines else (words.say("nothing"),),
        "fields": [f"{words.say('agreed')} ({sheet.currency})", words.say("signature")] if lines else [],
    }
    return pdf_of("estimate", content)


def _head(case: CaseLine, title: str) -> Content:
    heading, facts = case_blocks(case)
    return {"title": title, "case": getattr(heading, "text", ""), "facts": getattr(facts, "text", "")}


def _step(step: StepLine) -> Content:
    places: Sequence[Place] = step.places or (None,)
    return {
        "number": step.number,
        "text": step.text,
        "caution": " ".join(step.cautions),
        "ticks": [_box(place) or WORK["done"] for place in places],
        "new": WORK["new"].format(parts=pieces_words(step.parts)) if step.parts else "",
        "torques": [_torque(torque, places) for torque in step.torques],
        "record": step.record,
        "record_places": [_box(place) for place in places],
    }


def _box(place: Place) -> str:
    """What stands beside a box; nothing where there is but one."""
    if place is None:
        return ""
    return str(place) if isinstance(place, int) else place_words(place)


def _torque(torque: TorqueLine, places: Sequence[Place]) -> Content:
    return {
        "words": f"{torque.name}: {torque.words}; {WORK['reached']}",
        "turn": torque.then_degrees is not None,
        "places": [_box(place) for place in places],
    }


def _table(heading: str, columns: Sequence[str], wide: Sequence[int], rows: object, note: str = "") -> Content:
    return {"heading": heading, "columns": columns, "wide": wide, "rows": rows, "note": note}


def _parts(sheet: WorkSheet) -> Content:
    columns = [WORK[name] for name in ("count", "part", "remark", "laid_out")]
    rows = [
        (str(piece.count), piece.name, WORK["single_use"] if piece.single_use else "", TICK) for piece in sheet.parts
    ]
    return _table(WORK["parts"], columns, (1, 4, 3, 1), rows)


def _tables(sheet: WorkSheet) -> list[Content]:
    """The tables to fill in, those that have rows."""
    banks = len(sheet.case.banks)
    rack = [(str(row.cylinder), "", WORK["yes" if row.replaced else "no"], "") for row in sheet.rack]
    codes = [
        (str(row.cylinder), _wrapping(noted(row.on_part)), _wrapping(noted(row.in_unit)), "", TICK)
        for row in sheet.codes
    ]
    gone = [(where_words(row.what, row.place, banks), TICK, TICK) for row in sheet.complaints]
    form = WORK["ledger_form"].format(
        length=MAKERS_VALUE if sheet.code_length is None else sheet.code_length,
        alphabet=sheet.code_alphabet or MAKERS_VALUE,
    )

    def named(*names: str) -> list[str]:
        return [WORK[name] for name in names]

    made = [
        _table(
            WORK["rack"], named("from_cylinder", "number_on_part", "injector_new", "into_cylinder"), (2, 4, 2, 2), rack
        ),
        _table(
            WORK["ledger"],
            named("cylinder", "code_on_part", "code_before", "code_after", "checked"),
            (2, 5, 5, 5, 2),
            codes,
            form,
        ),
        *_values(sheet),
        _table(WORK["complaint"], named("what", "gone", "still"), (6, 1, 1), gone),
    ]
    return [table for table in made if table["rows"]]


def _wrapping(code: str) -> str:
    """A long code, so that it may go on in the next line of its cell: nothing is seen where it does not."""
    return "\u200b".join(code[start : start + 4] for start in range(0, len(code), 4))


def _values(sheet: WorkSheet) -> list[Content]:
    """A table for each reading, its limit said once above it."""
    banks = len(sheet.case.banks)
    made = []
    for name, rows in by_reading(sheet):
        cells = [(short_place(row.place, banks), row.before, row.unit) for row in rows]
        note = f"{WORK['limit']}: {rows[0].limit}"
        columns = [WORK[each] for each in ("place", "was", "now")]
        made.append(_table(f"{WORK['values']}: {name}", columns, (1, 2, 3), cells, note))
    return made
