"""What a practice case is made of: what the trainee may know, what is hidden, and what was done.

`Practice`, `Play` and `TraineeView` hold nothing of the truth; `HiddenTruth` stays on the trainer's side.
May import: decision, casebook, knowledge_base, basics, and `worlds`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from diag.basics import Place
from diag.casebook import Answer, Case, Epoch, Measured, Work
from diag.decision import Job
from diag.training.worlds import Question, World

__all__ = [
    "Asked",
    "Belief",
    "Believed",
    "Decided",
    "Event",
    "Fitted",
    "HiddenTruth",
    "Notes",
    "Play",
    "Practice",
    "Seat",
    "Source",
    "TruthPart",
]

Source = Literal["made", "study", "book"]
Found = Answer | Measured


@dataclass(frozen=True)
class Practice:
    """A case to be played: everything in it may be shown. `grade` from 1 (easy) to 5; none where not measured.
    `currency`: of the money that is spent in it (empty: nobody said)."""

    id: str
    title: str
    start: Case
    source: Source
    grade: int | None = None
    currency: str = ""


@dataclass(frozen=True)
class TruthPart:
    """One fault of the vehicle."""

    component: str
    place: Place
    state: str


@dataclass(frozen=True)
class Notes:
    """Teaching notes: what the case is about (`covers`), what to learn, what to talk about, what misleads."""

    covers: tuple[str, ...] = ()
    learn: str = ""
    misleads: str = ""
    ask: tuple[str, ...] = ()


@dataclass(frozen=True)
class HiddenTruth:
    """What only the trainer knows. `faults` as the vehicle came; `world` as it is now; `scripted`: answers that were
    written by hand or recorded, and hold until work is done; `notes` are for after the case."""

    faults: tuple[TruthPart, ...]
    first: World
    world: World
    scripted: Mapping[Question, Found] = field(default_factory=dict)
    notes: Notes = Notes()


@dataclass(frozen=True)
class Asked:
    """A check that was asked for. `refused`: why it was not done (safety), then nothing was paid. `broken`: what broke
    on the way, its minutes and money being in `minutes` and `cost`; `expected`: what it was expected to cost."""

    check: str
    place: Place
    found: tuple[Found, ...]
    minutes: float
    cost: float
    expected: float
    opens: tuple[tuple[str, str], ...] = ()
    broken: tuple[str, ...] = ()
    refused: str = ""


@dataclass(frozen=True)
class Fitted:
    """Work that was done to see whether it helps. `found`: the complaint's symptoms after it. `helped` says the same in
    one word. `cost`: what the work cost, days without the vehicle included; `expected`: what it was expected to."""

    work: tuple[Work, ...]
    jobs: tuple[Job, ...]
    found: tuple[Answer, ...]
    helped: Literal["yes", "partly", "no"]
    minutes: float
    cost: float
    expected: float


@dataclass(frozen=True)
class Belief:
    """How sure the trainee is that a component is at fault: `chance` from 0 to 1."""

    component: str
    place: Place
    chance: float


@dataclass(frozen=True)
class Believed:
    """What the trainee said of how sure they are."""

    beliefs: tuple[Belief, ...]


@dataclass(frozen=True)
class Decided:
    """The end: the plan, and what the trainee tells the customer, in their own words."""

    jobs: tuple[Job, ...]
    words: str


Event = Asked | Fitted | Believed | Decided


@dataclass(frozen=True)
class Play:
    """A case as far as it was played: nothing in it that the trainee does not know."""

    practice: Practice
    events: tuple[Event, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether the plan was told."""
        return bool(self.events) and isinstance(self.events[-1], Decided)

    @property
    def minutes(self) -> float:
        """Workshop minutes so far."""
        return sum(each.minutes for each in self.events if isinstance(each, Asked | Fitted))

    @property
    def paid(self) -> float:
        """Money so far, in the currency of the prices."""
        return sum(each.cost for each in self.events if isinstance(each, Asked | Fitted))

    def case_at(self, number: int | None = None) -> Case:
        """The case as it was known before event `number`; none: now."""
        case = self.practice.start
        for event in self.events[:number]:
            case = _after(case, event)
        return case


def _after(case: Case, event: Event) -> Case:
    """The case after an event."""
    if isinstance(event, Fitted):
        return replace(case, epochs=(*case.epochs, Epoch(event.work, event.found)), open_access=())
    if not isinstance(event, Asked):
        return case
    latest = case.epochs[-1]
    answers = tuple(each for each in event.found if isinstance(each, Answer))
    asked = {(each.item, each.place, each.condition) for each in answers}
    kept = tuple(each for each in latest.answers if (each.item, each.place, each.condition) not in asked)
    measured = tuple(each for each in event.found if isinstance(each, Measured))
    epoch = replace(latest, answers=(*kept, *answers), measured=(*latest.measured, *measured))
    opened = tuple(dict.fromkeys((*case.open_access, *event.opens)))
    return replace(case, epochs=(*case.epochs[:-1], epoch), open_access=opened)


@dataclass(frozen=True)
class Seat:
    """One trainee at one case: what they know, and beside it what they do not."""

    play: Play
    hidden: HiddenTruth
