"""The records of the knowledge language: what one entry of a knowledge file may say.

Each class is one kind of entry, with its fields in the order in which a file is read aloud.
They are frozen; what is not listed here is refused. May import: pydantic, `diag.basics`, and within
the room `amounts`, `log_records`, `money`, `spreads`.
"""

# ruff: noqa: RUF012  pydantic copies a default for every record

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StrictBool

from diag.knowledge_base.amounts import Amount, Basis, Chance, ChanceByLevel, Figure, Record, Scaling
from diag.knowledge_base.engine_records import Limit, Minutes, Torque, TrimCodeFormat
from diag.knowledge_base.log_records import LogColumn, LogRule
from diag.knowledge_base.money import Customer, OwnSide, Part, Prices, Terms
from diag.knowledge_base.spreads import Distribution, Mixture, SpreadOfReading

__all__ = [
    "MOST_CYLINDERS",
    "AccessKind",
    "Adjustment",
    "Amount",
    "Answer",
    "Basis",
    "Caution",
    "ChanceByLevel",
    "Check",
    "CodePattern",
    "Component",
    "Condition",
    "Customer",
    "Distribution",
    "Engine",
    "Figure",
    "Finding",
    "Hazard",
    "Knowledge",
    "Life",
    "Limit",
    "Mixture",
    "OwnSide",
    "Part",
    "Prices",
    "Reading",
    "Record",
    "Repair",
    "Risk",
    "Scope",
    "Severity",
    "Shift",
    "Source",
    "State",
    "Terms",
    "Torque",
    "TrimCodeFormat",
    "Vocabulary",
    "WorkStep",
    "Yield",
]

Scope = Literal["cylinder", "bank", "vehicle"]
Condition = Literal["cold", "warm", "hot restart", "idle", "load", "damp", "cranking"]
Hazard = Literal[
    "engine running",
    "driving",
    "opens fuel pressure",
    "unplugs an injector",
    "hot parts",
    "moving parts",
    "hot coolant",
    "exhaust gas",
    "fuel vapour",
    "high voltage",
    "flying parts",
    "solvent",
    "sparks",
]


class State(Record):
    """One state of a component. `dangerous` states bar 'nothing now' and 'drive on'; `danger`: the cautions that stand
    first where one is probable, although nobody has told what would show it."""

    name: str
    plain: str | None = None
    dangerous: StrictBool = False
    danger: tuple[str, ...] = ()


class Life(Record):
    """A Weibull life: the same law gives the chance to have failed by now and the life still to come.

    `scale` and `unnoticed` are in kilometres (clock 'distance') or years (clock 'age'). A part that failed longer
    ago than `unnoticed` would have been mended, so the prior is the chance to fail within that last stretch.
    `scale_under` multiplies the scale under a state of a shared cause.
    """

    clock: Literal["distance", "age"]
    shape: Amount
    scale: Amount
    unnoticed: Amount
    fails_as: ChanceByLevel
    scale_under: dict[str, dict[str, Amount]] = {}


class Lapse(Record):
    """Something left undone at work on a component, and the chance of each unsound state just after it."""

    name: str
    chance: ChanceByLevel


class Component(Record):
    """A thing that can fail, on each cylinder, each bank, or once a vehicle. The first state is the sound one.

    `reaches_cylinders`: a shared cause that changes what happens inside the cylinders (it costs speed).
    `fault` false: a circumstance (harsh stress, numbering), which no repair mends and which cures do not wait for.
    `chance`: of each unsound state in vehicles in use, beside what `life` brings.
    `given`: the chance where a shared cause is in a state; where several apply the largest stands.
    `fresh`, `disturbed`: just after it was renewed, or disturbed by other work; stands for `settles_months`.
    `lapses`: what may be told of work on it that was not done as it should be; what that spares is as after any work.
    `only_after`: repairs; without one of them in the history the component is sound (zero chance).
    """

    name: str
    plain: str
    per: Scope
    states: dict[str, State] = Field(min_length=2)
    reaches_cylinders: StrictBool = False
    fault: StrictBool = True
    chance: ChanceByLevel = {}
    life: Life | None = None
    given: dict[str, dict[str, ChanceByLevel]] = {}
    fresh: ChanceByLevel = {}
    disturbed: ChanceByLevel = {}
    lapses: dict[str, Lapse] = {}
    settles_months: Amount = Figure.model_construct({"value"}, value=6.0)
    only_after: tuple[str, ...] = ()
    basis: Basis

    @property
    def sound(self) -> str:
        """The id of the sound state."""
        return next(iter(self.states))


