"""How hard a case is, measured: what is needed even by the advice, and how far the obvious guess misleads.

`needed`: what a player who does at every step what is best (one check ahead) spends beyond what perfect information
would cost on the same vehicle. `misled`: what it costs, beyond the same, to mend at once what looks likeliest after the
complaint. Both are means over a few other draws of the noise (the faults and the complaint stay), so that a case is not
hard by luck. The difficulty is their mean, in hours of labour; grades are cut from it at `CUTS`.
May import: decision, laboratory, network, casebook, knowledge_base, basics, and the modules of this room below it.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace

from diag.basics import Place
from diag.decision import Job
from diag.laboratory import RepairStep, policy_named
from diag.network import component_states
from diag.training.bench import Bench
from diag.training.drawing import draw_world
from diag.training.players import outcome_of, play_out, player_named
from diag.training.playing import decide, start
from diag.training.records import Asked, HiddenTruth, Practice
from diag.training.worlds import World

__all__ = ["CUTS", "Difficulty", "difficulty_of", "grade_of", "obvious_guess", "with_other_noise"]

CUTS = (1.0, 2.0, 4.0, 8.0)  # hours of labour, from grade 1 to 5; from the spread over generated cases
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
    guess, chance = obvious_guess(bench)
    jobs = guessed_jobs(bench)
    solver = player_named(bench, "one step")
    needed, misled, checks, minutes = 0.0, 0.0, 0.0, 0.0
    for run in range(runs):
        other = with_other_noise(bench, hidden, hidden.first.seed + 1 + run)
        seat = play_out(bench, practice, other, solver)
        came = outcome_of(bench, seat)
        needed += came.total - came.least
        checks += sum(isinstance(each, Asked) for each in seat.play.events)
        minutes += seat.play.minutes
        misled += outcome_of(bench, decide(bench, start(practice, other), jobs, "")).total - came.least
    labour = bench.tariff.labour(MINUTES_PER_HOUR)
    return Difficulty(
        needed=needed / runs,
        misled=misled / runs,
        checks=checks / runs,
        minutes=minutes / runs,
        guess=guess,
        chance=chance,
        right=any((each.component, each.place) == guess for each in hidden.faults),
        hours=(needed + misled) / (2.0 * runs * labour),
    )


def obvious_guess(bench: Bench) -> tuple[tuple[str, Place], float]:
    """The component that is likeliest at fault after the complaint, and how likely."""
    ready = bench.ready(bench.start)
    states = component_states(ready.network, ready.posterior)  # type: ignore[arg-type]
    known = bench.knowledge.components
    chances = {key: 1.0 - float(each[0]) for key, each in states.items() if known[key[0]].fault}
    guess = max(chances, key=lambda key: chances[key])
    return guess, chances[guess]


def guessed_jobs(bench: Bench) -> tuple[Job, ...]:
    """What mends the likeliest fault that can be mended."""
    step = policy_named("likeliest at once").step(bench.knowledge, bench.start, 0.0)
    assert isinstance(step, RepairStep)
    return step.jobs


def with_other_noise(bench: Bench, hidden: HiddenTruth, seed: int) -> HiddenTruth:
    """The same faults, circumstances and complaint on a vehicle whose every noise is drawn anew."""
    states = {key: (state,) for key, state in hidden.first.states.items()}
    world: World = draw_world(bench.bare(), states, bench.start.epochs[-1].answers, seed)
    return replace(hidden, first=world, world=world)
