"""The debrief of an ended case: step by step what was known, what was best and why, and what the choices came to.

Nothing in a step's score knows the truth: it is reckoned from what was known then, so luck has no part in it. What the
case came to in the end is split into the least that was to be expected at the start, the regrets, and luck.
May import: explain, learning (its scores), decision, network, casebook, knowledge_base, basics, numpy, and the modules
of this room below it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

import numpy as np

from diag.basics import Place, UsageError
from diag.casebook import Answer, Measured
from diag.learning import brier, log_score
from diag.network import Weighed, component_states, weigh
from diag.training.bench import Bench
from diag.training.doubting import DRAWS, as_good
from diag.training.judging import Choice, Moment, choice_of, moment_of, regret_of
from diag.training.players import Outcome, outcome_of
from diag.training.playing import questions_left, told_by, world_at
from diag.training.records import Asked, Believed, Decided, Event, Fitted, Seat
from diag.training.worlds import SURELY

__all__ = ["BeliefScore", "Debrief", "FaultThen", "StepReview", "debrief", "faults_then", "review"]

SHOWN_FAULTS = 3


@dataclass(frozen=True)
class FaultThen:
    """How likely a component was to be at fault."""

    component: str
    place: Place
    chance: float


@dataclass(frozen=True)
class StepReview:
    """One choice. `chosen` and `best`: what was done, and what would have been best then; `regret` in money (0 where it
    was best), `minutes` the same as labour time; `as_good`: whether it counts as equally good within the model's own
    doubt, then it scores 0; `unsafe`: why it must not be chosen, whatever its money; `put_off`: whether a check that
    safety puts first was left for later. `known`: the likeliest faults then. `told`: what it brought, `would_tell`:
    what the best check would have brought on this vehicle (empty where it was done, or no check was best)."""

    number: int
    event: Event
    chosen: Choice
    best: Choice
    regret: float
    minutes: float
    as_good: bool
    unsafe: str
    put_off: bool
    known: tuple[FaultThen, ...]
    told: tuple[Answer | Measured, ...]
    would_tell: tuple[Answer | Measured, ...]

    @property
    def scored(self) -> float:
        """The regret that counts."""
        return 0.0 if self.as_good else self.regret


@dataclass(frozen=True)
class BeliefScore:
    """One thing that the trainee said: `said` and what the model made of the same findings (`model`), and whether it is
    so (`true`). `brier` and `log` of this one; `off`: (said - model)^2, which knows no luck: what the statement is
    expected to lose beyond the model's own in Brier's score."""

    after: int
    component: str
    place: Place
    said: float
    model: float
    true: bool
    brier: float
    log: float
    off: float


@dataclass(frozen=True)
class Debrief:
    """A case looked at afterwards. `expected`: the least expected total at the start; `regret`: the sum of what counts;
    `all_regret`: the same with what is within the model's doubt. `outcome`: what it came to on this vehicle; `luck`:
    what of that is neither expected nor regretted (below 0: good luck). `expected_total`: expected plus all regret, the
    final outcome apart from luck. `weighed`: the case as it was known when work was first done or planned."""

    steps: tuple[StepReview, ...]
    beliefs: tuple[BeliefScore, ...]
    expected: float
    regret: float
    all_regret: float
    minutes_regret: float
    unsafe: int
    outcome: Outcome
    luck: float
    currency: str
    weighed: Weighed

    @property
    def expected_total(self) -> float:
        """What such choices come to on average."""
        return self.expected + self.all_regret


def debrief(bench: Bench, seat: Seat, draws: int = DRAWS, told: Callable[[int, int], None] | None = None) -> Debrief:
    """Look back at an ended case. `draws`: of the numbers for the model's own doubt (0: none, which is quicker);
    `told(done, steps)` is called step by step. Raises UsageError while the case runs."""
    if not seat.play.ended:
        raise UsageError("the case has not ended yet: tell your plan first")
    steps = []
    for number in range(len(seat.play.events)):
        found = review(bench, seat, number, draws)
        if found is not None:
            steps.append(found)
        if told is not None:
            told(number + 1, len(seat.play.events))
    outcome = outcome_of(bench, seat)
    expected = moment_of(bench, seat.play.practice.start).value
    all_regret = sum(each.regret for each in steps)
    regret = sum(each.scored for each in steps)
    return Debrief(
        steps=tuple(steps),
        beliefs=belief_scores(bench, seat),
        expected=expected,
        regret=regret,
        all_regret=all_regret,
        minutes_regret=regret / bench.tariff.rate_per_minute,
        unsafe=sum(bool(each.unsafe) for each in steps),
        outcome=outcome,
        luck=outcome.total - expected - all_regret,
        currency=bench.currency,
        weighed=weigh(bench.knowledge, seat.play.case_at(_first_work(seat))),
    )


def _first_work(seat: Seat) -> int:
    """The first step at which work was done or planned: until then everything was found that led to it."""
    events = seat.play.events
    return next(number for number, event in enumerate(events) if isinstance(event, Fitted | Decided))


def review(bench: Bench, seat: Seat, number: int, draws: int = DRAWS) -> StepReview | None:
    """One step of a case; none where nothing was chosen. What was said, known and scored needs no truth; only
    `would_tell` is read from the vehicle."""
    event = seat.play.events[number]
    if isinstance(event, Believed):
        return None
    moment = moment_of(bench, seat.play.case_at(number))
    chosen = choice_of(bench, moment, event)
    assert chosen is not None
    regret = regret_of(moment, chosen)
    first = moment.first
    put_off = bool(moment.safety) and not any(_same(chosen, each) for each in moment.safety)
    return StepReview(
        number=number,
        event=event,
        chosen=chosen,
        best=first,
        regret=regret,
        minutes=regret / bench.tariff.rate_per_minute,
        as_good=as_good(bench, moment, chosen, draws),
        unsafe=chosen.unsafe,
        put_off=put_off,
        known=faults_then(bench, moment),
        told=tuple(event.found) if isinstance(event, Asked | Fitted) else (),
        would_tell=() if _same(chosen, first) else _would_tell(bench, seat, number, first),
    )


def _same(one: Choice, other: Choice) -> bool:
    return (one.kind, one.check, one.place, frozenset(one.jobs)) == (
        other.kind,
        other.check,
        other.place,
        frozenset(other.jobs),
    )


def faults_then(bench: Bench, moment: Moment, most: int = SHOWN_FAULTS) -> tuple[FaultThen, ...]:
    """The likeliest faults at a moment."""
    chances = _chances(bench, moment)
    ordered = sorted(chances, key=lambda key: -chances[key])[:most]
    return tuple(FaultThen(*key, chances[key]) for key in ordered)


def _chances(bench: Bench, moment: Moment) -> dict[tuple[str, Place], float]:
    ready = bench.ready(moment.case)
    states = component_states(ready.network, ready.posterior)  # type: ignore[arg-type]
    known = bench.knowledge.components
    return {key: 1.0 - float(each[0]) for key, each in states.items() if known[key[0]].fault}


def _would_tell(bench: Bench, seat: Seat, number: int, best: Choice) -> tuple[Answer | Measured, ...]:
    """What the best check would have brought then, on the vehicle as it was."""
    if best.kind != "check":
        return ()
    hidden, case = replace(seat.hidden, world=world_at(bench, seat, number)), seat.play.case_at(number)
    levels = bench.levels(hidden.world)
    left = questions_left(bench, case, best.check, best.place)
    found = (told_by(bench, case, hidden, levels, question, SURELY) for question in left)
    return tuple(each for each in found if each is not None)


def belief_scores(bench: Bench, seat: Seat) -> tuple[BeliefScore, ...]:
    """Everything that was said of how sure the trainee was, beside the model and the truth at that time. What was said
    once more before the next step stands for what was said first: it corrects a slip, and counts once."""
    found = []
    for number, event in enumerate(seat.play.events):
        if not isinstance(event, Believed):
            continue
        model = _chances(bench, moment_of(bench, seat.play.case_at(number)))
        wrong = {key for key, state in world_at(bench, seat, number).states.items() if state != 0}
        corrected = _said_before_the_next_step(seat.play.events[number + 1 :])
        for each in event.beliefs:
            if (each.component, each.place) in corrected:
                continue
            key = (each.component, each.place)
            said, true = np.array([each.chance]), key in wrong
            came = np.array([1.0 if true else 0.0])
            thought = model.get(key, 0.0)
            found.append(
                BeliefScore(
                    number, *key, each.chance, thought, true, brier(said, came), log_score(said, came),
                    (each.chance - thought) ** 2,
                )
            )  # fmt: skip
    return tuple(found)


def _said_before_the_next_step(events: Sequence[Event]) -> set[tuple[str, Place]]:
    """Of which things it was said how sure one is, until something is done."""
    said = takewhile(lambda event: isinstance(event, Believed), events)
    return {(each.component, each.place) for event in said if isinstance(event, Believed) for each in event.beliefs}


def leading(steps: Sequence[StepReview]) -> StepReview | None:
    """The step that cost most; none where nothing did."""
    worst = max(steps, key=lambda each: each.scored, default=None)
    return worst if worst is not None and worst.scored > 0 else None
