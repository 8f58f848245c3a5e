"""Sheets of the trainer: what a trainee sees, the debrief, the class, the case studies. May import: sheets.

`PracticeStateSheet` is all that a trainee receives while a case runs; it holds nothing of the truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from diag.basics import Place
from diag.report.sheets_case import CaseLine, EvidenceLine

__all__ = [
    "BeliefLine",
    "CalibrationLine",
    "CheckHabitLine",
    "ClassCaseLine",
    "ClassSheet",
    "DebriefSheet",
    "MadeSheet",
    "OfferLine",
    "PracticeStateSheet",
    "ProgressLine",
    "RepairOffer",
    "StepDebrief",
    "StudiesSheet",
    "StudyLine",
    "SuspectLine",
    "TruthLine",
]


@dataclass(frozen=True)
class OfferLine:
    """A check that can be asked for."""

    check: Annotated[str, "id of the check"]
    name: Annotated[str, "its name"]
    places: Annotated[tuple[Place, ...], "where: cylinder numbers, bank letters, or null for the vehicle"]
    minutes: Annotated[float, "minutes it takes with what is open now, at one place"]
    barred: Annotated[str, "why it cannot be done here; empty where it can"]
    cautions: Annotated[tuple[str, ...], "the usual cautions of doing it"]


@dataclass(frozen=True)
class RepairOffer:
    """Work that can be fitted, or be part of the plan."""

    repair: Annotated[str, "id of the repair"]
    name: Annotated[str, "its name"]
    places: Annotated[tuple[Place, ...], "where: cylinder numbers, bank letters, or null for the vehicle"]
    cautions: Annotated[tuple[str, ...], "the usual cautions of doing it"]


@dataclass(frozen=True)
class PracticeStateSheet:
    """The sheet of `diag practice show`, and all that a trainee may see while a case runs."""

    case: Annotated[CaseLine, "the vehicle; its title is the complaint"]
    known: Annotated[tuple[EvidenceLine, ...], "everything told and found so far, in its order"]
    latest: Annotated[tuple[EvidenceLine, ...], "what the last step brought"]
    step_cautions: Annotated[tuple[str, ...], "the usual cautions of the last step's work"]
    said: Annotated[tuple[str, ...], "sentences about the last step: what it took, what broke, why it was refused"]
    minutes: Annotated[float, "workshop minutes so far"]
    paid: Annotated[float, "money so far"]
    currency: Annotated[str, "currency of all money, before tax"]
    cautions: Annotated[tuple[str, ...], "cautions that stand first because something dangerous was found"]
    checks: Annotated[tuple[OfferLine, ...], "what can still be asked for"]
    repairs: Annotated[tuple[RepairOffer, ...], "work that can be fitted or planned"]
    ended: Annotated[bool, "whether the plan was told"]


@dataclass(frozen=True)
class SuspectLine:
    """How likely a fault was to be there."""

    component: Annotated[str, "id of the component"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    chance: Annotated[float, "probability, 0 to 1"]


@dataclass(frozen=True)
class TruthLine:
    """A fault that the vehicle had."""

    component: Annotated[str, "id of the component"]
    name: Annotated[str, "component and state in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    state: Annotated[str, "id of the state"]


@dataclass(frozen=True)
class StepDebrief:
    """One choice looked at afterwards."""

    number: Annotated[int, "number of the step, from 1"]
    did: Annotated[str, "what was done"]
    kind: Annotated[str, "check, trial (work as a trial) or plan"]
    check: Annotated[str, "id of the check; empty for work"]
    known: Annotated[tuple[SuspectLine, ...], "the likeliest faults then"]
    best: Annotated[str, "what would have been best then"]
    best_check: Annotated[str, "id of the best check; empty where work was best"]
    value: Annotated[float, "expected total from there, with the choice made"]
    best_value: Annotated[float, "expected total from there, with the best choice"]
    regret: Annotated[float, "how much dearer the choice was expected to be, at least 0"]
    minutes: Annotated[float, "the same as minutes of labour"]
    as_good: Annotated[bool, "whether it counts as equally good: the difference is within the model's own doubt"]
    unsafe: Annotated[str, "why it must not be chosen, whatever its money; empty: it may"]
    put_off: Annotated[bool, "whether a check that safety asks for first was left for later"]
    told: Annotated[tuple[EvidenceLine, ...], "what it brought"]
    would_tell: Annotated[tuple[EvidenceLine, ...], "what the best check would have brought on this vehicle"]


@dataclass(frozen=True)
class BeliefLine:
    """One thing that the trainee said of how sure they were."""

    after: Annotated[int, "after how many steps"]
    name: Annotated[str, "the fault in words"]
    place: Annotated[Place, "cylinder number, bank letter, or null for the vehicle"]
    said: Annotated[float, "the chance that was said, 0 to 1"]
    model: Annotated[float, "the chance that the same findings give"]
    true: Annotated[bool, "whether it was so"]
    brier: Annotated[float, "square of the difference between what was said and what was so (Brier 1950, halved)"]
    log: Annotated[float, "natural logarithm of the chance given to what was so, sign turned"]


@dataclass(frozen=True)
class DebriefSheet:
    """The sheet of `diag practice debrief`."""

    case: Annotated[CaseLine, "the vehicle"]
    trainee: Annotated[str, "name of the trainee; may be empty"]
    truth: Annotated[tuple[TruthLine, ...], "what was wrong; empty: nothing that could be mended"]
    currency: Annotated[str, "currency of all money, before tax"]
    steps: Annotated[tuple[StepDebrief, ...], "every choice"]
    beliefs: Annotated[tuple[BeliefLine, ...], "what was said of how sure the trainee was"]
    words: Annotated[str, "what the trainee told the customer"]
    expected: Annotated[float, "the least expected total at the start"]
    regret: Annotated[float, "sum of the regrets that count: the score, 0 is best"]
    minutes_regret: Annotated[float, "the same as minutes of labour"]
    all_regret: Annotated[float, "sum of all regrets, those within the model's own doubt included"]
    expected_total: Annotated[float, "what such choices come to on average: expected and all regret"]
    total: Annotated[float, "what it came to on this vehicle: checks, trials, plan and what follows"]
    least: Annotated[float, "what the best plan costs where the truth is known from the start"]
    luck: Annotated[float, "total less what such choices come to on average; below 0: good luck"]
    unsafe: Annotated[int, "number of unsafe choices"]
    minutes: Annotated[float, "workshop minutes of checks and trials"]
    why: Annotated[str, "why the likeliest fault at the end is as likely as it is"]
    covers: Annotated[tuple[str, ...], "what the case is about; empty for cases that were made"]
    learn: Annotated[str, "what to take home"]
    misleads: Annotated[str, "what leads astray"]
    ask: Annotated[tuple[str, ...], "questions to talk about"]
    doubted: Annotated[int, "how often all numbers were drawn again for the model's own doubt; 0: they were not"]


@dataclass(frozen=True)
class StudyLine:
    """A case study."""

    id: Annotated[str, "id, also the name of its file"]
    title: Annotated[str, "what the trainee is told first"]
    engine: Annotated[str, "id of the engine"]
    grade: Annotated[int, "from 1 (easy) to 5 (hard)"]
    covers: Annotated[tuple[str, ...], "what it is about, where --about asks for it: for the trainer"]


@dataclass(frozen=True)
class StudiesSheet:
    """The sheet of `diag practice studies`."""

    studies: Annotated[tuple[StudyLine, ...], "the case studies that ship, easy ones first"]


@dataclass(frozen=True)
class MadeSheet:
    """The sheet of `diag practice make`: for the trainer."""

    case: Annotated[CaseLine, "the vehicle"]
    number: Annotated[int, "number of the case"]
    complaint: Annotated[tuple[EvidenceLine, ...], "history, and what the customer tells"]
    truth: Annotated[tuple[TruthLine, ...], "what is wrong; empty where it was not to be shown, or nothing is"]
    revealed: Annotated[bool, "whether the truth is shown"]
    currency: Annotated[str, "currency of all money, before tax"]
    grade: Annotated[int | None, "from 1 (easy) to 5 (hard); null: not measured"]
    hours: Annotated[float | None, "the difficulty in hours of labour"]
    needed: Annotated[float | None, "what even the advice pays for checks"]
    misled: Annotated[
        float | None,
        "chance of what looks likeliest times what mending it costs beyond knowing the truth, on average on the way",
    ]
    checks: Annotated[float | None, "number of checks that the advice needs"]
    minutes: Annotated[float | None, "minutes that they take"]
    guess: Annotated[str, "what looks likeliest after the complaint; empty: not shown or not measured"]
    guess_chance: Annotated[float | None, "how likely it looks"]
    tries: Annotated[int, "how many vehicles were made until one was as wished"]
    written: Annotated[str, "the journal that was written; empty: none"]


@dataclass(frozen=True)
class CalibrationLine:
    """How well what was said of chances fits what was so."""

    statements: Annotated[int, "how many statements"]
    brier: Annotated[float, "mean square difference (Brier 1950, halved); 0 is best"]
    log: Annotated[float, "mean logarithmic score; 0 is best"]
    reliability: Annotated[float, "Murphy (1973): how far off, on average, what was said is; 0 is best"]
    resolution: Annotated[float, "Murphy (1973): how well the statements tell apart; higher is better"]
    uncertainty: Annotated[float, "Murphy (1973): what lies in the cases"]
    lean: Annotated[float, "mean of what was said less how often it was so; above 0: too sure"]
    off: Annotated[float, "mean square distance to the chance that the same findings give; knows no luck"]


@dataclass(frozen=True)
class ProgressLine:
    """One trainee."""

    trainee: Annotated[str, "name"]
    ended: Annotated[int, "cases that were ended"]
    running: Annotated[int, "cases that still run"]
    regret: Annotated[float, "mean regret of a case"]
    minutes: Annotated[float, "the same as minutes of labour"]
    unsafe: Annotated[int, "unsafe choices"]
    regrets: Annotated[tuple[float, ...], "regret of each ended case, in the order in which they were begun"]
    trend: Annotated[float, "mean regret of the second half of the cases less that of the first"]
    calibration: Annotated[CalibrationLine | None, "what was said of chances; null: nothing was"]


@dataclass(frozen=True)
class ClassCaseLine:
    """One case over all who ended it."""

    practice: Annotated[str, "id of the case"]
    grade: Annotated[int | None, "from 1 (easy) to 5 (hard); null: not measured"]
    trainees: Annotated[int, "how many ended it"]
    least: Annotated[float, "smallest regret"]
    mean: Annotated[float, "mean regret"]
    most: Annotated[float, "largest regret"]
    minutes: Annotated[float, "mean workshop minutes of checks and trials"]
    paid: Annotated[float, "mean money for them"]
    missed: Annotated[str, "the check that was best and passed over at the highest cost; empty: none"]


@dataclass(frozen=True)
class CheckHabitLine:
    """One check over the whole class."""

    check: Annotated[str, "id of the check"]
    name: Annotated[str, "its name"]
    asked: Annotated[int, "how often it was asked for"]
    needless: Annotated[int, "how often something else was clearly better (over-used)"]
    people: Annotated[int, "by how many trainees"]
    needless_cost: Annotated[float, "regret of that"]
    missed: Annotated[int, "how often it was best and something else was chosen (under-used)"]
    missed_cost: Annotated[float, "regret of that"]


@dataclass(frozen=True)
class OwnCaseLine:
    """One case of a trainee's own page, beside the class."""

    practice: Annotated[str, "id of the case"]
    title: Annotated[str, "what the customer tells"]
    grade: Annotated[int | None, "1 (easy) to 5 (hard); null: not measured"]
    regret: Annotated[float, "regret that counts"]
    minutes: Annotated[float, "the same as labour time"]
    unsafe: Annotated[int, "unsafe choices"]
    class_mean: Annotated[float, "mean regret of all who ended it"]
    trainees: Annotated[int, "how many ended it"]


