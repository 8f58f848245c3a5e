"""The sheets: what a command has to say, as plain records, before it becomes a page or JSON.

Every field says in one phrase what it holds (checked by a test); the JSON Schema of `diag know schema --form ...` is
made from that. Chances lie between 0 and 1, times are in minutes, money is in the sheet's `currency` before tax.
May import: `diag.basics`, sheets_agreement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place
from diag.report.sheets_agreement import AgreementLine, CodeLine, MissingCodeLine, SoftLine, TrimLedger

__all__ = [
    "AccessLine",
    "AdviceSheet",
    "AmountLine",
    "BankLine",
    "CaseLine",
    "CheckLine",
    "CombinationLine",
    "CylinderLine",
    "EvidenceLine",
    "FaultLine",
    "JobLine",
    "NextSheet",
    "OptionLine",
    "PartLine",
    "PlacedState",
    "PlanLine",
    "ReasonLine",
    "RepairSheet",
    "SpreadLine",
    "StateLine",
    "TorqueLine",
    "WeighSheet",
]


@dataclass(frozen=True)
class BankLine:
    """A bank of the engine."""

    letter: Annotated[str, "the bank's letter; an inline engine has the one bank A"]
    cylinders: Annotated[tuple[int, ...], "its cylinders, in order from the front"]


@dataclass(frozen=True)
class CaseLine:
    """Which case and which engine a sheet speaks of."""

    title: Annotated[str, "the case's title"]
    engine: Annotated[str, "id of the engine"]
    engine_name: Annotated[str, "its name"]
    invented: Annotated[bool, "whether the engine is invented, so that its values hold for no real one"]
    injector: Annotated[str, "'solenoid' or 'piezo'"]
    banks: Annotated[tuple[BankLine, ...], "the banks with their cylinders"]
    firing_order: Annotated[tuple[int, ...], "the cylinders in firing order"]
    cylinder_one: Annotated[str | None, "where cylinder 1 is, where that is known"]
    distance_km: Annotated[float | None, "kilometres driven, where told"]
    age_years: Annotated[float | None, "age in years, where told"]


@dataclass(frozen=True)
class StateLine:
    """One state of a component, with its chance."""

    state: Annotated[str, "id of the state"]
    name: Annotated[str, "its name"]
    chance: Annotated[float, "posterior probability, 0 to 1"]


@dataclass(frozen=True)
class FaultLine:
    """A component at a place, and how likely it is to be at fault."""

    component: Annotated[str, "id of the component"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    chance: Annotated[float, "posterior probability that it is in any unsound state, 0 to 1"]
    words: Annotated[str, "that chance in a word of the scale of Mastrandrea et al. (2010), made disjoint"]
    states: Annotated[tuple[StateLine, ...], "every state with its chance, the sound one first"]
    fault: Annotated[bool, "false for a circumstance, which no repair mends"]
    listed: Annotated[bool, "false for 'something that this knowledge does not list'"]
    dangerous: Annotated[bool, "whether a dangerous state of it has a chance of 10 % or more"]
    judged: Annotated[bool, "whether its numbers are judged, not counted"]


@dataclass(frozen=True)
class CylinderLine:
    """A cylinder, and whether anything is wrong on it."""

    cylinder: Annotated[int, "number of the cylinder"]
    bank: Annotated[str, "letter of its bank"]
    chance: Annotated[float, "posterior probability that at least one of its components is at fault, 0 to 1"]
    words: Annotated[str, "that chance in a word"]
    leading: Annotated[str, "its likeliest fault, in words"]


@dataclass(frozen=True)
class PlacedState:
    """One unsound component of a combination."""

    component: Annotated[str, "id of the component"]
    state: Annotated[str, "id of its state"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    words: Annotated[str, "both in words"]


@dataclass(frozen=True)
class CombinationLine:
    """Everything that is wrong together, all else being sound."""

    faults: Annotated[tuple[PlacedState, ...], "the unsound components; empty: nothing is wrong"]
    chance: Annotated[float, "posterior probability of exactly this combination, 0 to 1"]


@dataclass(frozen=True)
class EvidenceLine:
    """One thing that was told."""

    what: Annotated[str, "the finding or reading with its condition, or the work, in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    said: Annotated[str, "what was answered or measured, in words; empty for work"]
    used: Annotated[bool, "whether it could change anything"]
    note: Annotated[str, "why it has no effect, where it has none"]
    unit: Annotated[str, "the unit of a reading, which ends `said`; empty for answers and work"] = ""
    after: Annotated[int, "how many times work had been tried in this case before it was told"] = 0


@dataclass(frozen=True)
class WeighSheet:
    """`diag weigh`: the faults behind a case."""

    case: Annotated[CaseLine, "the case and its engine"]
    cylinders: Annotated[tuple[CylinderLine, ...], "the cylinders, ascending"]
    faults: Annotated[tuple[FaultLine, ...], "every component at every place, likeliest fault first"]
    combinations: Annotated[tuple[CombinationLine, ...], "the likeliest combinations, likeliest first"]
    evidence: Annotated[tuple[EvidenceLine, ...], "what was told"]
    notes: Annotated[tuple[str, ...], "what was assumed, and what has no effect, in sentences"]
    log_evidence: Annotated[float, "natural logarithm of the probability of all that was told"]
    method: Annotated[str, "which of the two exact forms answered: 'subtracting' or 'carrying'"]
    cancellation: Annotated[float, "bound on the relative error by subtraction, measured"]
    agreement: Annotated[AgreementLine | None, "how far the findings agree; null where that was not asked"] = None
    soft: Annotated[tuple[SoftLine, ...], "the soft answers that were given, and what they count"] = ()
    codes: Annotated[tuple[CodeLine, ...], "the fault codes that were read with a state"] = ()
    missing_codes: Annotated[
        tuple[MissingCodeLine, ...], "codes expected under what is believed now, and not told"
    ] = ()
    trim_codes: Annotated[TrimLedger | None, "the ledger of trim codes; null where none was noted"] = None


@dataclass(frozen=True)
class CheckLine:
    """A check at a place: what it costs and what its answer is worth."""

    check: Annotated[str, "id of the check"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    minutes: Annotated[float, "minutes of work, what is to be opened included"]
    opens: Annotated[tuple[str, ...], "what is to be opened for it, in words"]
    worth: Annotated[float, "what the answer saves on average, in `currency`"]
    cost: Annotated[float, "what doing it costs, in `currency`"]
    net: Annotated[float, "worth less cost, in `currency`"]
    error: Annotated[float, "standard error of the worth where it was estimated, in `currency`; 0: exact"]
    at_least: Annotated[bool, "true where part of what it could tell was left out: it is worth at least this"]
    first_by_rule: Annotated[bool, "true where it looks into a danger and comes first whatever it is worth"]
    how: Annotated[str, "how it is done"]
    needs: Annotated[tuple[str, ...], "what must be so first"]
    tools: Annotated[tuple[str, ...], "tools"]
    answers: Annotated[tuple[str, ...], "what it answers"]
    cautions: Annotated[tuple[str, ...], "warnings to read first"]
    may_go_wrong: Annotated[tuple[str, ...], "what can go wrong on the way"]
    parts: Annotated[tuple[str, ...], "parts used up"]
    ahead: Annotated[float, "net where the best second check follows after the answers that ask for it"] = 0.0
    follow: Annotated[str, "that second check with its place, in words; empty where none betters it"] = ""
    along: Annotated[tuple[str, ...], "checks that pay in the same go, because what this one opens serves them"] = ()


@dataclass(frozen=True)
class ReasonLine:
    """Something barred, and why."""

    what: Annotated[str, "what is barred"]
    why: Annotated[str, "why"]


@dataclass(frozen=True)
class NextSheet:
    """`diag next`: what to check next."""

    case: Annotated[CaseLine, "the case and its engine"]
    currency: Annotated[str, "currency of all money here, ISO 4217"]
    stop: Annotated[bool, "true where no check is worth its cost: repair now"]
    repairs: Annotated[bool, "true where the best plan on what is known now repairs something"]
    total_now: Annotated[float, "expected total of the best plan on what is known now, in `currency`"]
    checks: Annotated[tuple[CheckLine, ...], "the checks, best first"]
    barred: Annotated[tuple[ReasonLine, ...], "checks not possible here"]
    left_out: Annotated[float, "chance of the shared circumstances that the ranking left out, 0 to 1"]
    laid_aside: Annotated[int, "groups of the vehicle's findings that the ranking took one by one, as too many meet"]
    off: Annotated[float, "largest difference that this makes to the chance of a fault, 0 to 1"]
    cautions: Annotated[tuple[str, ...], "warnings that stand whatever is checked"]


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
    invoice_high: Annotated[float, "nine in ten are no dearer"]
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


@dataclass(frozen=True)
class AdviceSheet:
    """`diag advise`: the three sheets in one."""

    weigh: Annotated[WeighSheet, "the faults"]
    next: Annotated[NextSheet, "the next check"]
    repair: Annotated[RepairSheet, "the options and the plan"]
    decision: Annotated[Literal["check", "repair"], "whether a check comes first"]
    doubt: Annotated[str, "whether the advice stands when its numbers are drawn again; empty: not asked"] = ""
