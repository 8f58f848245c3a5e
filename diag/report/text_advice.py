"""The page of `diag advise`: the faults, then what comes first in full, the other in short.

May import: blocks, sheets, words, and the other pages.
"""

from __future__ import annotations

from diag.report.blocks import Block, Heading, Items, Sentence
from diag.report.figures import money
from diag.report.sheets import AdviceSheet
from diag.report.text_next import next_blocks
from diag.report.text_repair import grouped_jobs, jobs_title, options_blocks, repair_blocks
from diag.report.text_weigh import weigh_blocks
from diag.report.words import CHECKS, REPAIR

__all__ = ["advice_blocks"]


def advice_blocks(sheet: AdviceSheet, everything: bool = False) -> tuple[Block, ...]:
    """All three pages in one. What is to be done first is shown in full with its cautions."""
    blocks: list[Block] = [*weigh_blocks(sheet.weigh, everything)]
    if sheet.decision == "check":
        blocks += [*_short_repair(sheet), *next_blocks(sheet.next, everything, head=False)]
    else:
        blocks += [*_short_next(sheet), *repair_blocks(sheet.repair, head=False)]
    return tuple(blocks)


def _short_next(sheet: AdviceSheet) -> tuple[Block, ...]:
    verdict = CHECKS["repair_now"] if sheet.next.checks else CHECKS["nothing_to_check"]
    best = sheet.next.checks[0] if sheet.next.checks else None
    blocks: list[Block] = [Heading(CHECKS["heading"]), Sentence(verdict, strong=True)]
    if best is not None:
        net = money(best.net, sheet.next.currency)
        blocks.append(Sentence(CHECKS["nearest"].format(name=best.name, net=net)))
    return tuple(blocks)


def _short_repair(sheet: AdviceSheet) -> tuple[Block, ...]:
    plan = sheet.repair.plan
    work = tuple(jobs_title(jobs) for jobs in grouped_jobs(plan)) or (REPAIR["nothing"],)
    return (
        *options_blocks(sheet.repair),
        Items(REPAIR["short_plan"], work),
        Sentence(REPAIR["see_repair"]),
    )
