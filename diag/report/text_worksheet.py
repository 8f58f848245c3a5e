"""The pages of `diag sheet` and `diag estimate`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import Place
from diag.knowledge_base import Language
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.estimate_words import ENGLISH, EstimateWords, estimate_words
from diag.report.figures import duration, place_words, places_words, short_place
from diag.report.sheets_repair import TorqueLine
from diag.report.sheets_work import EstimateSheet, PieceLine, SectionPart, StepLine, ValueRow, WorkSheet
from diag.report.text_case import case_blocks
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import WORK

__all__ = [
    "by_hand_lines",
    "by_reading",
    "estimate_blocks",
    "estimate_rows",
    "noted",
    "pieces_words",
    "sheet_blocks",
    "stop_words",
    "where_words",
]

BLANK, TICK = WORK["blank"], WORK["tick"]
INDENT = 6  # under the first word of a numbered step


def sheet_blocks(sheet: WorkSheet) -> tuple[Block, ...]:
    """The work sheet for a terminal or a plain printer; boxes are `[_]` to tick and `____` to write on."""
    blocks: list[Block] = [*case_blocks(sheet.case), Heading(WORK["title"].format(title=sheet.title))]
    blocks += [Sentence(WORK["until_done"], strong=True), Cautions(sheet.danger)] if sheet.danger else []
    if not sheet.sections:
        return (*blocks, Sentence(WORK["nothing"]), Sentence(WORK["makers_first"], strong=True))
    blocks += [Sentence(WORK["makers_first"], strong=True)]
    blocks += [Sentence(WORK["demonstration"], strong=True)] if sheet.case.invented else []
    blocks += [Sentence(line, strong=True) for line in by_hand_lines(sheet)]
    blocks += [Sentence(WORK["time"].format(time=duration(sheet.minutes))), *(Sentence(note) for note in sheet.notes)]
    blocks += [Heading(WORK["read_first"]), Cautions(sheet.read_first)]
    blocks += [*_to_hand(sheet), *(block for section in sheet.sections for block in _section(section))]
    return (*blocks, *_rack(sheet), *_codes(sheet), *_values(sheet), *_end(sheet))


def by_hand_lines(sheet: WorkSheet) -> tuple[str, ...]:
    """That diag did not choose this work, and did not look whether it ends a danger."""
    if not sheet.by_hand:
        return ()
    return (WORK["by_hand"], *([WORK["by_hand_danger"]] if sheet.danger else []))


def _to_hand(sheet: WorkSheet) -> tuple[Block, ...]:
    columns = (Column(WORK["count"], right=True), Column(WORK["part"], grows=True), Column(WORK["remark"], speaks=True))
    rows = tuple((str(p.count), p.name, WORK["single_use"] if p.single_use else "") for p in sheet.parts)
    parts = Table(columns, rows, lead=1) if rows else Sentence(WORK["no_parts"])
    tools = (Heading(WORK["tools"]), Sentence(", ".join(sheet.tools))) if sheet.tools else ()
    return (Heading(WORK["parts"]), parts, *tools)


def _section(section: SectionPart) -> tuple[Block, ...]:
    blocks: list[Block] = [Heading(section.title)]
    if section.jobs:
        blocks.append(Sentence(WORK["jobs"].format(jobs="; ".join(section.jobs)), strong=True))
    if section.opens:
        blocks.append(Sentence(WORK["open_once"].format(what="; ".join(section.opens))))
    for step in section.steps:
        blocks += _step(step)
    return tuple(blocks)


def _step(step: StepLine) -> tuple[Block, ...]:
    """Cautions first, then what is done, then the boxes: ticks, what is fitted, values reached, what is noted."""
    text = step.text if step.places else f"{TICK} {step.text}"
    blocks: list[Block] = [Cautions((" ".join(step.cautions),))] if step.cautions else []
    blocks.append(Items("", (text,), numbered=True, first=step.number))
    lines = [" ".join(f"{TICK}{_box(place)}" for place in step.places)] if step.places else []
    if step.parts:
        lines.append(WORK["new"].format(parts=pieces_words(step.parts)))
    lines += [f"{torque.name}: {torque.words}; {_reached(torque, step.places)}" for torque in step.torques]
    if step.record:
        lines.append(f"{step.record}: {_blanks(step.places, BLANK)}")
    return (*blocks, *(Sentence(line, indent=INDENT) for line in lines))


def pieces_words(pieces: Sequence[PieceLine]) -> str:
    """`3 × combustion seal washer, 3 × clamp bolt`: as a parts list counts."""
    return ", ".join(f"{piece.count} × {piece.name}" for piece in pieces)


def _box(place: Place) -> str:
    return str(place) if isinstance(place, int) else place_words(place).replace(" ", "_")


def _reached(torque: TorqueLine, places: Sequence[Place]) -> str:
    unit = f"{BLANK}N·m" + (f"+{BLANK}{WORK['degrees']}" if torque.then_degrees is not None else "")
    return f"{WORK['reached']} {_blanks(places, unit)}"


def _blanks(places: Sequence[Place], blank: str) -> str:
    return " ".join(f"{_box(place)}:{blank}" for place in places) if places else blank


def _rack(sheet: WorkSheet) -> tuple[Block, ...]:
    if not sheet.rack:
        return ()
    names = ("from_cylinder", "rack_place", "number_on_part", "injector_new", "into_cylinder")
    rows = tuple(
        (str(row.cylinder), str(row.cylinder), BLANK, WORK["yes" if row.replaced else "no"], BLANK)
        for row in sheet.rack
    )
    return (Heading(WORK["rack"]), Table(tuple(Column(WORK[name]) for name in names), rows))


def _codes(sheet: WorkSheet) -> tuple[Block, ...]:
    if not sheet.codes:
        return ()
    names = ("cylinder", "code_on_part", "code_before", "code_after", "checked")
    rows = tuple(
        (str(row.cylinder), *(noted(each) or BLANK for each in (row.on_part, row.in_unit)), BLANK, TICK)
        for row in sheet.codes
    )
    form = WORK["ledger_form"].format(
        length=MAKERS_VALUE if sheet.code_length is None else sheet.code_length,
        alphabet=sheet.code_alphabet or MAKERS_VALUE,
    )
    return (Heading(WORK["ledger"]), Sentence(form), Table(tuple(Column(WORK[name]) for name in names), rows))


def _values(sheet: WorkSheet) -> tuple[Block, ...]:
    blocks: list[Block] = []
    banks = len(sheet.case.banks)
    if sheet.values:
        blocks.append(Heading(WORK["values"]))
    for name, rows in by_reading(sheet):
        columns = (Column(WORK["place"]), Column(WORK["was"]), Column(WORK["now"]))
        cells = tuple((short_place(row.place, banks), row.before, f"{BLANK} {row.unit}") for row in rows)
        blocks += [Sentence(f"{name}; {WORK['limit']}: {rows[0].limit}", strong=True), Table(columns, cells)]
    if sheet.complaints:
        columns = (Column(WORK["what"], grows=True), Column(WORK["gone"]), Column(WORK["still"]))
        said = tuple((where_words(row.what, row.place, banks), TICK, TICK) for row in sheet.complaints)
        blocks += [Heading(WORK["complaint"]), Table(columns, said)]
    return tuple(blocks)


def noted(code: str | None) -> str:
    """A trim code that the case notes; nothing where it notes none, so that a blank stands there."""
    if code is None:
        return ""
    return WORK["noted"].format(code=code) if code else WORK["noted_none"]


def by_reading(sheet: WorkSheet) -> tuple[tuple[str, tuple[ValueRow, ...]], ...]:
    """The values to read again, those of one reading together, with its name."""
    names = dict.fromkeys(row.name for row in sheet.values)
    return tuple((name, tuple(row for row in sheet.values if row.name == name)) for name in names)


def where_words(text: str, place: Place, banks: int) -> str:
    """`chuffing, engine cold, cylinder 2`."""
    return text if place is None else f"{text}, {place_words(place, banks)}"


def _end(sheet: WorkSheet) -> tuple[Block, ...]:
    blocks: list[Block] = []
    if sheet.stops:
        blocks += [
            Heading(WORK["stop"]),
            Items("", tuple(stop_words(line.what, line.places, len(sheet.case.banks)) for line in sheet.stops)),
        ]
    blocks += [Heading(WORK["record"]), Items("", tuple(f"{line}: {BLANK}{BLANK}" for line in sheet.record))]
    return (*blocks, Sentence(WORK["makers_first"], strong=True))


def stop_words(what: str, places: Sequence[Place], banks: int) -> str:
    """What may happen, with its places."""
    known = [place for place in places if place is not None]
    return WORK["stop_at"].format(name=what, places=places_words(known, banks)) if known else what


def estimate_blocks(sheet: EstimateSheet, language: Language | None = None) -> tuple[Block, ...]:
    """The estimate: lines, what may come on top, tax, total, and the range."""
    words = estimate_words(language)
    heading = Heading(sheet.case.title, level=1) if sheet.case.title else Heading(words.facts(sheet.case), level=1)
    head = case_blocks(sheet.case) if words.code == ENGLISH else (heading, Sentence(words.facts(sheet.case)))
    blocks: list[Block] = [*head, Heading(words.say("title", title=sheet.title))]
    blocks += [Sentence(words.say("by_hand"))] if sheet.by_hand else []
    if not sheet.lines:
        return (*blocks, Sentence(words.say("nothing")))
    columns = (
        Column(words.say("line"), grows=True),
        Column(words.say("quantity"), right=True, speaks=True),
        Column(words.say("each"), right=True),
        Column(words.say("amount"), right=True, speaks=True),
    )
    total = words.money(sheet.total, sheet)
    return (
        *blocks,
        Table(columns, (*estimate_rows(sheet, words), (words.say("net"), "", "", words.money(sheet.net, sheet))),
              last_is_total=True),
        Sentence(f"{words.tax(sheet)}: {words.money(sheet.tax, sheet)}"),
        Sentence(f"{words.say('total')}: {total}", strong=True),
        *(Sentence(line) for line in words.range(sheet)),
        Sentence(f"{words.say('agreed')}: {BLANK} {sheet.currency}   {words.say('signature')}: {BLANK}{BLANK}"),
    )  # fmt: skip


def estimate_rows(sheet: EstimateSheet, words: EstimateWords) -> tuple[tuple[str, str, str, str], ...]:
    """Every line with quantity, price and amount: first what is certain, then what may come on top."""
    certain = (
        (line.text, words.quantity(line.quantity, line.unit), words.each(line.each, line.unit, sheet),
         words.money(line.amount, sheet))
        for line in sheet.lines
    )  # fmt: skip
    in_case = (
        (f"{each.text}: {words.risk(each, sheet)}", "", "", words.money(each.amount, sheet)) for each in sheet.risks
    )
    return (*certain, *in_case)
