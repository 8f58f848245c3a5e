"""What a page says of fault codes with their states, trim codes and soft answers. May import: blocks, figures, sheets,
words."""

from __future__ import annotations

from diag.report.blocks import Block, Column, Heading, Items, Sentence, Table
from diag.report.figures import per_cent, place_words
from diag.report.sheets_agreement import CodeLine, MissingCodeLine, SoftLine, TrimLedger
from diag.report.words import JUDGED
from diag.report.words_agreement import CODES, LEDGER, SOFT

__all__ = ["code_blocks", "ledger_blocks", "soft_blocks"]


def code_blocks(codes: tuple[CodeLine, ...], missing: tuple[MissingCodeLine, ...]) -> tuple[Block, ...]:
    """The codes with their states, and those that would have been expected. Nothing where there are neither."""
    items = tuple(
        CODES["line"].format(
            code=line.code if line.status is None else CODES["with_status"].format(code=line.code, status=line.status),
            name=line.name or CODES["not_known"],
            place=place_words(line.place),
            words=line.words,
        )
        for line in codes
    )
    expected = tuple(
        CODES["missing_line"].format(
            code=line.code, name=line.name, place=place_words(line.place), per_cent=per_cent(line.chance)
        )
        for line in missing
    )
    looked_for = tuple(text for text, line in zip(expected, missing, strict=True) if line.looked_for)
    not_told = tuple(text for text, line in zip(expected, missing, strict=True) if not line.looked_for)
    blocks: list[Block] = [Items(CODES["read"], items)] if items else []
    blocks += [Items(CODES["missing"], looked_for), Sentence(CODES["proves_little"])] if looked_for else []
    blocks += [Items(CODES["not_told"], not_told)] if not_told else []
    return (Heading(CODES["heading"]), *blocks) if blocks else ()


def ledger_blocks(ledger: TrimLedger | None) -> tuple[Block, ...]:
    """The trim codes side by side, and what to look at."""
    if ledger is None:
        return ()
    before = any(line.part_before or line.unit_before for line in ledger.lines)
    columns = [
        Column(LEDGER["cylinder"]),
        Column(LEDGER["part"], grows=True, least=8),
        Column(LEDGER["unit"], grows=True, least=8),
        *([Column(LEDGER["part_before"], grows=True, least=8)] if before else []),
        *([Column(LEDGER["unit_before"], grows=True, least=8)] if before else []),
        Column(LEDGER["verdict"], grows=True, least=14, speaks=True),
    ]
    rows = tuple(
        (
            str(line.cylinder),
            _shown(line.part),
            _shown(line.unit),
            *((_shown(line.part_before), _shown(line.unit_before)) if before else ()),
            line.words,
        )
        for line in ledger.lines
    )
    remarks: list[Block] = [Items(LEDGER["look_at"], ledger.remarks)] if ledger.remarks else []
    return (Heading(LEDGER["heading"]), Table(tuple(columns), rows), *remarks)


def _shown(code: str | None) -> str:
    return LEDGER["not_read"] if code is None else code or LEDGER["empty"]


def soft_blocks(lines: tuple[SoftLine, ...]) -> tuple[Block, ...]:
    """What the soft answers that were given count."""
    items = tuple(
        SOFT["nothing"].format(name=line.name)
        if line.ratio == 1
        else SOFT["for" if line.ratio > 1 else "against"].format(
            name=line.name, ratio=max(line.ratio, 1 / line.ratio), decibans=abs(line.decibans)
        )
        for line in lines
    )
    return (Items(SOFT["heading"].format(judged=JUDGED), items),) if items else ()
