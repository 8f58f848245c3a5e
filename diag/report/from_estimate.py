"""From an estimate to its sheet, and to CSV. May import: worksheet, casebook, knowledge_base, the sheets, words."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.basics import Place
from diag.casebook import Case, access_without_minutes
from diag.knowledge_base import Knowledge, Language
from diag.report.estimate_words import ENGLISH, EstimateWords, Names, estimate_words
from diag.report.from_case import case_line
from diag.report.from_worksheet import work_title
from diag.report.sheets_work import ChargeRow, EstimateSheet, RiskRow

if TYPE_CHECKING:
    from diag.worksheet import ChargeLine, Estimate, RiskLine

__all__ = ["CSV_COLUMNS", "estimate_csv", "estimate_sheet"]

CSV_COLUMNS = ("kind", "item", "text", "quantity", "unit", "price", "price_of", "amount", "currency")
_PRICE_OF = {"min": "60 min", "piece": "piece", "sum": "sum"}


def estimate_sheet(
    knowledge: Knowledge, case: Case, estimate: Estimate, language: Language | None = None
) -> EstimateSheet:
    """The sheet of `diag estimate`; `language`: another one than English, for the customer."""
    names, words = Names(knowledge, case.engine, language), estimate_words(language)
    return EstimateSheet(
        case=case_line(case),
        title=_title(knowledge, case, estimate, names, words.code),
        by_hand=estimate.chosen.option is None,
        currency=estimate.currency,
        digits=estimate.digits,
        lines=tuple(_charge(names, words, line) for line in estimate.lines),
        risks=tuple(_risk(names, words, line) for line in estimate.risks),
        net=estimate.net.amount,
        tax_rate=estimate.tax_rate,
        tax=estimate.tax.amount,
        total=estimate.total.amount,
        least=estimate.range.least.amount,
        p_least=estimate.range.p_least,
        bad_luck=estimate.range.bad_luck.amount,
        with_next=_with_next(estimate),
        prices_invented=knowledge.prices.invented,
        untimed=tuple(map(names.access, _untimed(knowledge, case, estimate))),
    )


def _untimed(knowledge: Knowledge, case: Case, estimate: Estimate) -> tuple[str, ...]:
    """What must still be opened for the work, and is not reckoned."""
    wanted = (knowledge.repairs[job.repair].access for job in estimate.chosen.jobs)
    stands_open = {kind for kind, _ in case.open_access}
    return tuple(kind for kind in access_without_minutes(knowledge, case.engine, wanted) if kind not in stands_open)


def _with_next(estimate: Estimate) -> float | None:
    """The invoice of an option that decides by a result: what is then done is in it, its lines are the test alone."""
    option = estimate.chosen.option
    if option is None or abs(option.invoice.amount - estimate.exact) < 0.5 / 10.0**estimate.digits:
        return None
    return round(option.invoice.amount, estimate.digits)


def _title(knowledge: Knowledge, case: Case, estimate: Estimate, names: Names, code: str) -> str:
    """What the work is called; in another language than English always by its repairs and places."""
    if code == ENGLISH:
        return work_title(knowledge, case.engine, estimate.chosen)
    places: dict[str, list[Place]] = {}
    for job in estimate.chosen.jobs:
        places.setdefault(job.repair, []).append(job.place)
    return "; ".join(names.at(names.repair(repair), some) for repair, some in places.items()) or names.nothing


def _charge(names: Names, words: EstimateWords, line: ChargeLine) -> ChargeRow:
    if line.kind == "access":
        name = names.access(line.item)
    elif line.kind == "parts":
        name = names.part(line.item)
    else:
        name = names.repair(line.item)
    places = () if line.kind == "access" and len(names.engine.banks) == 1 else line.places
    text = names.at(words.say(line.kind, name=name), places)
    return ChargeRow(line.kind, line.item, text, line.quantity, line.unit, line.each.amount, line.amount.amount)


def _risk(names: Names, words: EstimateWords, line: RiskLine) -> RiskRow:
    text = names.at(words.say("risk", name=names.risk(line.name)), line.places)
    return RiskRow(text, line.chance, line.expected, line.each.amount, line.amount.amount)


def estimate_csv(sheet: EstimateSheet, language: Language | None = None) -> str:
    """The estimate as CSV (RFC 4180, UTF-8): one row a line, amounts as plain decimals, the currency in its own column;
    texts in a language, columns and kinds always the same.

    `quantity` of `unit`, each `price_of` at `price`, is `amount` to within the smallest unit of the currency. The rows
    'net' (the exact sum of the amounts above), 'tax' and 'total' come last.
    """
    stream, words = io.StringIO(), estimate_words(language)
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
    row("net", "", words.say("net"), none, sheet.net)
    row("tax", "", words.tax(sheet), none, sheet.tax)
    row("total", "", words.say("total"), none, sheet.total)
    return stream.getvalue()
