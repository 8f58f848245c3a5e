"""How hard a case is, measured: what is needed even by the advice, and how far the obvious guess misleads.

`needed`: what a player who does at every step what is best (one check ahead) pays for checks. `misled`: on that
player's way, on average over its moments, what it would cost to mend at once what looks likeliest then, beyond what
perfect information would cost on the same vehicle: a guess misleads as far as it is dear to follow, and the longer, the
more. Both are means over a few other draws of the noise (the faults and the complaint stay), so that a case is not hard
by luck. The difficulty is needed + `WEIGHT` x misled, in hours of labour. The measure was chosen on 120 vehicles of
drawn workshops (`python -m tests.training.ranking --varied`; any weight from 1 to 4 does), not on shipped engines.
May import: decision, laboratory, network, casebook, knowledge_base, basics, and the modules of this room below.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from statistics import fmean

from diag.basics import Place
from diag.casebook import Case
from diag.laboratory import RepairStep, policy_named
from diag.network import component_states
from diag.training.bench import Bench
from diag.training.drawing import draw_world
from diag.training.players import outcome_of, play_out, player_named
from diag.training.playing import full_jobs, realised_now
from diag.training.records import Asked, HiddenTruth, Practice, Seat
from diag.training.worlds import World

__all__ = ["CUTS", "Difficulty", "difficulty_of", "grade_of", "obvious_guess", "with_other_noise"]

CUTS = (0.7, 3.0, 12.2, 16.0)  # hours of labour, from grade 1 to 5: gaps between 11 made cases and 15 studies
WEIGHT = 2.0  # of being misled, against what is needed
RUNS = 2
MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True)
class Difficulty:
    """`needed` and `misled` in money, `checks` and `minutes` that the advice takes; `guess`: what looks likeliest after
    the complaint, with its `chance`, and `right`: whether it is one of the faults; `hours`: the difficulty."""

    needed: float
    misled: float
    checks: float
    minutes: float
    guess: tuple[str, Place]
    chance: float
    right: bool
    hours: float

    @property
    def grade(self) -> int:
        """From 1 (easy) to 5 (hard)."""
        return grade_of(self.hours)


def grade_of(hours: float) -> int:
    """The grade of a difficulty."""
    return 1 + bisect_right(CUTS, hours)


def difficulty_of(bench: Bench, practice: Practice, hidden: HiddenTruth, runs: int = RUNS) -> Difficulty:
    """Measure it on so many other draws of the noise."""
    guess, chance = obvious_guess(bench, bench.start)
    solver = player_named(bench, "one step")
    needed, misled, checks, minutes = 0.0, 0.0, 0.0, 0.0
    for run in range(runs):
        seat = play_out(bench, practice, with_other_noise(bench, hidden, hidden.first.seed + 1 + run), solver)
        came = outcome_of(bench, seat)
        needed += came.checks
        checks += sum(isinstance(each, Asked) for each in seat.play.events)
        minutes += seat.play.minutes
        misled += fmean(_misleads_by(bench, seat, number, came.least) for number in range(len(seat.play.events)))
    return Difficulty(
        needed=needed / runs,
        misled=misled / runs,
        checks=checks / runs,
        minutes=minutes / runs,
        guess=guess,
        chance=chance,
        right=any((each.component, each.place) == guess for each in hidden.faults),
        hours=(needed + WEIGHT * misled) / (runs * bench.tariff.labour(MINUTES_PER_HOUR)),
    )


def _misleads_by(bench: Bench, seat: Seat, number: int, least: float) -> float:
    """At one moment: what mending what looks likeliest at once costs beyond the least."""
    case = seat.play.case_at(number)
    step = policy_named("likeliest at once").step(bench.desk(case), case, 0.0)
    assert isinstance(step, RepairStep)
    acted = replace(seat, play=replace(seat.play, events=seat.play.events[:number]))
    came = realised_now(bench, acted, full_jobs(bench, step.jobs))
    return max(0.0, came - least) if came is not None else 0.0


def obvious_guess(bench: Bench, case: Case) -> tuple[tuple[str, Place], float]:
    """The component that is likeliest at fault, of what can be mended, and how likely."""
    ready = bench.ready(case)
    states = component_states(ready.network, ready.posterior)  # type: ignore[arg-type]
    known, tariff = bench.knowledge.components, bench.tariff
    mended = {key for job in tariff.jobs() for key in tariff.renewed(job)}
    chances = {key: 1.0 - float(each[0]) for key, each in states.items() if known[key[0]].fault and key in mended}
    guess = max(chances, key=lambda key: chances[key])
    return guess, chances[guess]


def with_other_noise(bench: Bench, hidden: HiddenTruth, seed: int) -> HiddenTruth:
    """The same faults, circumstances and complaint on a vehicle whose every noise is drawn anew."""
    states = {key: (state,) for key, state in hidden.first.states.items()}
    world: World = draw_world(bench.bare(), states, bench.start.epochs[-1].answers, seed)
    return replace(hidden, first=world, world=world)
