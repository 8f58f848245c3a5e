"""The page of `diag advise`: the faults, then what comes first in full, the other in short.

May import: blocks, sheets, words, and the other pages.
"""

from __future__ import annotations

from diag.report.blocks import Block, Cautions, Heading, Items, Onward, Sentence, of_case_to_name
from diag.report.figures import at_place, duration, money
from diag.report.sheets_advice import AdviceSheet
from diag.report.text_case import case_blocks
from diag.report.text_next import nearest_sentence, next_blocks, only_together, stop_sentence
from diag.report.text_repair import advice_sentence, grouped_jobs, jobs_title, options_blocks, repair_blocks
from diag.report.text_weigh import chance_sentence, leading_faults, weigh_blocks
from diag.report.words import REPAIR, TALK
from diag.report.words_checks import CHECKS

__all__ = ["advice_blocks"]


def advice_blocks(sheet: AdviceSheet, everything: bool = False, onward: Onward = of_case_to_name) -> tuple[Block, ...]:
    """All three pages in one, opened by the verdict. What is to be done first is shown in full with its cautions.
    `onward` makes the command of what is shown in short."""
    blocks: list[Block] = [*case_blocks(sheet.weigh.case), *_summary(sheet)]
    blocks += weigh_blocks(sheet.weigh, everything, head=False)
    if sheet.decision == "check":
        blocks += [*next_blocks(sheet.next, everything, head=False), *_short_repair(sheet, onward)]
    else:
        looks_on = sheet.next.way_out == "stand" and sheet.next.checks
        ranked = next_blocks(sheet.next, everything, head=False) if looks_on else _short_next(sheet)
        blocks += [*ranked, *repair_blocks(sheet.repair, head=False, onward=onward)]
    return tuple(blocks)


def _summary(sheet: AdviceSheet) -> tuple[Block, ...]:
    """The verdict: what is likely wrong, whether to check or to repair, and what that is."""
    faults = "; ".join(
        chance_sentence(fault, len(sheet.weigh.case.banks)) for fault in leading_faults(sheet.weigh, count=2)
    )
    lines = [f"{faults[:1].upper()}{faults[1:]}."] if faults else [TALK["stands_nothing"]]
    if sheet.decision == "check":
        first = sheet.next.checks[0]
        together = only_together(first)
        net = money(first.ahead if together else first.net, sheet.next.currency)
        check = at_place(first.name, first.place, len(sheet.weigh.case.banks))
        words = CHECKS["summary_together" if together else "summary_check"]
        lines.append(words.format(check=check, time=duration(first.minutes), net=net))
        lines += [CHECKS["first_by_rule"]] if first.first_by_rule else []
    else:
        lines += [stop_sentence(sheet.next), *([advice_sentence(sheet.repair)] if sheet.repair.plan.jobs else [])]
    return (
        Heading(CHECKS["summary"]),
        Cautions(sheet.repair.cautions),
        *(Sentence(line, strong=True) for line in lines),
        *((Sentence(sheet.doubt),) if sheet.doubt else ()),
    )


def _short_next(sheet: AdviceSheet) -> tuple[Block, ...]:
    verdict = stop_sentence(sheet.next) if sheet.next.checks else CHECKS["nothing_to_check"]
    blocks: list[Block] = [Heading(CHECKS["heading"]), Sentence(verdict, strong=True)]
    if sheet.next.checks:
        blocks.append(Sentence(nearest_sentence(sheet.next.checks, sheet.next.currency, len(sheet.next.case.banks))))
    return tuple(blocks)


def _short_repair(sheet: AdviceSheet, onward: Onward) -> tuple[Block, ...]:
    plan = sheet.repair.plan
    work = tuple(jobs_title(jobs, len(sheet.weigh.case.banks)) for jobs in grouped_jobs(plan)) or (REPAIR["nothing"],)
    return (
        *options_blocks(sheet.repair),
        Items(REPAIR["short_plan"], work),
        Sentence(REPAIR["see_repair"], command=onward("repair")),
    )
