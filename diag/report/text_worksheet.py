"""The pages of `diag sheet` and `diag estimate`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import Place
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.figures import duration, number, per_cent, place_words, places_words, short_place
from diag.report.sheets import TorqueLine
from diag.report.sheets_work import EstimateSheet, PieceLine, RiskRow, SectionPart, StepLine, ValueRow, WorkSheet
from diag.report.text_case import case_blocks
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import ESTIMATE, WORK

__all__ = [
    "by_hand_lines",
    "by_reading",
    "each_words",
    "estimate_blocks",
    "exact_money",
    "pieces_words",
    "quantity_words",
    "risk_words",
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
    return (Heading(WORK["parts"]), parts, Heading(WORK["tools"]), Sentence(", ".join(sheet.tools)))


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
    rows = tuple((str(row.cylinder), BLANK, BLANK, BLANK, TICK) for row in sheet.codes)
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


def exact_money(amount: float, sheet: EstimateSheet) -> str:
    """Money to the smallest unit of its currency: `269.37 EUR`."""
    return f"{number(amount, sheet.digits)} {sheet.currency}"


def quantity_words(quantity: float, unit: str) -> str:
    """`68 min`, `3`, or nothing for a sum."""
    return {"min": ESTIMATE["minutes"].format(minutes=quantity), "piece": f"{quantity:g}"}.get(unit, "")


def each_words(each: float, unit: str, sheet: EstimateSheet) -> str:
    """`96.00 EUR an hour`, `4.00 EUR`."""
    money = exact_money(each, sheet)
    return ESTIMATE["per_hour"].format(money=money) if unit == "min" else money


def risk_words(risk: RiskRow, sheet: EstimateSheet) -> str:
    """How likely it is, and what it then costs."""
    money = exact_money(risk.each, sheet)
    if abs(risk.expected - risk.chance) > 1e-9:
        times = ESTIMATE["risk_several"].format(expected=risk.expected, money=money)
        return f"{per_cent(risk.chance)}; {times}"
    return ESTIMATE["risk_how"].format(chance=per_cent(risk.chance), money=money)


def estimate_blocks(sheet: EstimateSheet) -> tuple[Block, ...]:
    """The estimate: lines, what may come on top, tax, total, and the range."""
    blocks: list[Block] = [*case_blocks(sheet.case), Heading(ESTIMATE["title"].format(title=sheet.title))]
    blocks += [Sentence(WORK["by_hand"])] if sheet.by_hand else []
    if not sheet.lines:
        return (*blocks, Sentence(ESTIMATE["nothing"]))
    columns = (
        Column(ESTIMATE["line"], grows=True),
        Column(ESTIMATE["quantity"], right=True, speaks=True),
        Column(ESTIMATE["each"], right=True),
        Column(ESTIMATE["amount"], right=True, speaks=True),
    )
    rows = [
        (line.text, quantity_words(line.quantity, line.unit), each_words(line.each, line.unit, sheet), money)
        for line in sheet.lines
        for money in [exact_money(line.amount, sheet)]
    ]
    rows += [
        (f"{risk.text}: {risk_words(risk, sheet)}", "", "", exact_money(risk.amount, sheet)) for risk in sheet.risks
    ]
    rows.append((ESTIMATE["net"], "", "", exact_money(sheet.net, sheet)))
    tax = ESTIMATE["tax"].format(rate=f"{100 * sheet.tax_rate:g} %")
    return (
        *blocks,
        Table(columns, tuple(rows), last_is_total=True),
        Sentence(f"{tax}: {exact_money(sheet.tax, sheet)}"),
        Sentence(f"{ESTIMATE['total']}: {exact_money(sheet.total, sheet)}", strong=True),
        *(Sentence(line) for line in range_lines(sheet)),
        Sentence(f"{ESTIMATE['agreed']}: {BLANK} {sheet.currency}   {ESTIMATE['signature']}: {BLANK}{BLANK}"),
    )


def range_lines(sheet: EstimateSheet) -> tuple[str, ...]:
    """What it can come to, in sentences, and what the page is."""
    with_tax = 1.0 + sheet.tax_rate
    lines = []
    if sheet.risks:
        lines += [
            ESTIMATE["in_case"],
            ESTIMATE["sure"].format(
                chance=per_cent(sheet.p_least),
                least=exact_money(sheet.least, sheet),
                least_tax=exact_money(sheet.least * with_tax, sheet),
            ),
            ESTIMATE["bad_luck"].format(
                bad=exact_money(sheet.bad_luck, sheet), bad_tax=exact_money(sheet.bad_luck * with_tax, sheet)
            ),
            ESTIMATE["worse"],
        ]
    return (*lines, ESTIMATE["estimate_only"], *([ESTIMATE["invented"]] if sheet.case.invented else []))
