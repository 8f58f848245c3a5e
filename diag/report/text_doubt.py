"""The page of `diag doubt`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from itertools import pairwise

from diag.basics import counted
from diag.report.blocks import Block, Cautions, Column, Heading, Sentence, Table
from diag.report.figures import money, whole_per_cent
from diag.report.sheets_doubt import DoubtLine, DoubtSheet, MatterLine
from diag.report.text_case import case_blocks
from diag.report.words import JUDGED
from diag.report.words_doubt import DOUBT

__all__ = ["doubt_blocks"]


def doubt_blocks(sheet: DoubtSheet, everything: bool = False) -> tuple[Block, ...]:
    """The sentence, what is best in the other draws, the numbers that matter most, and the usual numbers from end to
    end. `everything`: all crossings between two options too."""
    return (
        *case_blocks(sheet.case),
        Cautions(sheet.cautions),
        Heading(DOUBT["heading"]),
        Sentence(sheet.sentence, strong=True),
        Sentence(_advice(sheet)),
        Sentence(
            DOUBT["draws"].format(
                draws=counted(sheet.draws),
                numbers=sheet.numbers,
                seed=sheet.seed,
                regret=money(sheet.regret, sheet.currency),
                basis=_basis(sheet),
            )
        ),
        *_others(sheet),
        *_matters(sheet),
        *_lines(sheet),
        *_crossings(sheet, everything),
    )


def _basis(sheet: DoubtSheet) -> str:
    """Whether nobody counted the numbers; where some were learned from cases, how many of the others."""
    if sheet.judged == sheet.numbers:
        return DOUBT["all_judged"].format(judged=JUDGED)
    return DOUBT["some_judged"].format(some=counted(sheet.judged), judged=JUDGED)


def _advice(sheet: DoubtSheet) -> str:
    if sheet.lead is None:
        return DOUBT["alone"].format(advice=sheet.advice)
    return DOUBT["advice"].format(advice=sheet.advice, lead=money(sheet.lead, sheet.currency))


def _others(sheet: DoubtSheet) -> tuple[Block, ...]:
    if not sheet.others:
        return ()
    columns = (Column(DOUBT["option"], grows=True, speaks=True), Column(DOUBT["share"], right=True))
    rows = tuple((line.option, _hundredths(line.share)) for line in sheet.others)
    return (Heading(DOUBT["others"]), Table(columns, rows))


def _hundredths(share: float) -> str:
    whole = whole_per_cent(share)
    return "<1" if whole == 0 else ">99" if whole == 100 else str(whole)


def _matters(sheet: DoubtSheet) -> tuple[Block, ...]:
    if not sheet.matters:
        return ()
    columns = (
        Column(DOUBT["number"], grows=True, speaks=True),
        Column(DOUBT["now"], right=True),
        Column(DOUBT["turn"], right=True),
        Column(DOUBT["then"], grows=True),
        Column(DOUBT["far"], grows=True),
        Column(DOUBT["swing"], right=True),
    )
    rows = tuple(_matter(each, sheet.currency) for each in sheet.matters)
    return (Heading(DOUBT["matters"]), Table(columns, rows), Sentence(DOUBT["matters_mean"]))


def _matter(each: MatterLine, currency: str) -> tuple[str, ...]:
    name = DOUBT["judged"].format(name=each.line.name, judged=JUDGED) if each.line.judged else each.line.name
    swing = money(each.swing, currency)
    if each.turn is None:
        return name, each.line.now_words, DOUBT["no_turn"], "", "", swing
    then = each.turn.above if each.turn.value >= each.line.now else each.turn.below
    return name, each.line.now_words, each.turn.words, then, each.far, swing


def _lines(sheet: DoubtSheet) -> tuple[Block, ...]:
    columns = (
        Column(DOUBT["number"], grows=True, speaks=True),
        Column(DOUBT["from"], right=True),
        Column(DOUBT["to"], right=True),
        Column(DOUBT["best"], grows=True),
    )
    rows = [row for line in sheet.lines for row in _stretches(line, sheet.advice)]
    return (Heading(DOUBT["lines"]), Table(columns, tuple(rows)), Sentence(DOUBT["lines_mean"]))


def _stretches(line: DoubtLine, advice: str) -> list[tuple[str, ...]]:
    """One row for each stretch on which one option is best."""
    ends = [(line.low, line.low_words), *((t.value, t.words) for t in line.turns), (line.high, line.high_words)]
    best = [line.turns[0].below, *(turn.above for turn in line.turns)] if line.turns else [advice]
    barred = [False, *(turn.barred for turn in line.turns)]
    rows: list[tuple[str, ...]] = []
    for number, ((low, low_words), (high, high_words)) in enumerate(pairwise(ends)):
        option = best[number]
        if barred[number]:
            option = DOUBT["barred_here"].format(option=option)
        if low <= line.now <= high:
            option = DOUBT["stretch_now"].format(option=option)
        rows.append((line.name, low_words, high_words, option))
    return rows


def _crossings(sheet: DoubtSheet, everything: bool) -> tuple[Block, ...]:
    count = sum(len(line.crossings) for line in sheet.lines)
    if not count:
        return (Sentence(DOUBT["no_crossings"]),)
    if not everything:
        return (Sentence(DOUBT["more"].format(count=counted(count))),)
    columns = (
        Column(DOUBT["number"], grows=True, speaks=True),
        Column(DOUBT["at"], right=True),
        Column(DOUBT["below"], grows=True),
        Column(DOUBT["above"], grows=True),
    )
    rows = tuple((line.name, each.words, each.below, each.above) for line in sheet.lines for each in line.crossings)
    return (Heading(DOUBT["crossings"]), Table(columns, rows))
