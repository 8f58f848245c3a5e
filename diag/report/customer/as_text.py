"""The customer's page as plain text for a terminal. May import: blocks, and record of this folder."""

from __future__ import annotations

from diag.report.blocks import Block, Cell, Heading, Items, Picture, Sentence
from diag.report.customer.record import CustomerBank, CustomerPage, Section

__all__ = ["page_blocks"]


def page_blocks(page: CustomerPage) -> tuple[Block, ...]:
    """Everything that the paper says, in its order; the options one below the other."""
    blocks: list[Block] = [Heading(page.title, 1), Sentence(page.case, strong=True), Sentence(page.vehicle)]
    blocks += [Sentence(page.invented)] if page.invented else []
    if page.safety.lines:
        blocks.append(Heading(page.safety.heading))
        blocks += [Sentence(f"! {line}", strong=True) for line in page.safety.lines]
    blocks += _section(page.wrong)
    blocks += [Heading(page.map_title), Picture(tuple((bank.label, _cells(bank)) for bank in page.banks))]
    blocks += [Sentence(page.map_description), Heading(page.options_heading)]
    for index, option in enumerate(page.options):
        mark = f" – {page.advised}" if option.advised else ""
        blocks.append(Sentence(f"{option.heading}{mark}", strong=True))
        blocks.append(Items("", tuple(f"{row.label}: {'; '.join(row.cells[index])}" for row in page.rows)))
        blocks.append(Sentence(f"[ ] {page.choose}", indent=2))
    blocks.append(Sentence(f"[ ] {page.choose_none}"))
    for section in (page.nothing, page.advice, page.unknown, page.terms):
        blocks += _section(section)
    blank = "_" * 20
    blocks += [Sentence(f"{label}: {blank}") for label in (page.sign_date, page.sign_name, page.sign_phone)]
    return (*blocks, Sentence(page.footer))


def _section(section: Section) -> tuple[Block, ...]:
    if not section.lines:
        return ()
    return (Heading(section.heading), *(Sentence(line) for line in section.lines))


def _cells(bank: CustomerBank) -> tuple[Cell, ...]:
    """The cylinders without words: those follow below, as the fields of a terminal are narrow."""
    return tuple(Cell(str(each.number), "", each.chance) for each in bank.cylinders)
