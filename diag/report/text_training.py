"""The pages of practice cases: state, studies, a made case. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import Place
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.figures import at_place, duration, money, per_cent, place_words
from diag.report.sheets_training import MadeSheet, OfferLine, PracticeStateSheet, RepairOffer, StudiesSheet
from diag.report.text_case import case_blocks
from diag.report.text_weigh import told_items
from diag.report.words import MAKERS_DATA_FIRST
from diag.report.words_training import PRACTICE

__all__ = [
    "checks_block",
    "latest_blocks",
    "made_blocks",
    "repairs_block",
    "state_blocks",
    "studies_blocks",
]


def state_blocks(sheet: PracticeStateSheet) -> tuple[Block, ...]:
    """The page of `diag practice show`."""
    return (
        *case_blocks(sheet.case),
        *([Cautions(sheet.cautions)] if sheet.cautions else []),
        Items(PRACTICE["known"], told_items(sheet.known, len(sheet.case.banks))),
        *latest_blocks(sheet),
        Sentence(MAKERS_DATA_FIRST),
        *(() if sheet.ended else (checks_block(sheet), repairs_block(sheet))),
    )


def latest_blocks(sheet: PracticeStateSheet) -> tuple[Block, ...]:
    """What the last step brought and took."""
    lines = told_items(sheet.latest, len(sheet.case.banks))
    blocks: list[Block] = [Cautions(sheet.step_cautions)] if sheet.step_cautions else []
    blocks += [Items(PRACTICE["latest"], lines)] if lines else []
    return (*blocks, *(Sentence(each) for each in sheet.said))


def checks_block(sheet: PracticeStateSheet) -> Table:
    """What can be asked for."""
    columns = (
        Column(PRACTICE["check"], grows=True),
        Column(PRACTICE["name"], grows=True),
        Column(PRACTICE["places"], grows=True, least=10),
        Column(PRACTICE["time"], right=True),
    )
    return Table(columns, tuple(_offer(line, len(sheet.case.banks)) for line in sheet.checks), lead=0)


def _offer(line: OfferLine, banks: int) -> tuple[str, ...]:
    time = line.barred or duration(line.minutes)
    return line.check, line.name, _places(line.places, banks), time


def _places(places: Sequence[Place], banks: int) -> str:
    if all(isinstance(each, int) for each in places):
        return ", ".join(str(each) for each in places)
    return ", ".join(str(each) if each is not None and banks > 1 else place_words(each, banks) for each in places)


def repairs_block(sheet: PracticeStateSheet) -> Table:
    """What can be fitted."""
    columns = (Column(PRACTICE["repair"], grows=True), Column(PRACTICE["name"], grows=True), Column(PRACTICE["places"]))
    return Table(columns, tuple(_repair(line, len(sheet.case.banks)) for line in sheet.repairs), lead=0)


def _repair(line: RepairOffer, banks: int) -> tuple[str, ...]:
    return line.repair, line.name, _places(line.places, banks)


def studies_blocks(sheet: StudiesSheet) -> tuple[Block, ...]:
    """The page of `diag practice studies`: what the customers tell, or for the trainer what they are about."""
    about = any(each.covers for each in sheet.studies)
    columns = (
        Column(PRACTICE["grade"], right=True),
        Column(PRACTICE["study"], grows=True),
        Column(PRACTICE["engine"]),
        Column(PRACTICE["covers" if about else "told"], grows=True),
    )
    rows = tuple(
        (str(each.grade), each.id, each.engine, ", ".join(each.covers) if about else each.title)
        for each in sheet.studies
    )
    return (
        Heading(PRACTICE["studies"], level=1),
        Table(columns, rows, lead=1),
        Sentence(PRACTICE["grades"]),
        Sentence(PRACTICE["invented"]),
    )


def made_blocks(sheet: MadeSheet) -> tuple[Block, ...]:
    """The page of `diag practice make`."""
    blocks: list[Block] = [
        *case_blocks(sheet.case),
        Items(PRACTICE["made"].format(number=sheet.number), told_items(sheet.complaint, len(sheet.case.banks))),
        Sentence(_difficulty(sheet)),
    ]
    if sheet.guess and sheet.guess_chance is not None:
        blocks.append(Sentence(PRACTICE["guess"].format(guess=sheet.guess, chance=per_cent(sheet.guess_chance))))
    if sheet.tries > 1:
        blocks.append(Sentence(PRACTICE["tries"].format(count=sheet.tries)))
    truth = tuple(at_place(each.name, each.place) for each in sheet.truth) or (PRACTICE["nothing_wrong"],)
    blocks.append(Items(PRACTICE["truth"], truth) if sheet.revealed else Sentence(PRACTICE["hidden"]))
    if sheet.written:
        blocks.append(Sentence(PRACTICE["written"].format(path=sheet.written)))
    return tuple(blocks)


def _difficulty(sheet: MadeSheet) -> str:
    numbers = (sheet.grade, sheet.hours, sheet.needed, sheet.misled, sheet.checks, sheet.minutes)
    grade, hours, needed, misled, checks, minutes = numbers
    if grade is None or hours is None or needed is None or misled is None or checks is None or minutes is None:
        return PRACTICE["not_measured"]
    return PRACTICE["difficulty"].format(
        grade=grade,
        hours=hours,
        needed=money(needed, sheet.currency),
        misled=money(misled, sheet.currency),
        checks=checks,
        minutes=duration(minutes),
    )
