"""The page of `diag weigh`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import Place, counted, listed
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.figures import at_place, per_cent, places_words, short_place
from diag.report.naming import fault_words
from diag.report.sheets_case import EvidenceLine
from diag.report.sheets_weigh import CombinationLine, FaultLine, PlacedState, WeighSheet
from diag.report.text_agreement import agreement_blocks
from diag.report.text_case import case_blocks, cylinder_picture
from diag.report.text_codes import code_blocks, ledger_blocks, soft_blocks
from diag.report.words import EVIDENCE, JUDGED, WEIGH

__all__ = ["chance_sentence", "leading_faults", "told_items", "weigh_blocks"]

SHOWN_FROM = 0.03
SHOWN_AT_MOST = 12
COMBINATIONS_SHOWN = 4
STANDS_OUT = 0.33
LEADING_FROM = 0.10
CIRCUMSTANCE_SHOWN_FROM = 0.33  # below it, hardly more than in any vehicle


def weigh_blocks(sheet: WeighSheet, everything: bool = False, head: bool = True) -> tuple[Block, ...]:
    """Cylinders, faults, combinations, what was taken into account. `everything`: no line is left out."""
    return (
        *((*case_blocks(sheet.case), Cautions(sheet.cautions)) if head else ()),
        *_cylinders(sheet),
        *_faults(sheet, everything),
        *_combinations(sheet, everything),
        *agreement_blocks(sheet.agreement),
        *code_blocks(sheet.codes, sheet.missing_codes),
        *ledger_blocks(sheet.trim_codes),
        *_evidence(sheet),
        *soft_blocks(sheet.soft),
    )


def leading_faults(sheet: WeighSheet, count: int = 3) -> tuple[FaultLine, ...]:
    """The likeliest faults that stand out, at most `count`."""
    listed = [fault for fault in sheet.faults if fault.fault and fault.chance >= LEADING_FROM]
    return tuple(listed[:count])


def chance_sentence(fault: FaultLine, banks: int = 2) -> str:
    """`combustion seal: blown, cylinder 2 very likely (93 %)`."""
    return f"{at_place(fault_words(fault), fault.place, banks)} {fault.words} ({per_cent(fault.chance)})"


def _cylinders(sheet: WeighSheet) -> tuple[Block, ...]:
    leading = [line for line in sheet.cylinders if line.chance >= STANDS_OUT]
    leading.sort(key=lambda line: -round(line.chance, 12))  # rounding decides nothing; else as they are numbered
    sentences = [
        Sentence(
            WEIGH["leading"].format(
                cylinder=line.cylinder, words=line.words, per_cent=per_cent(line.chance), fault=line.leading
            ),
            strong=position == 0,
        )
        for position, line in enumerate(leading)
    ]
    return (
        Heading(WEIGH["cylinders"]),
        cylinder_picture(sheet.case, sheet.cylinders),
        *(sentences or [Sentence(WEIGH["none_leading"])]),
    )


def _faults(sheet: WeighSheet, everything: bool) -> tuple[Block, ...]:
    real = [fault for fault in sheet.faults if fault.fault]
    shown = real if everything else [fault for fault in real if fault.chance >= SHOWN_FROM][:SHOWN_AT_MOST]
    columns = (
        Column(WEIGH["fault"], grows=True, least=14, speaks=True),
        Column(WEIGH["place"], speaks=True),
        Column(WEIGH["chance"], right=True, speaks=True),
        Column(WEIGH["words"], speaks=True),
    )
    banks = len(sheet.case.banks)
    rows = tuple(
        (fault_words(fault), short_place(fault.place, banks), per_cent(fault.chance), fault.words) for fault in shown
    )
    limit = per_cent(shown[-1].chance if len(shown) == SHOWN_AT_MOST else SHOWN_FROM)
    rest = len(real) - len(shown)
    tail = WEIGH["more_faults" if shown else "no_fault"].format(count=counted(rest), limit=limit)
    blocks: list[Block] = [Heading(WEIGH["faults"]), Table(columns, rows)]
    if rest:
        blocks.append(Sentence(tail))
    if any(fault.judged for fault in shown):
        blocks.append(Sentence(WEIGH["basis"].format(judged=JUDGED)))
    return (*blocks, *_circumstances(sheet, everything))


def _circumstances(sheet: WeighSheet, everything: bool) -> tuple[Block, ...]:
    shown = [
        fault for fault in sheet.faults if not fault.fault and (everything or fault.chance >= CIRCUMSTANCE_SHOWN_FROM)
    ]
    items = tuple(
        f"{at_place(fault_words(fault), fault.place)}: {fault.words} ({per_cent(fault.chance)})" for fault in shown
    )
    return (Items(WEIGH["circumstances"], items),) if items else ()


def _combinations(sheet: WeighSheet, everything: bool) -> tuple[Block, ...]:
    shown = sheet.combinations if everything else sheet.combinations[:COMBINATIONS_SHOWN]
    if not shown:
        return ()
    columns = (Column(WEIGH["combination"], grows=True), Column(WEIGH["chance"], right=True, speaks=True))
    rows = tuple((_combination(line), per_cent(line.chance)) for line in shown)
    return (Heading(WEIGH["combinations"]), Table(columns, rows))


def _combination(line: CombinationLine) -> str:
    if not line.faults:
        return WEIGH["nothing_wrong"]
    times: dict[tuple[str, Place, str], list[PlacedState]] = {}
    for fault in line.faults:  # what was so before a repair comes after what is so now
        times.setdefault((fault.component, fault.place, fault.state), []).append(fault)
    return "; ".join(_at_its_times(states) for states in times.values())


def _at_its_times(states: Sequence[PlacedState]) -> str:
    """One state in words, with the repairs before which it was so: `wiring, cyl. 2: open (before the repair too)`."""
    befores = [state.before for state in states if state.before]
    if len(states) == 1 or not befores:
        return states[0].words
    if len(befores) == len(states):
        first = states[0].words.removesuffix(WEIGH["mended"].format(repairs=befores[0]))
        return first + WEIGH["mended"].format(repairs=listed(befores, "and"))
    return states[0].words + WEIGH["mended_too"].format(repairs=listed(befores, "and"))


def _evidence(sheet: WeighSheet) -> tuple[Block, ...]:
    used = told_items([line for line in sheet.evidence if line.used], len(sheet.case.banks))
    without = told_items([line for line in sheet.evidence if not line.used], len(sheet.case.banks))
    blocks: list[Block] = [Heading(EVIDENCE["heading"]), Items("", used or (EVIDENCE["nothing"],))]
    if without:
        blocks.append(Items(EVIDENCE["without_effect"], without))
    if sheet.notes:
        blocks.append(Items(EVIDENCE["notes"], sheet.notes))
    return tuple(blocks)


def told_items(lines: Sequence[EvidenceLine], banks: int) -> tuple[str, ...]:
    """One text for what was told of one thing before or after some work: `tar: present on cylinder 2; absent on
    cylinders 1 and 3`."""
    told: dict[tuple[int, str, str], dict[str, list[Place]]] = {}
    for line in lines:
        told.setdefault((line.after, line.what, line.unit), {}).setdefault(line.said, []).append(line.place)
    return tuple(_one(after, what, unit, said, banks) for (after, what, unit), said in told.items())


def _one(after: int, what: str, unit: str, said: dict[str, list[Place]], banks: int) -> str:
    values = [(place, words) for words, places in said.items() for place in places]
    if unit and len(values) > 1 and all(place is not None for place, _ in values):
        each = [
            f"{short_place(place, banks)} {words.removesuffix(f' {unit}')}"
            for place, words in sorted(values, key=_order)
        ]
        text = EVIDENCE["by_place"].format(what=what, unit=unit, values=", ".join(each))
    else:
        parts = [
            words if places == [None] else EVIDENCE["said_on"].format(said=words, places=places_words(places, banks))
            for words, places in said.items()
        ]
        text = "; ".join(part for part in parts if part)
        text = f"{what}: {text}" if text else what
    return EVIDENCE["since"].format(text=text) if after and any(said) else text


def _order(value: tuple[Place, str]) -> tuple[str, int]:
    """Banks by letter, cylinders by number."""
    return ("", value[0]) if isinstance(value[0], int) else (str(value[0]), 0)