class Severity(Record):
    """How strongly something happens: hidden, between its causes and its findings (a leaky noisy-MAX).

    `levels` run from 'nothing' upwards, a later one masks an earlier one. `causes`: cause -> its state or level ->
    chance of each level above the first (which takes the rest). A cylinder's severity is caused by that cylinder's
    components and by shared causes that reach into cylinders; a vehicle's by cylinder severities (of every
    cylinder), by bank and vehicle components and by vehicle severities written before it.
    """

    name: str
    plain: str
    per: Literal["cylinder", "vehicle"]
    levels: tuple[str, ...] = Field(min_length=2)
    causes: dict[str, dict[str, ChanceByLevel]]
    background: ChanceByLevel = {}
    basis: Basis


class CodePattern(Record):
    """A generic fault code: `first` for cylinder 1 (or alone), plus `step` for each further cylinder. `also`: further
    numbers of a code of the whole vehicle that tell the same, as of one circuit that its signal is too low."""

    first: str = Field(pattern=r"^[PCBU][0-9A-F]{4}$")
    step: int = 0
    hexadecimal: StrictBool = False
    also: tuple[Annotated[str, Field(pattern=r"^[PCBU][0-9A-F]{4}$")], ...] = ()


class Finding(Record):
    """A yes-or-no finding. `shows` names the one severity or component it shows; `chance` of 'present' by its levels.

    `under`: other chances where the finding holds under a condition. `lasting`: how often one luck (one ear, one other
    noise) stands behind it under all of them. `danger`: cautions that stand first, and bar 'nothing now' where present.
    """

    name: str
    ask: str
    plain: str
    kind: Literal["symptom", "observation", "code"]
    shows: str
    chance: ChanceByLevel
    under: dict[Condition, ChanceByLevel] = {}
    lasting: Chance = Figure.model_construct({"value"}, value=0.0)
    code: CodePattern | None = None
    danger: tuple[str, ...] = ()
    basis: Basis


class Adjustment(Record):
    """What another condition, or the other kind of injector, makes of a reading.

    `factor` scales the middles (and with them the limit); `widens` is a further standard deviation of the true value,
    in the measure of the widths (multiples of the limit, `unit`, or the logarithm): the reading counts, but for less.
    """

    under: Condition | None = None
    injector: Literal["solenoid", "piezo"] | None = None
    factor: Amount = Figure.model_construct({"value"}, value=1.0)
    widens: Amount = Figure.model_construct({"value"}, value=0.0)
    basis: Basis


class Shift(Record):
    """One unknown number in the readings of all cylinders of one engine.

    `sum zero`: the controller forces the corrections to sum to zero, so each is what the cylinder needs less one
    number c that nobody knows. `common factor`: one factor (pressure, duration, warmth) multiplies all; `width` is the
    standard deviation of its logarithm, and part of the width of every spread. `neighbour`: the share of a cylinder's
    deviation that disturbs the reading of the one that fires next. `ordinary`: how many cylinders, of those that
    nothing was told of, are at the first level.
    """

    kind: Literal["sum zero", "common factor"]
    width: Amount = Figure.model_construct({"value"}, value=0.0)
    neighbour: Amount = Figure.model_construct({"value"}, value=0.0)
    ordinary: Chance = Figure.model_construct({"value"}, value=0.94)
    basis: Basis


class Reading(Record):
    """A number read off the vehicle. `relative_to`: the distributions are in multiples of that limit of the engine;
    without it they are in `unit`. `instrument_error` is a standard deviation in `unit`.

    `other_units`: units that only an engine can turn into `unit`: the engine's limit of that name is worth as much as
    the one of `relative_to`. `saturates`: the limit of the engine beyond which nothing is shown; a reading there is a
    bound. `shift`: what the readings of all its cylinders share. `numbered`: the control unit shows it by its own
    numbering of the cylinders, like a fault code. `scaled`: what it grows with. `danger`: cautions that stand first
    and bar 'nothing now' where it is read above the engine's `limit`, or above `danger_above` where that is blank.
    """

    name: str
    ask: str
    plain: str
    shows: str
    unit: str
    relative_to: str | None = None
    limit: str | None = None
    spread: dict[str, SpreadOfReading]
    instrument_error: Amount
    lowest: float
    highest: float
    decimals: int = 1
    other_units: dict[str, str] = {}
    saturates: str | None = None
    shift: Shift | None = None
    numbered: StrictBool = False
    scaled: Scaling | None = None
    adjust: tuple[Adjustment, ...] = ()
    danger: tuple[str, ...] = ()
    danger_above: float | None = None
    basis: Basis