@dataclass(frozen=True)
class HeedingLine:
    """How much the class makes of what one check tells, where something was said before and after it."""

    source: Annotated[str, "id of the check, or 'work' for parts fitted for a trial"]
    name: Annotated[str, "its name"]
    heard: Annotated[int, "how often it stood between two statements on one fault"]
    people: Annotated[int, "by how many people"]
    more: Annotated[int, "how often it was taken for more than it says"]
    less: Annotated[int, "how often for less"]
    beyond: Annotated[float, "mean weight beyond what it says, decibans; below 0: too little"]


@dataclass(frozen=True)
class ClassSheet:
    """The sheet of `diag practice class`."""

    currency: Annotated[str, "currency of all money, before tax"]
    trainees: Annotated[tuple[ProgressLine, ...], "every trainee, in the order in which they began"]
    cases: Annotated[tuple[ClassCaseLine, ...], "every case that somebody ended"]
    habits: Annotated[tuple[CheckHabitLine, ...], "checks that are over- or under-used, the dearest habit first"]
    heeding: Annotated[tuple[HeedingLine, ...], "findings taken for more or less than they say"]
    early: Annotated[int, "how often work was chosen while a check was worth more"]
    early_cost: Annotated[float, "regret of that"]
    late: Annotated[int, "how often checks went on when it was time to repair"]
    late_cost: Annotated[float, "regret of that"]
    trials: Annotated[int, "how often parts were fitted for a trial at a loss"]
    trials_cost: Annotated[float, "regret of that"]
    unsafe: Annotated[dict[str, int], "unsafe choices: why, and how often"]
    calibration: Annotated[CalibrationLine | None, "what the class said of chances; null: nothing was said"]
    unread: Annotated[tuple[str, ...], "files that are no journals or are copies, and why"]
    doubted: Annotated[int, "how often all numbers were drawn again for the model's own doubt; 0: they were not"]
