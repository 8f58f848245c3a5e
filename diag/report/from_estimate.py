"""From an estimate to its sheet, and to CSV. May import: worksheet, casebook, knowledge_base, the sheets, words."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.basics import Place
from diag.casebook import Case
from diag.knowledge_base import Engine, Knowledge
from diag.report.figures import places_words
from diag.report.from_case import case_line
from diag.report.from_repair import access_words
from diag.report.from_worksheet import work_title
from diag.report.sheets_work import ChargeRow, EstimateSheet, RiskRow
from diag.report.words_work import ESTIMATE

if TYPE_CHECKING:
    from diag.worksheet import ChargeLine, Estimate, RiskLine

__all__ = ["CSV_COLUMNS", "estimate_csv", "estimate_sheet"]

CSV_COLUMNS = ("kind", "item", "text", "quantity", "unit", "price", "price_of", "amount", "currency")
_PRICE_OF = {"min": "60 min", "piece": "piece", "sum": "sum"}


def estimate_sheet(knowledge: Knowledge, case: Case, estimate: Estimate) -> EstimateSheet:
    """The sheet of `diag estimate`."""
    return EstimateSheet(
        case=case_line(case),
        title=work_title(knowledge, case.engine, estimate.chosen),
        by_hand=estimate.chosen.option is None,
        currency=estimate.currency,
        digits=estimate.digits,
        lines=tuple(_charge(knowledge, case.engine, line) for line in estimate.lines),
        risks=tuple(_risk(case.engine, line) for line in estimate.risks),
        net=estimate.net.amount,
        tax_rate=estimate.tax_rate,
        tax=estimate.tax.amount,
        total=estimate.total.amount,
        least=estimate.range.least.amount,
        p_least=estimate.range.p_least,
        bad_luck=estimate.range.bad_luck.amount,
    )


def _charge(knowledge: Knowledge, engine: Engine, line: ChargeLine) -> ChargeRow:
    if line.kind == "access":
        name = access_words(knowledge, line.item)
    elif line.kind == "parts":
        name = knowledge.prices.parts[line.item].name
    else:
        name = knowledge.repairs[line.item].name if line.item in knowledge.repairs else ""
    places = () if line.kind == "access" and len(engine.banks) == 1 else line.places
    text = _with_places(ESTIMATE[line.kind].format(name=name), places, engine)
    return ChargeRow(line.kind, line.item, text, line.quantity, line.unit, line.each.amount, line.amount.amount)


def _risk(engine: Engine, line: RiskLine) -> RiskRow:
    text = _with_places(ESTIMATE["risk"].format(name=line.name), line.places, engine)
    return RiskRow(text, line.chance, line.expected, line.each.amount, line.amount.amount)


def _with_places(text: str, places: Sequence[Place], engine: Engine) -> str:
    known = [place for place in places if place is not None]
    return f"{text}, {places_words(known, len(engine.banks))}" if known else text


def estimate_csv(sheet: EstimateSheet) -> str:
    """The estimate as CSV (RFC 4180, UTF-8): one row a line, amounts as plain decimals, the currency in its own column.

    `quantity` of `unit`, each `price_of` at `price`, is `amount` to within the smallest unit of the currency. The rows
    'net' (the exact sum of the amounts above), 'tax' and 'total' come last.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)

    def row(kind: str, item: str, text: str, how: Sequence[str], amount: float) -> None:
        writer.writerow((kind, item, text, *how, f"{amount:.{sheet.digits}f}", sheet.currency))

    for line in sheet.lines:
        how = (f"{line.quantity:g}", line.unit, f"{line.each:.{sheet.digits}f}", _PRICE_OF[line.unit])
        row(line.kind, line.item, line.text, how, line.amount)
    for risk in sheet.risks:
        row(
            "in case",
            "",
            risk.text,
            (f"{risk.expected:.6g}", "times", f"{risk.each:.{sheet.digits}f}", "time"),
            risk.amount,
        )
    none = ("", "", "", "")
    row("net", "", ESTIMATE["net"], none, sheet.net)
    rate = f"{100 * sheet.tax_rate:g} %"
    row("tax", "", ESTIMATE["tax"].format(rate=rate), none, sheet.tax)
    row("total", "", ESTIMATE["total"], none, sheet.total)
    return stream.getvalue()
