"""The sheet of `diag repair` (see `sheets_case` for the rules of sheets). May import: `diag.basics`, sheets_case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place
from diag.report.sheets_case import CaseLine, ReasonLine

__all__ = [
    "AccessLine",
    "AfterLine",
    "AmountLine",
    "JobLine",
    "OptionLine",
    "PartLine",
    "PlanLine",
    "RepairSheet",
    "SpreadLine",
    "TorqueLine",
]


@dataclass(frozen=True)
class PartLine:
    """A part, counted."""

    part: Annotated[str, "id of the part"]
    name: Annotated[str, "its name"]
    count: Annotated[int, "how many"]
    each: Annotated[float, "price of one, in `currency`"]
    sum: Annotated[float, "count times price, in `currency`"]
    single_use: Annotated[bool, "whether it must be new each time"]


@dataclass(frozen=True)
class AccessLine:
    """Dismantling that is opened once."""

    name: Annotated[str, "what is opened"]
    bank: Annotated[str | None, "letter of the bank, or null"]
    minutes: Annotated[float, "minutes, putting back included"]


@dataclass(frozen=True)
class TorqueLine:
    """A tightening value of the engine."""

    name: Annotated[str, "what is tightened"]
    newton_metres: Annotated[float | None, "N·m; null: only the maker knows"]
    then_degrees: Annotated[float | None, "a further turn in degrees, where there is one"]
    words: Annotated[str, "as printed"]


@dataclass(frozen=True)
class JobLine:
    """One piece of work of a plan, with what stands beside it."""

    repair: Annotated[str, "id of the repair"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    minutes: Annotated[float, "minutes, once all is open"]
    cautions: Annotated[tuple[str, ...], "warnings to read first"]
    needs: Annotated[tuple[str, ...], "what must be so first"]
    tools: Annotated[tuple[str, ...], "tools"]
    steps: Annotated[tuple[str, ...], "the steps of the work itself, in order; `diag sheet` has all"]
    must_follow: Annotated[tuple[str, ...], "work that must follow"]
    may_go_wrong: Annotated[tuple[str, ...], "what can go wrong on the way"]


@dataclass(frozen=True)
class AmountLine:
    """One part of a sum."""

    name: Annotated[str, "what it is for"]
    amount: Annotated[float, "money, in `currency`"]


@dataclass(frozen=True)
class SpreadLine:
    """How the money of an option spreads, from draws of the posterior and of luck; and the workshop's own side."""

    cures_complaint: Annotated[float, "chance that nothing that could be behind the complaint is left, 0 to 1"]
    invoice_low: Annotated[float, "one in ten such invoices is no dearer, before tax, in `currency`"]
    invoice_middle: Annotated[float, "every other one is no dearer"]
    invoice_high: Annotated[float, "nine in ten are no dearer, as the estimate of the option says"]
    total_low: Annotated[float, "one in ten totals is no dearer"]
    total_middle: Annotated[float, "every other one is no dearer"]
    total_high: Annotated[float, "nine in ten are no dearer: the total with bad luck"]
    total_high_error: Annotated[float, "standard error of that, from the number of draws"]
    mean: Annotated[float, "mean of the drawn totals; the exact expected total is `total` of the option"]
    mean_error: Annotated[float, "its standard error"]
    draws: Annotated[int, "how many were drawn"]
    left_out: Annotated[float, "chance of hardly possible worlds that were not drawn, 0 to 1"]
    approximate: Annotated[bool, "whether findings of the vehicle were laid onto the components one by one"]
    guarantee: Annotated[float, "the workshop's own side: guarantee work on average, in `currency`"]
    goodwill: Annotated[float, "the same: goodwill on average"]
    margin: Annotated[float, "the same: what the invoice leaves to it"]


@dataclass(frozen=True)
class AfterLine:
    """What is done after one result of a test, and what all of it comes to then, the test included."""

    answers: Annotated[tuple[str, ...], "the result, in words: one answer for each thing that is tested"]
    chance: Annotated[float, "chance of this result, 0 to 1"]
    work: Annotated[tuple[str, ...], "the work that follows, in words"]
    invoice: Annotated[float, "expected invoice then, before tax, in `currency`"]
    total: Annotated[float, "expected total for the customer then, in `currency`"]


@dataclass(frozen=True)
class OptionLine:
    """One of the options, for comparing."""

    name: Annotated[str, "what would be done"]
    jobs: Annotated[tuple[str, ...], "the work, in words"]
    best: Annotated[bool, "whether this is the advice"]
    barred: Annotated[str, "why it is barred; empty: it is not"]
    invoice: Annotated[float, "expected invoice now, before tax, in `currency`"]
    cures: Annotated[float, "chance that nothing at all is left after this visit, 0 to 1"]
    again_12: Annotated[float, "chance that another seal brings it back within 12 months, 0 to 1"]
    again_24: Annotated[float, "the same within 24 months"]
    again_36: Annotated[float, "the same within 36 months"]
    total: Annotated[float, "expected total for the customer, in `currency`"]
    spread: Annotated[SpreadLine | None, "how that spreads; null where it was not drawn"] = None
    after: Annotated[
        tuple[AfterLine, ...], "what follows each result, likeliest first, where a test decides; empty elsewhere"
    ] = ()


@dataclass(frozen=True)
class PlanLine:
    """The advised plan in full."""

    name: Annotated[str, "what is done, in words"]
    jobs: Annotated[tuple[JobLine, ...], "the work, in order"]
    access: Annotated[tuple[AccessLine, ...], "what is opened"]
    parts: Annotated[tuple[PartLine, ...], "parts, counted"]
    torques: Annotated[tuple[TorqueLine, ...], "tightening values of this engine"]
    notes: Annotated[tuple[str, ...], "further values of the engine that the work needs"]
    later: Annotated[str, "how the workshop would act at a later seal; empty where nothing is done"]
    amounts: Annotated[tuple[AmountLine, ...], "the parts of the expected total; they add up to it"]
    total: Annotated[float, "expected total, in `currency`"]
    invoice: Annotated[float, "of this, expected invoice now, before tax, in `currency`"]
    invoice_with_tax: Annotated[float, "the same with tax, in `currency`"]


@dataclass(frozen=True)
class RepairSheet:
    """`diag repair`: the options and the advised plan."""

    case: Annotated[CaseLine, "the case and its engine"]
    currency: Annotated[str, "currency of all money here, ISO 4217"]
    options: Annotated[tuple[OptionLine, ...], "the options, least expected total first, barred ones last"]
    plan: Annotated[PlanLine, "the advised plan"]
    barred: Annotated[tuple[ReasonLine, ...], "what is barred, and why"]
    cautions: Annotated[tuple[str, ...], "warnings that stand whatever is done"]
    side: Annotated[Literal["customer", "workshop"], "on whose side the plan was chosen"] = "customer"
    prices_invented: Annotated[bool, "whether prices are made up, not the workshop's own"] = False
