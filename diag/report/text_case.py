"""The head of every page: which case, which engine; and the picture of its cylinders.

May import: blocks, sheets, words.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from diag.basics import counted
from diag.report.blocks import Block, Cell, Heading, Picture, Sentence
from diag.report.figures import whole_per_cent
from diag.report.sheets_case import CaseLine
from diag.report.words import ABOUT, PLACES

if TYPE_CHECKING:  # a ranking of checks has no cylinders to weigh
    from diag.report.sheets_weigh import CylinderLine

__all__ = ["case_blocks", "cylinder_picture"]


def case_blocks(case: CaseLine) -> tuple[Block, ...]:
    """Title, engine, age and distance."""
    facts = [f"{case.engine_name}, {ABOUT['invented']}" if case.invented else case.engine_name]
    if case.distance_km is not None:
        facts.append(ABOUT["distance"].format(distance_km=case.distance_km))
    if case.age_years is not None:
        facts.append(ABOUT["age"].format(age_years=counted(round(case.age_years, 1))))
    facts.append(ABOUT["firing_order"].format(order="-".join(str(number) for number in case.firing_order)))
    if case.cylinder_one:
        facts.append(ABOUT["cylinder_one"].format(where=case.cylinder_one))
    return (Heading(case.title, level=1), Sentence("; ".join(facts) + "."))


def cylinder_picture(case: CaseLine, cylinders: tuple[CylinderLine, ...]) -> Picture:
    """The cylinders from above, a bank a row, each marked the fuller the likelier something is wrong on it."""
    by_number = {line.cylinder: line for line in cylinders}
    rows = []
    for bank in case.banks:
        cells = tuple(_cell(by_number[number]) for number in bank.cylinders if number in by_number)
        label = PLACES["bank"].format(letter=bank.letter) if len(case.banks) > 1 else ""
        rows.append((label, cells))
    return Picture(tuple(rows))


def _cell(line: CylinderLine) -> Cell:
    whole = whole_per_cent(line.chance)
    short = {0: "<1 %", 100: ">99 %"}.get(whole, f"{whole} %")
    return Cell(str(line.cylinder), short, line.chance)