class Yield(Record):
    """What a check brings: a finding or reading, under a condition."""

    item: str
    under: Condition | None = None


def _yield(raw: object) -> object:
    if isinstance(raw, str):
        item, _, under = raw.partition(" under ")
        return {"item": item.strip(), "under": under.strip() or None}
    return raw


ReadableYield = Annotated[Yield, BeforeValidator(_yield, json_schema_input_type=str | Yield)]


class Ageing(Record):
    """Past so many years in place the odds of a risk are so many `times` as high."""

    years: Amount
    times: Amount


class Risk(Record):
    """What can go wrong on the way: its chance (by level of a severity where `by` names one), minutes and parts.

    `chance` maps the levels of `by`, or holds the single key 'always'. `older`: what it is where the injector was not
    out of its cylinder for long.
    """

    name: str
    by: str | None = None
    chance: dict[str, Chance]
    minutes: Amount = Figure.model_construct({"value"}, value=0.0)
    parts: dict[str, int] = {}
    money: Amount = Figure.model_construct({"value"}, value=0.0)
    older: Ageing | None = None


class Check(Record):
    """Something to look at or measure: what it yields, what it costs, what it needs.

    `covers`: what one doing of it answers: one cylinder, a bank, or the vehicle ('each cylinder' findings then come
    for every cylinder of it). `minutes` is for one doing. `access`: what must be open. `needs`: preconditions of
    vocabulary.yaml. `days`: how long the vehicle stands for it beyond the day of the work.
    """

    name: str
    how: str
    covers: Scope
    yields: tuple[ReadableYield, ...] = Field(min_length=1)
    minutes: Amount
    days: Amount = Figure.model_construct({"value"}, value=0.0)
    access: str = "none"
    needs: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    cautions: tuple[str, ...] = ()
    parts: dict[str, int] = {}
    risks: tuple[Risk, ...] = ()
    only_injector: Literal["solenoid", "piezo"] | None = None
    basis: Basis


class Repair(Record):
    """Work that renews components, a way out (refer, bench-test, stop), or an exchange that only looks (a swap).

    `renews`: components set to 'just renewed'; `disturbs`: set to 'just disturbed'; `moves`: changed places with those
    of the other cylinder, state and all; then `renews` and `disturbs` hold for both cylinders. `stands_for`: findings
    that say of its two cylinders what the exchange itself shows; told beside it they are not counted again.
    `parts` for one doing. `minutes` once access is open; `days`: how long the vehicle stands for it beyond the day of
    the work. `then`: repairs that must follow it. `single_use` follows from the parts.
    `steps`: ids of work_steps.yaml, in the order of that file. `read_again`: readings taken once more afterwards.
    `tells`: findings that a way out brings back, after which one decides what else to do in the same visit.
    """

    name: str
    plain: str
    on: Scope
    kind: Literal["mend", "way out", "exchange"] = "mend"
    renews: tuple[str, ...] = ()
    disturbs: tuple[str, ...] = ()
    moves: tuple[str, ...] = ()
    stands_for: tuple[str, ...] = ()
    tells: tuple[str, ...] = ()
    parts: dict[str, int] = {}
    minutes: Amount
    days: Amount = Figure.model_construct({"value"}, value=0.0)
    money: Amount = Figure.model_construct({"value"}, value=0.0)
    access: str = "none"
    needs: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    cautions: tuple[str, ...] = ()
    risks: tuple[Risk, ...] = ()
    then: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    read_again: tuple[str, ...] = ()
    basis: Basis


class WorkStep(Record):
    """One step of work; the order of work_steps.yaml is the order in which one works.

    `stage`: before anything is opened, opening, the work itself, closing, writing codes, or after all of it. `each`:
    ticked for every place where the work is done, once for what is opened together, or once on the whole sheet.
    `torques`: values of the engine that are tightened to here. `parts`: what is fitted new or used up here.
    `record`: what is written down here. `removes_injector`: from here on it is out of its cylinder. `unless`: left out
    where that step is done as well.
    In `do`, {wait}, {code_length} and {code_alphabet} stand for the engine's own.
    """

    do: str
    stage: Literal["before", "open", "work", "close", "codes", "after"]
    each: Literal["place", "group", "sheet"] = "place"
    hazards: tuple[Hazard, ...] = ()
    cautions: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    torques: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    record: str | None = None
    removes_injector: StrictBool = False
    unless: str | None = None


