"""The pages about the knowledge: lists, one item, complaints, demo cases, engines.

May import: blocks, sheets, words.
"""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import counted
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.sheets_knowledge import CasesSheet, ComplaintsSheet, EnginesSheet, ItemLine, ItemSheet, ListSheet
from diag.report.words import ABOUT, KIND_OF_ENTRY, KNOW, KNOWLEDGE_KINDS, MAKERS_VALUE

__all__ = ["cases_blocks", "complaints_blocks", "engines_blocks", "item_blocks", "list_blocks"]


def cases_blocks(sheet: CasesSheet) -> tuple[Block, ...]:
    """The demo cases, a line each."""
    columns = (
        Column(ABOUT["case"]),
        Column(ABOUT["engine"], speaks=True),
        Column(KNOW["title"], grows=True, least=24, speaks=True),
    )
    rows = tuple((case.name, case.engine, case.title) for case in sheet.cases)
    return (Heading(KNOW["demo_cases"]), Table(columns, rows), Sentence(KNOW["use_case"]))


def engines_blocks(sheet: EnginesSheet) -> tuple[Block, ...]:
    """The engines, a line each, with what is still blank."""
    columns = (
        Column(ABOUT["engine"]),
        Column(KNOW["name"], grows=True, speaks=True),
        Column(KNOW["size_cylinders"]),
        Column(KNOW["injectors"], speaks=True),
        Column(KNOW["firing_order"]),
    )
    rows = tuple(
        (
            line.engine,
            f"{line.name} ({ABOUT['invented']})" if line.invented else line.name,
            "; ".join(f"{letter} {' '.join(map(str, numbers))}" for letter, numbers in line.banks.items()),
            line.injector,
            "-".join(map(str, line.firing_order)),
        )
        for line in sheet.engines
    )
    blanks = tuple(f"{line.engine}: {', '.join(line.blanks)}" for line in sheet.engines if line.blanks)
    return (Table(columns, rows), *([Items(KNOW["blanks"].format(blank=MAKERS_VALUE), blanks)] if blanks else []))


def list_blocks(sheet: ListSheet) -> tuple[Block, ...]:
    """The entries by kind."""
    blocks: list[Block] = []
    for kind in dict.fromkeys(line.kind for line in sheet.items):
        lines = [line for line in sheet.items if line.kind == kind]
        blocks.append(Heading(f"{KNOWLEDGE_KINDS[kind]} ({kind}): {len(lines)}"))
        blocks.append(_list(lines))
    return tuple(blocks)


def _list(lines: Sequence[ItemLine]) -> Table:
    id_, name = Column(KNOW["id"]), Column(KNOW["name"], grows=True, speaks=True)
    if not any(line.plain for line in lines):
        return Table((id_, name), tuple((line.id, line.name) for line in lines))
    plain = Column(KNOW["plain"], grows=True, least=24, speaks=True)
    return Table((id_, name, plain), tuple((line.id, line.name, line.plain) for line in lines))


def item_blocks(sheet: ItemSheet) -> tuple[Block, ...]:
    """One entry: cautions first."""
    blocks: list[Block] = [Heading(f"{sheet.name} ({sheet.id}, {KIND_OF_ENTRY[sheet.kind]})", level=1)]
    if sheet.plain and sheet.plain != sheet.name:
        blocks.append(Sentence(f"{sheet.plain[:1].upper()}{sheet.plain[1:].rstrip('.')}."))
    blocks.append(Cautions(sheet.cautions))
    return (*blocks, *(Items(section.heading, section.lines) for section in sheet.sections))


def complaints_blocks(sheet: ComplaintsSheet) -> tuple[Block, ...]:
    """What the knowledge check has to say: complaints, sizes, counts."""
    blocks: list[Block] = []
    if sheet.complaints:
        blocks.append(Heading(KNOW["complaints"].format(count=counted(len(sheet.complaints)))))
        blocks.append(Items("", tuple(f"{line.weight}: {line.what}" for line in sheet.complaints)))
    else:
        blocks.append(Sentence(KNOW["no_complaint"], strong=True))
    names = ("engine", "cylinders", "configurations", "local_states", "shared_symptoms")
    columns = tuple(Column(KNOW[f"size_{name}"], right=name != "engine") for name in names)
    rows = tuple(
        (
            line.engine,
            str(line.cylinders),
            f"{line.configurations:,}",
            f"{line.local_states:,}",
            f"{line.shared_symptoms:,}",
        )
        for line in sheet.sizes
    )
    counts = ", ".join(f"{count} {KNOWLEDGE_KINDS.get(kind, kind)}" for kind, count in sheet.counts.items())
    return (*blocks, Heading(KNOW["sizes"]), Table(columns, rows), Sentence(f"{counts}."))
