"""Players: ways of going about a case, played through the same doors as a trainee, and what a case then comes to.

May import: laboratory, decision, network, casebook, knowledge_base, basics, numpy, and `bench`, `judging`, `playing`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from diag.basics import ImpossibleEvidence, Place, TooLarge
from diag.casebook import Case
from diag.decision import check_cost, decide_repair, why_not
from diag.laboratory import CheckStep, Desk, Policy, RepairStep, Step, policy_named
from diag.training.bench import Bench
from diag.training.judging import moment_of
from diag.training.playing import ask, decide, questions_left, realised_now, start
from diag.training.records import Decided, HiddenTruth, Practice, Seat

__all__ = [
    "MOST_STEPS",
    "ORDERS",
    "PLAYERS",
    "Haphazard",
    "Outcome",
    "SameEnd",
    "Solver",
    "outcome_of",
    "play_out",
    "player_named",
]

MOST_STEPS = 25
ORDERS = ("chance over cost, best plan", "cheapest first, best plan", "any order, best plan")
PLAYERS = ("looking ahead", "one step", "chance over cost", "likeliest first", "cheapest first", "at random")


@dataclass
class Solver:
    """The advice, step by step, from what the bench knows already. `ahead`: with pairs of checks."""

    name: str
    bench: Bench
    ahead: bool

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """What is advised."""
        moment = moment_of(self.bench, case, self.ahead)
        first = moment.first
        if first.kind == "check":
            best = moment.decision.best
            return CheckStep(first.check, first.place, first.cost, (), RepairStep(best.jobs, None, best.total.amount))
        return RepairStep(first.jobs, None, first.value)


@dataclass
class Haphazard:
    """Checks in any order, as often as not one more; then what looks likeliest is mended."""

    name: str
    bench: Bench
    seed: int
    _rule: Policy = field(default_factory=lambda: policy_named("likeliest at once"), repr=False)
    more: float = 0.6  # chance of one more check, each time

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """A check drawn from all that can be done and would tell something, or the likeliest fault's repair."""
        random = _random_at(self.seed, case)
        able = _able(self.bench, desk, case)
        repair = self._rule.step(desk, case, spent)
        if able and random.random() < self.more:
            return _drawn(self.bench, case, able, random, repair)
        return repair


@dataclass
class SameEnd:
    """Only the order of the checks is a rule's own: it stops where rules of thumb stop, and ends with the best plan on
    what is known then. So what two of these cost more or less than each other, their orders cost. `drawn`: the seed of
    an order at random; none: the order of `rule`."""

    name: str
    bench: Bench
    rule: Policy
    drawn: int | None = None

    def step(self, desk: Desk, case: Case, spent: float) -> Step:
        """The next check in the order, else the best plan."""
        step = self.rule.step(desk, case, spent)
        if isinstance(step, RepairStep):
            return RepairStep(decide_repair(self.bench.ready(case)).best.jobs)
        if self.drawn is None:
            return step
        return _drawn(self.bench, case, _able(self.bench, desk, case), _random_at(self.drawn, case), step.repair)


def _random_at(seed: int, case: Case) -> np.random.Generator:
    """The numbers of one moment of a case: as many things were told."""
    return np.random.default_rng([seed, sum(len(each.answers) + len(each.measured) for each in case.epochs)])


def _able(bench: Bench, desk: Desk, case: Case) -> list[tuple[str, Place]]:
    """Every check at every place that can be done and would tell something."""
    ready = bench.ready(case)
    return [
        (name, place)
        for name, check in desk.knowledge.checks.items()
        if not why_not(ready, name)
        for place in bench.tariff.places(check.covers)
        if questions_left(bench, case, name, place)
    ]


def _drawn(
    bench: Bench, case: Case, able: list[tuple[str, Place]], random: np.random.Generator, repair: Step
) -> CheckStep:
    name, place = able[int(random.integers(len(able)))]
    assert isinstance(repair, RepairStep)
    return CheckStep(name, place, check_cost(bench.ready(case), name, place).total, (), repair)


def player_named(bench: Bench, name: str, seed: int = 0) -> Policy:
    """A player by its name (`PLAYERS`, `ORDERS`). `seed`: of what is drawn by chance."""
    if name in ("looking ahead", "one step"):
        return Solver(name, bench, name == "looking ahead")
    if name in ORDERS:
        rule, _, _ = name.partition(",")
        shuffled = rule == "any order"
        return SameEnd(name, bench, policy_named("cheapest first" if shuffled else rule), seed if shuffled else None)
    return Haphazard(name, bench, seed) if name == "at random" else policy_named(name)


def play_out(bench: Bench, practice: Practice, hidden: HiddenTruth, player: Policy) -> Seat:
    """A whole case under a player, to its plan."""
    seat, last = start(practice, hidden), RepairStep(())
    for _ in range(MOST_STEPS):
        case = seat.play.case_at()
        try:
            step = player.step(bench.desk(case), case, seat.play.paid)
        except (ImpossibleEvidence, TooLarge):
            break
        if isinstance(step, RepairStep):
            last = step
            break
        seat = ask(bench, seat, step.check, step.place)
    return decide(bench, seat, last.jobs, "")


@dataclass(frozen=True)
class Outcome:
    """What a case came to, in money: `checks` (and trials) paid, the `plan` with everything after it as it is expected
    on this very vehicle, and `least`: what the best plan costs where the truth is known from the start."""

    checks: float
    plan: float
    least: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.checks + self.plan


def outcome_of(bench: Bench, seat: Seat) -> Outcome:
    """What an ended case came to."""
    end = seat.play.events[-1]
    assert isinstance(end, Decided), "the case has ended"
    plan = realised_now(bench, seat, end.jobs)
    assert plan is not None, "what was decided is a plan"
    return Outcome(seat.play.paid, plan, bench.least(seat.hidden.first))