class AccessKind(Record):
    """A kind of dismantling. `includes`: kinds that are open when this one is. `open`, `close`: its steps; `then`: what
    must follow once it is closed again, where no repair brings that."""

    name: str
    includes: tuple[str, ...] = ()
    shuts_engine: StrictBool = False
    open: tuple[str, ...] = ()
    close: tuple[str, ...] = ()
    then: tuple[str, ...] = ()


class Vocabulary(Record):
    """Words that other files use: access kinds, preconditions (id -> words), conditions (id -> words)."""

    access: dict[str, AccessKind]
    preconditions: dict[str, str]
    conditions: dict[Condition, str]


class Answer(Record):
    """A soft answer. `ratio`: how many times likelier it is given when the finding is there than when it is not.

    1 tells nothing; the plain answers 'present' and 'absent' are not soft and not listed."""

    name: str
    ratio: Amount
    basis: Basis


class Caution(Record):
    """A warning, printed with every check and repair that has one of its hazards (or names it), by itself or by the
    steps that open and close what it needs open.

    `forbids`: while a finding or state of danger brings this caution, no check with one of these hazards is done.
    `short`: what stands at each step of a work sheet, whose head has the text; none: the text stands there too.
    `head_only`: it stands at the head of a work sheet and not again at its steps.
    """

    text: str
    short: str | None = None
    head_only: StrictBool = False
    hazards: tuple[Hazard, ...] = ()
    forbids: tuple[Hazard, ...] = ()
    basis: Basis


class Source(Record):
    """A publication or origin of numbers."""

    citation: str
    note: str | None = None


MOST_CYLINDERS = 12  # fault codes number cylinders 1 to 12 (SAE J2012, ISO 15031-6)


class Engine(Record):
    """One engine: layout, numbering, access minutes by kind and bank, limits and tightening values.

    `banks` maps a bank's letter to its cylinders; an inline engine has the one bank A. `access_minutes` maps an
    access kind to minutes by bank. `awkward_minutes` are added for work on that cylinder. `opposite_sign`: readings
    that this engine's control unit shows with the sign turned round. `bank_sides`: on which side each bank of a V
    engine lies as seen from the seat, cylinders counted from the front; empty where it is not known.
    """

    name: str
    invented: StrictBool
    layout: Literal["inline", "V"]
    injector: Literal["solenoid", "piezo"]
    banks: dict[str, tuple[int, ...]]
    firing_order: tuple[int, ...]
    cylinder_one: str | None = None
    bank_sides: dict[str, Literal["left", "right"]] = {}
    access_minutes: dict[str, dict[str, Minutes]]
    awkward_minutes: dict[int, Minutes] = {}
    limits: dict[str, Limit] = {}
    opposite_sign: tuple[str, ...] = ()
    torques: dict[str, Torque] = {}
    trim_code: TrimCodeFormat = TrimCodeFormat.model_construct()
    wait_after_stop_minutes: Minutes | None = None
    note: str | None = None

    @property
    def cylinders(self) -> tuple[int, ...]:
        """All cylinder numbers, ascending."""
        return tuple(sorted(number for bank in self.banks.values() for number in bank))

    def bank_of(self, cylinder: int) -> str:
        """The letter of the bank that holds a cylinder."""
        return next(letter for letter, numbers in self.banks.items() if cylinder in numbers)


class Knowledge(Record):
    """Everything in knowledge/, after overlays. Dictionaries keep the order of the files."""

    components: dict[str, Component]
    severities: dict[str, Severity]
    findings: dict[str, Finding]
    readings: dict[str, Reading]
    checks: dict[str, Check]
    repairs: dict[str, Repair]
    engines: dict[str, Engine]
    cautions: dict[str, Caution]
    sources: dict[str, Source]
    answers: dict[str, Answer]
    log_columns: dict[str, LogColumn] = {}
    log_rules: dict[str, LogRule] = {}
    vocabulary: Vocabulary
    prices: Prices
    steps: dict[str, WorkStep] = {}
