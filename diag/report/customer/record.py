"""What the customer's page says, as one plain record; text, HTML, PDF and JSON are made of this and nothing else.

May import: the standard library.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

__all__ = ["CustomerBank", "CustomerCylinder", "CustomerOption", "CustomerPage", "OptionRow", "Section"]


@dataclass(frozen=True)
class Section:
    """A heading with its sentences."""

    heading: Annotated[str, "the heading"]
    lines: Annotated[tuple[str, ...], "the sentences, one paragraph each; none: the section is left out"]


@dataclass(frozen=True)
class CustomerCylinder:
    """A cylinder of the picture."""

    number: Annotated[int, "number of the cylinder"]
    chance: Annotated[float, "posterior probability that something is wrong there, 0 to 1"]
    said: Annotated[str, "that chance in words, with its per cent"]


@dataclass(frozen=True)
class CustomerBank:
    """A side of the engine, as drawn."""

    label: Annotated[str, "what stands above it; empty for an engine in line"]
    cylinders: Annotated[tuple[CustomerCylinder, ...], "its cylinders, in order from the top of the picture"]


@dataclass(frozen=True)
class CustomerOption:
    """One of the options side by side, in numbers; its words are in the rows."""

    option: Annotated[str, "id of the option, as --options takes it"]
    heading: Annotated[str, "what it is headed by, such as 'Option A'"]
    advised: Annotated[bool, "whether this is the advice"]
    price: Annotated[float, "expected invoice now, with tax, in `currency`"]
    cures: Annotated[float, "chance that nothing at all is left after this visit, 0 to 1"]
    again_12: Annotated[float, "chance that a seal brings it back within 12 months, 0 to 1"]
    again_24: Annotated[float, "the same within 24 months"]
    total: Annotated[float, "expected total for the customer, before tax, in `currency`"]
    cures_complaint: Annotated[float | None, "chance that nothing behind the complaint is left; null: not drawn"] = None
    price_high: Annotated[float | None, "nine in ten such invoices are no dearer, with tax; null: not drawn"] = None


@dataclass(frozen=True)
class OptionRow:
    """A row of the comparison: its label, and for every option the lines of its cell."""

    label: Annotated[str, "what the row compares"]
    cells: Annotated[tuple[tuple[str, ...], ...], "one cell for each option, in lines"]


@dataclass(frozen=True)
class CustomerPage:
    """`diag customer`: the page for the customer."""

    language: Annotated[str, "code of the language of all texts here, ISO 639"]
    title: Annotated[str, "title of the page"]
    case: Annotated[str, "the case's title, as the workshop wrote it"]
    vehicle: Annotated[str, "engine, distance and age, as far as they are known"]
    invented: Annotated[str, "that the case is invented, or for a real engine its prices; else empty"]
    currency: Annotated[str, "currency of all money here, ISO 4217"]
    safety: Annotated[Section, "what must not be done; without lines where nothing is dangerous"]
    wrong: Annotated[Section, "what is wrong, and how sure that is"]
    map_title: Annotated[str, "title of the picture of the engine"]
    map_description: Annotated[str, "the picture in words"]
    map_caption: Annotated[str, "what is written below it"]
    map_end: Annotated[str, "what is written at its upper end; may be empty"]
    banks: Annotated[tuple[CustomerBank, ...], "the sides of the engine, from left to right as drawn"]
    options_heading: Annotated[str, "heading of the comparison"]
    options: Annotated[tuple[CustomerOption, ...], "the options side by side, the advice first"]
    advised: Annotated[str, "the mark of the advised option"]
    rows: Annotated[tuple[OptionRow, ...], "the comparison, row by row"]
    choice_label: Annotated[str, "label of the row of boxes"]
    choose: Annotated[str, "what stands beside the box of an option"]
    choose_none: Annotated[str, "what stands beside the box for none of them"]
    advice: Annotated[Section, "the advice and its reasons"]
    nothing: Annotated[Section, "what happens if nothing is done"]
    unknown: Annotated[Section, "what is not known yet"]
    terms: Annotated[Section, "guarantee and validity"]
    sign_date: Annotated[str, "label of the place for the date"]
    sign_name: Annotated[str, "label of the place for the signature"]
    sign_phone: Annotated[str, "label of the place for the workshop's telephone number"]
    footer: Annotated[str, "where the words of chance come from"]
