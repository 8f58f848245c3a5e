"""The work sheet and the estimate as one HTML page each: printable, with boxes to fill, nothing fetched from outside.

Plain black on white, so that it reads on any printer; no meaning rests on colour. May import: figures, sheets, words.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from diag.basics import Place
from diag.knowledge_base import Language
from diag.report.estimate_words import ENGLISH, estimate_words
from diag.report.figures import direction, duration, place_words, short_place
from diag.report.sheets_case import CaseLine
from diag.report.sheets_repair import TorqueLine
from diag.report.sheets_work import EstimateSheet, SectionPart, StepLine, WorkSheet
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
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import WORK

__all__ = ["STYLE", "estimate_html", "sheet_html"]

STYLE = """
@page { size: A4; margin: 14mm; }
html { color: #111111; background: #ffffff; font: 1rem/1.4 sans-serif; color-scheme: light; }
body { max-width: 50rem; margin: 0 auto; padding: 0.5rem; }
h1 { font-size: 1.4rem; margin: 0 0 0.3rem; }
h1, p { overflow-wrap: anywhere; }
h2 { font-size: 1.15rem; margin: 1.2rem 0 0.3rem; border-bottom: 2px solid #111111; break-after: avoid; }
p { margin: 0.2rem 0; }
.first, .caution { border: 2px solid #111111; padding: 0.2rem 0.5rem; }
.caution { margin: 0.3rem 0 0.1rem; border-width: 1px 1px 1px 6px; break-after: avoid; }
.step { break-inside: avoid; margin: 0.5rem 0; }
.what { font-weight: bold; }
.boxes { display: flex; flex-wrap: wrap; gap: 0.2rem 1rem; margin: 0.2rem 0; }
label { white-space: nowrap; }
input { font: inherit; color: #111111; background: #ffffff; border: 1px solid #555555; }
input[type=checkbox] { width: 1.5rem; height: 1.5rem; vertical-align: middle; }
input[type=text] { width: 5rem; height: 1.6rem; }
.wide input[type=text], td input[type=text] { width: 100%; min-width: 3rem; box-sizing: border-box; }
.wide label { display: block; white-space: normal; }
table { border-collapse: collapse; width: 100%; margin: 0.3rem 0; }
th, td { border: 1px solid #555555; padding: 0.2rem 0.4rem; text-align: start; vertical-align: top; }
tr { break-inside: avoid; }
.money { text-align: end; white-space: nowrap; }
.sum { font-weight: bold; }
@media (max-width: 40rem) {
  .money { white-space: normal; }
  th, td { padding: 0.2rem; }
}
@media print {
  html { font-size: 83%; }
  body { max-width: none; padding: 0; }
}
"""


def sheet_html(sheet: WorkSheet) -> str:
    """The work sheet."""
    title = WORK["title"].format(title=sheet.title)
    body = [
        *_head(sheet.case, title),
        *([_p(WORK["until_done"], "what")] if sheet.danger else []),
        *_cautions(sheet.danger),
    ]
    body.append(_p(WORK["makers_first"], "first"))
    if not sheet.sections:
        return _page(title, [*body, _p(WORK["nothing"])])
    body += [_p(WORK["demonstration"], "first")] if sheet.case.invented else []
    body += [_p(line, "first") for line in by_hand_lines(sheet)]
    body += [_p(WORK["time"].format(time=duration(sheet.minutes))), *(_p(note) for note in sheet.notes)]
    body += [_h2(WORK["read_first"]), _list(sheet.read_first)]
    body += [_h2(WORK["parts"]), _parts(sheet)]
    body += [_h2(WORK["tools"]), _p(", ".join(sheet.tools))] if sheet.tools else []
    for section in sheet.sections:
        body += _section(section)
    body += [*_rack(sheet), *_codes(sheet), *_values(sheet)]
    if sheet.stops:
        body += [
            _h2(WORK["stop"]),
            _list(stop_words(line.what, line.places, len(sheet.case.banks)) for line in sheet.stops),
        ]
    body += [_h2(WORK["record"]), '<div class="wide">', *(_field(line) for line in sheet.record), "</div>"]
    return _page(title, [*body, _p(WORK["makers_first"], "first")])


def estimate_html(sheet: EstimateSheet, language: Language | None = None) -> str:
    """The estimate."""
    words = estimate_words(language)
    title = words.say("title", title=sheet.title)
    facts = [f"<h1>{escape(title)}</h1>", _p(sheet.case.title), _p(words.facts(sheet.case))]
    head = _head(sheet.case, title) if words.code == ENGLISH else facts
    body = [*head, *([_p(words.say("by_hand"))] if sheet.by_hand else [])]
    if not sheet.lines:
        return _page(title, [*body, _p(words.say("nothing"))], words.code)
    rows = [_charge(*row) for row in estimate_rows(sheet, words)]
    sums = ((words.say("net"), sheet.net), (words.tax(sheet), sheet.tax), (words.say("total"), sheet.total))
    rows += [_charge(said, "", "", words.money(amount, sheet), "sum") for said, amount in sums]
    body += [_table([words.say(name) for name in ("line", "quantity", "each", "amount")], rows)]
    body += [_p(line) for line in words.range(sheet)]
    body += ['<div class="wide">', _field(f"{words.say('agreed')} ({sheet.currency})"), _field(words.say("signature"))]
    return _page(title, [*body, "</div>"], words.code)


def _page(title: str, body: Iterable[str], language: str = "en") -> str:
    inside = "\n".join(body)
    return (
        f'<!DOCTYPE html>\n<html lang="{language}" dir="{direction(language)}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{inside}\n</main>\n"
        "</body>\n</html>\n"
    )


def _head(case: CaseLine, title: str) -> list[str]:
    heading, facts = case_blocks(case)
    return [f"<h1>{escape(title)}</h1>", _p(getattr(heading, "text", "")), _p(getattr(facts, "text", ""))]


def _p(text: str, kind: str = "") -> str:
    return f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def _h2(text: str) -> str:
    return f"<h2>{escape(text)}</h2>"


def _list(items: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>"


def _cautions(texts: Sequence[str]) -> list[str]:
    return [_p(f"{WORK['caution']}: {text}", "caution") for text in texts]


def _tick(label: str, shown: str) -> str:
    return f'<label><input type="checkbox" aria-label="{escape(label)}"> {escape(shown)}</label>'


def _blank(label: str) -> str:
    return f'<input type="text" aria-label="{escape(label)}">'


def _field(label: str) -> str:
    return f'<label>{escape(label)} <input type="text"></label>'


def _table(headings: Sequence[str], rows: Iterable[str]) -> str:
    head = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in headings)
    return f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n" + "\n".join(rows) + "\n</tbody>\n</table>"


def _row(first: str, *cells: str) -> str:
    """A row: `first` is plain text, `cells` are HTML."""
    return f'<tr><th scope="row">{escape(first)}</th>' + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def _charge(text: str, quantity: str, each: str, amount: str, kind: str = "") -> str:
    cells = "".join(f'<td class="money">{escape(cell)}</td>' for cell in (quantity, each, amount))
    opening = f'<tr class="{kind}">' if kind else "<tr>"
    return f'{opening}<th scope="row">{escape(text)}</th>{cells}</tr>'


def _parts(sheet: WorkSheet) -> str:
    if not sheet.parts:
        return _p(WORK["no_parts"])
    rows = [
        _row(part.name, str(part.count), escape(WORK["single_use"]) if part.single_use else "", _tick(part.name, ""))
        for part in sheet.parts
    ]
    return _table([WORK["part"], WORK["count"], WORK["remark"], WORK["laid_out"]], rows)


def _section(section: SectionPart) -> list[str]:
    found = [_h2(section.title)]
    if section.jobs:
        found.append(_p(WORK["jobs"].format(jobs="; ".join(section.jobs)), "what"))
    if section.opens:
        found.append(_p(WORK["open_once"].format(what="; ".join(section.opens))))
    return [*found, *(_step(step) for step in section.steps)]


def _step(step: StepLine) -> str:
    found = _cautions([" ".join(step.cautions)] if step.cautions else [])
    found.append(_p(f"{step.number}. {step.text}", "what"))
    places: Sequence[Place] = step.places or (None,)
    ticks = [_tick(f"{step.number}, {_named(place)}", _shown(place)) for place in places]
    found.append(_boxes("", ticks))
    if step.parts:
        found.append(_p(WORK["new"].format(parts=pieces_words(step.parts))))
    found += [_torque(torque, places, step.number) for torque in step.torques]
    if step.record:
        blanks = [f"{escape(_shown(place, ''))} {_blank(f'{step.record}, {_named(place)}')}" for place in places]
        found.append(_boxes(f"{step.record}:", blanks))
    return '<div class="step">' + "\n".join(found) + "</div>"


def _boxes(label: str, boxes: Iterable[str]) -> str:
    opening = f"<span>{escape(label)}</span>" if label else ""
    return f'<div class="boxes">{opening}' + "".join(f"<span>{box}</span>" for box in boxes) + "</div>"


def _named(place: Place) -> str:
    return WORK["done"] if place is None else place_words(place)


def _shown(place: Place, alone: str | None = None) -> str:
    """A place beside its box; `alone` where there is but one box (else 'done')."""
    if place is None:
        return WORK["done"] if alone is None else alone
    return str(place) if isinstance(place, int) else place_words(place)


def _torque(torque: TorqueLine, places: Sequence[Place], number: int) -> str:
    boxes = []
    for place in places:
        what = f"{number}, {torque.name}, {_named(place)}"
        angle = _blank(f"{what}, {WORK['degrees']}")
        turn = f" + {angle} {WORK['degrees']}" if torque.then_degrees is not None else ""
        boxes.append(f"{escape(_shown(place, ''))} {_blank(f'{what}, N·m')} N·m{turn}")
    return _boxes(f"{torque.name}: {torque.words}; {WORK['reached']}", boxes)


def _rack(sheet: WorkSheet) -> list[str]:
    if not sheet.rack:
        return []
    names = ("from_cylinder", "rack_place", "number_on_part", "injector_new", "into_cylinder")
    rows = [
        _row(
            str(row.cylinder),
            str(row.cylinder),
            _blank(f"{WORK['number_on_part']}, {row.cylinder}"),
            escape(WORK["yes" if row.replaced else "no"]),
            _blank(f"{WORK['into_cylinder']}, {row.cylinder}"),
        )
        for row in sheet.rack
    ]
    return [_h2(WORK["rack"]), _table([WORK[name] for name in names], rows)]


def _codes(sheet: WorkSheet) -> list[str]:
    if not sheet.codes:
        return []
    names = ("code_on_part", "code_before", "code_after")
    rows = [
        _row(
            str(row.cylinder),
            *(
                escape(noted(told)) or _blank(f"{WORK[name]}, {row.cylinder}")
                for name, told in zip(names, (row.on_part, row.in_unit, None), strict=True)
            ),
            _tick(f"{WORK['checked']}, {row.cylinder}", ""),
        )
        for row in sheet.codes
    ]
    form = WORK["ledger_form"].format(
        length=MAKERS_VALUE if sheet.code_length is None else sheet.code_length,
        alphabet=sheet.code_alphabet or MAKERS_VALUE,
    )
    columns = [WORK[name] for name in ("cylinder", *names, "checked")]
    return [_h2(WORK["ledger"]), _p(form), _table(columns, rows)]


def _values(sheet: WorkSheet) -> list[str]:
    found: list[str] = []
    banks = len(sheet.case.banks)
    for name, values in by_reading(sheet):
        columns = [WORK[each] for each in ("place", "was", "now")]
        rows = [
            _row(place, escape(row.before), f"{_blank(f'{name}, {place}')} {escape(row.unit)}")
            for row in values
            for place in [short_place(row.place, banks)]
        ]
        note = f"{WORK['limit']}: {values[0].limit}"
        found += [_h2(f"{WORK['values']}: {name}"), _p(note), _table(columns, rows)]
    if sheet.complaints:
        columns = [WORK[name] for name in ("what", "gone", "still")]
        rows = [
            _row(name, _tick(f"{name}, {WORK['gone']}", ""), _tick(f"{name}, {WORK['still']}", ""))
            for row in sheet.complaints
            for name in [where_words(row.what, row.place, len(sheet.case.banks))]
        ]
        found += [_h2(WORK["complaint"]), _table(columns, rows)]
    return found
