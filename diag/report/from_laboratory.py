"""From a study of policies to its sheet, page, table of cases and picture.

May import: laboratory, pictures, knowledge_base, blocks, figures, sheets, words.
"""

from __future__ import annotations

import csv
import io
from dataclasses import fields
from typing import TYPE_CHECKING

from diag.basics import counted
from diag.knowledge_base import Engine
from diag.report.blocks import Block, Column, Heading, Items, Sentence, Table
from diag.report.figures import money
from diag.report.sheets_laboratory import LaboratorySheet, PolicyLine, RunLine
from diag.report.words_laboratory import LABORATORY, POLICY_WORDS

if TYPE_CHECKING:
    from diag.laboratory import CaseRun, Study

__all__ = ["laboratory_blocks", "laboratory_csv", "laboratory_picture", "laboratory_sheet"]


def laboratory_sheet(
    engine_id: str, engine: Engine, study: Study, seed: int, starts: int, other_numbers: bool, all_runs: bool
) -> LaboratorySheet:
    """The sheet; with every case where `all_runs`."""
    return LaboratorySheet(
        engine=engine_id,
        engine_name=engine.name,
        cases=len(study.runs) // len(study.scores),
        starts=starts,
        seed=seed,
        other_numbers=other_numbers,
        currency=study.currency,
        least=study.least,
        least_error=study.least_error,
        policies=tuple(
            PolicyLine(**{field.name: getattr(score, field.name) for field in fields(PolicyLine)})
            for score in study.scores
        ),
        runs=tuple(_run(run) for run in study.runs) if all_runs else (),
    )


def _run(run: CaseRun) -> RunLine:
    return RunLine(**{field.name: getattr(run, field.name) for field in fields(RunLine)})


def laboratory_blocks(sheet: LaboratorySheet) -> tuple[Block, ...]:
    """The page of `diag laboratory`."""
    head = LABORATORY["head"].format(
        engine=sheet.engine_name, cases=counted(sheet.cases), starts=counted(sheet.starts), seed=sheet.seed
    )
    columns = (
        Column(LABORATORY["policy"], grows=True),
        Column(LABORATORY["total"], right=True),
        Column(LABORATORY["error"], right=True),
        Column(LABORATORY["checks"], right=True),
        Column(LABORATORY["check_cost"], right=True),
        Column(LABORATORY["wrong"], right=True),
        Column(LABORATORY["returns"], right=True),
        Column(LABORATORY["dearer"], right=True),
        Column(LABORATORY["error"], right=True),
    )
    least = LABORATORY["least"].format(
        least=money(sheet.least, sheet.currency), error=money(sheet.least_error, sheet.currency)
    )
    names = tuple(f"{line.policy}: {POLICY_WORDS[line.policy]}" for line in sheet.policies)
    return (
        Heading(LABORATORY["title"], level=1),
        Sentence(head),
        Sentence(LABORATORY["other" if sheet.other_numbers else "same"]),
        Table(columns, tuple(_row(line) for line in sheet.policies), lead=0),
        Sentence(least[0].upper() + least[1:]),
        Sentence(LABORATORY["means"].format(currency=sheet.currency)),
        Items(LABORATORY["names"], names),
    )


def _row(line: PolicyLine) -> tuple[str, ...]:
    return (
        line.policy,
        f"{line.total:,.0f}",
        f"{line.error:,.0f}",
        f"{line.checks:.1f}",
        f"{line.check_cost:,.0f}",
        f"{line.wrong:.2f}",
        f"{line.returns:.0%}",
        f"{line.dearer:,.0f}",
        f"{line.dearer_error:,.0f}",
    )


def laboratory_csv(sheet: LaboratorySheet) -> str:
    """Every case under every policy as CSV (RFC 4180, UTF-8); money as plain decimals, its currency in a column."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    names = [field.name for field in fields(RunLine)]
    writer.writerow((*names, "currency"))
    for run in sheet.runs:
        cells = (getattr(run, name) for name in names)
        writer.writerow((*(f"{cell:.6g}" if isinstance(cell, float) else cell for cell in cells), sheet.currency))
    return stream.getvalue()


def laboratory_picture(sheet: LaboratorySheet) -> str:
    """Mean totals with two standard errors to either side, as SVG."""
    from diag.pictures import OptionSpread, SpreadLine, spread_picture

    best = min(sheet.policies, key=lambda line: line.total)
    lines = tuple(
        SpreadLine(
            line.policy,
            max(line.total - 2 * line.error, 0.0),
            line.total,
            line.total + 2 * line.error,
            f"{money(line.total, sheet.currency)} (± {money(line.error, sheet.currency)})",
            line is best,
        )
        for line in sheet.policies
    )
    axis = LABORATORY["axis"].format(currency=sheet.currency)
    description = "; ".join(f"{each.label}: {each.words}" for each in lines)
    return spread_picture(OptionSpread(LABORATORY["picture"], description, lines, axis, name="policies"))
