"""The work sheet and the estimate as plain records, before they become a page, HTML, CSV or JSON.

As in `sheets`: every field says what it holds; money is in the sheet's `currency`. May import: `diag.basics`, sheets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place
from diag.report.sheets_case import CaseLine
from diag.report.sheets_repair import TorqueLine

__all__ = [
    "ChargeRow",
    "CodeRow",
    "ComplaintRow",
    "EstimateSheet",
    "PieceLine",
    "RackRow",
    "RiskRow",
    "SectionPart",
    "StepLine",
    "StopLine",
    "ValueRow",
    "WorkSheet",
]


@dataclass(frozen=True)
class PieceLine:
    """A part, counted."""

    part: Annotated[str, "id of the part"]
    name: Annotated[str, "its name"]
    count: Annotated[int, "how many"]
    single_use: Annotated[bool, "whether it is new each time and never fitted twice"]


@dataclass(frozen=True)
class StepLine:
    """One step, with what stands at it."""

    number: Annotated[int, "number of the step on this sheet"]
    step: Annotated[str, "id of the step"]
    text: Annotated[str, "what is done"]
    places: Annotated[tuple[Place, ...], "where it is ticked off; empty: once"]
    hazards: Annotated[tuple[str, ...], "its hazards"]
    cautions: Annotated[tuple[str, ...], "the warnings that stand before it"]
    torques: Annotated[tuple[TorqueLine, ...], "values of the engine to tighten to"]
    parts: Annotated[tuple[PieceLine, ...], "parts fitted or used up at it"]
    record: Annotated[str, "what is written down at it; empty: nothing"]
    injector_out: Annotated[bool, "whether an injector comes out of its cylinder at it"]


@dataclass(frozen=True)
class SectionPart:
    """Steps that belong together."""

    kind: Annotated[Literal["before", "opened", "free", "standing", "codes", "after"], "what part of the work it is"]
    title: Annotated[str, "its heading"]
    jobs: Annotated[tuple[str, ...], "the repairs done in it, with their places"]
    opens: Annotated[tuple[str, ...], "what is opened at its beginning and closed at its end, with minutes"]
    steps: Annotated[tuple[StepLine, ...], "the steps, in order"]


@dataclass(frozen=True)
class RackRow:
    """An injector that comes out."""

    cylinder: Annotated[int, "the cylinder that it comes from, and its place in the rack"]
    replaced: Annotated[bool, "whether another injector goes in"]


@dataclass(frozen=True)
class CodeRow:
    """A cylinder whose trim code is looked after; what nobody noted is filled in by hand."""

    cylinder: Annotated[int, "number of the cylinder"]
    written: Annotated[bool, "whether a code is written for it in this work"]
    on_part: Annotated[str | None, "the code noted of the part that stays there; null: not noted, or another comes in"]
    in_unit: Annotated[str | None, "the code noted as stored before; empty: none is stored; null: not noted"]


@dataclass(frozen=True)
class ValueRow:
    """A value that is read again."""

    reading: Annotated[str, "id of the reading"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    unit: Annotated[str, "its unit"]
    limit: Annotated[str, "the engine's limit in words, a blank where only the maker knows"]
    before: Annotated[str, "what was measured before, in words"]


@dataclass(frozen=True)
class ComplaintRow:
    """Something that was there before the work."""

    what: Annotated[str, "the finding, with its condition"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]


@dataclass(frozen=True)
class StopLine:
    """Something at which the work stops for a call."""

    what: Annotated[str, "what may happen"]
    places: Annotated[tuple[Place, ...], "where"]


@dataclass(frozen=True)
class WorkSheet:
    """`diag sheet`: the work in order, with everything counted and everything to fill in."""

    case: Annotated[CaseLine, "the case and its engine"]
    title: Annotated[str, "the work, in words"]
    by_hand: Annotated[bool, "whether it was put together by hand, and not chosen by diag"]
    minutes: Annotated[float, "minutes of all the work, if nothing goes wrong"]
    danger: Annotated[tuple[str, ...], "warnings that stand whatever is done"]
    read_first: Annotated[tuple[str, ...], "the full text of every warning that stands at a step, and the general ones"]
    notes: Annotated[tuple[str, ...], "what the engine's file says about it"]
    tools: Annotated[tuple[str, ...], "tools"]
    parts: Annotated[tuple[PieceLine, ...], "all parts, counted"]
    sections: Annotated[tuple[SectionPart, ...], "the work, in order"]
    torques: Annotated[tuple[TorqueLine, ...], "all values to tighten to"]
    rack: Annotated[tuple[RackRow, ...], "the injectors that come out"]
    code_length: Annotated[int | None, "characters of a trim code; null: only the maker knows"]
    code_alphabet: Annotated[str | None, "its signs; null: only the maker knows"]
    codes: Annotated[tuple[CodeRow, ...], "the trim codes to look after"]
    values: Annotated[tuple[ValueRow, ...], "values to read again"]
    complaints: Annotated[tuple[ComplaintRow, ...], "what must be gone"]
    stops: Annotated[tuple[StopLine, ...], "at what to stop and call"]
    record: Annotated[tuple[str, ...], "what else to write down"]


@dataclass(frozen=True)
class ChargeRow:
    """A line of the estimate that is certain."""

    kind: Annotated[Literal["access", "labour", "parts", "charges", "finish"], "what kind of line"]
    item: Annotated[str, "id of the access kind, repair or part"]
    text: Annotated[str, "the line in words, with its places"]
    quantity: Annotated[float, "minutes for 'min', else pieces"]
    unit: Annotated[Literal["min", "piece", "sum"], "unit of the quantity; work is priced by the hour of 60 min"]
    each: Annotated[float, "price of an hour, or of one piece, in `currency`"]
    amount: Annotated[float, "the line, in `currency`, rounded to its smallest unit"]


@dataclass(frozen=True)
class RiskRow:
    """A line of the estimate for what may come on top: its average."""

    text: Annotated[str, "what may happen, with its places"]
    chance: Annotated[float, "chance that it happens at least once, 0 to 1"]
    expected: Annotated[float, "how many times it happens on average"]
    each: Annotated[float, "what it costs each time, in `currency`"]
    amount: Annotated[float, "average: times cost, in `currency`, rounded to its smallest unit"]


@dataclass(frozen=True)
class EstimateSheet:
    """`diag estimate`: lines that add up to `net`, which is the expected invoice of `diag repair`."""

    case: Annotated[CaseLine, "the case and its engine"]
    title: Annotated[str, "the work, in words"]
    by_hand: Annotated[bool, "whether it was put together by hand"]
    currency: Annotated[str, "currency of all money here, ISO 4217"]
    digits: Annotated[int, "decimals of that currency's smallest unit"]
    lines: Annotated[tuple[ChargeRow, ...], "lines that are certain"]
    risks: Annotated[tuple[RiskRow, ...], "averages of what may come on top"]
    net: Annotated[float, "the sum of all lines: expected invoice before tax"]
    tax_rate: Annotated[float, "share of tax, 0.2 for 20 %"]
    tax: Annotated[float, "tax on `net`"]
    total: Annotated[float, "`net` with tax"]
    least: Annotated[float, "before tax, if nothing goes wrong"]
    p_least: Annotated[float, "chance that nothing goes wrong, 0 to 1"]
    bad_luck: Annotated[float, "before tax, what nine of ten such jobs do not exceed"]
    with_next: Annotated[
        float | None, "before tax, expected with what is done after a test's result; null: nothing is decided later"
    ] = None
    prices_invented: Annotated[bool, "whether prices are made up, not the workshop's own"] = False
    untimed: Annotated[
        tuple[str, ...], "what is opened and has no minutes in the engine's file; in no amount here"
    ] = ()
