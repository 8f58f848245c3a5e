"""Players on small workshops, scored as trainees are: what their choices are expected to cost, and what they cost.

Run `python -m tests.training.showing [--cases 200] [--shipped ENGINE]`. On the small workshops the exact value of every
choice comes from backward induction over everything that can be told, by code that shares nothing with the rankings
(`tests.decision.small_cases`), so that the scores that ship can be held against it.
May import: `diag` through its doors.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diag.casebook import Answer, Case
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import starts_of
from diag.training import (
    PLAYERS,
    Asked,
    Bench,
    Decided,
    Event,
    HiddenTruth,
    Practice,
    Seat,
    World,
    choice_of,
    draw_world,
    moment_of,
    outcome_of,
    play_out,
    player_named,
    regret_of,
)
from tests.decision.small_cases import ACCESS as OPENS
from tests.decision.small_cases import CHECKS, SmallCase, calm, outcomes
from tests.decision.tiny import Figures, case_of, knowledge

__all__ = [
    "WORKSHOPS",
    "Exact",
    "Small",
    "Table",
    "lines_of",
    "main",
    "played",
    "small_workshop",
    "summed",
    "world_for",
]

PLAIN = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=500.0)
WORKSHOPS = (
    PLAIN,
    replace(PLAIN, injector_bad=0.25, pump_worn=0.1, access=150.0),
    replace(PLAIN, pump_worn=0.4, return_visit=900.0),
    replace(PLAIN, stress=0.7, injector_bad=0.05, return_visit=250.0, access=20.0),
)
TOLD = {("shaking", None): "present"}
Numbers = NDArray[np.float64]


@dataclass
class Exact:
    """The exact optimum of one small workshop."""

    small: SmallCase
    _places: dict[frozenset[Job], int] = field(default_factory=dict)

    def value(self) -> float:
        """The least expected total of any policy from the complaint on."""
        return self.small.value() / float(self.small.chance.sum())

    def regret(self, case: Case, event: Event) -> float:
        """How much dearer a choice is, with the best of all policies after it."""
        said = frozenset(
            (each.item, each.place, each.answer == "present")
            for each in case.epochs[0].answers
            if (each.item, each.place) not in TOLD
        )
        opened = frozenset(case.open_access)
        weight = self.small.weight(said)
        here = float(self.small.chance @ weight)
        best = self.small.value(said, opened)
        if isinstance(event, Decided):
            row = self._row(event.jobs)
            mine = float((self.small.costs(opened)[2 * row : 2 * row + 2] @ weight).min())
        else:
            assert isinstance(event, Asked)
            after = opened | {(kind, "A") for kind in OPENS[event.check]}
            mine = self.small.check_cost(event.check, opened) * here + sum(
                self.small.value(said | each, after) for each in outcomes(CHECKS[event.check, event.place])
            )
        return (mine - best) / here

    def _row(self, jobs: Sequence[Job]) -> int:
        if not self._places:
            self._places = {frozenset(each): row for row, each in enumerate(self.small.plans)}
        return self._places[frozenset(jobs)]


@dataclass(frozen=True)
class Small:
    """A small workshop with its complaint: bench and exact optimum."""

    bench: Bench
    exact: Exact


@dataclass(frozen=True)
class Table:
    """By player and case: `regret` as it is scored, `exact` as backward induction has it, `total` what the case came
    to; `expected[case]` and `optimum[case]`: the least expected total at the start, as scored and exact; `lowest`: the
    smallest regret of any one choice."""

    players: tuple[str, ...]
    regret: Numbers
    exact: Numbers
    total: Numbers
    expected: Numbers
    optimum: Numbers
    lowest: float

    def row(self, values: Numbers, player: str) -> Numbers:
        """One player's row."""
        return np.asarray(values[self.players.index(player)])


def mean(row: Numbers) -> tuple[float, float]:
    """Mean and its standard error."""
    return float(row.mean()), float(row.std(ddof=1) / np.sqrt(len(row)))


@cache
def small_workshop(number: int) -> Small:
    """One of `WORKSHOPS`: nothing is dangerous there, and it shakes."""
    figures = WORKSHOPS[number]
    known = calm(knowledge(figures))
    return Small(Bench(known, case_of(known, TOLD, figures.distance)), Exact(SmallCase(figures, dict(TOLD))))


def world_for(bench: Bench, seed: int, unsure: float = 0.0) -> HiddenTruth:
    """A vehicle with the complaint, as the model has it; every look tells, unless `unsure`."""
    world: World = replace(draw_world(bench.bare(), {}, bench.start.epochs[-1].answers, seed), unsure=unsure)
    return HiddenTruth((), world, world)


def played(bench: Bench, exact: Exact | None, players: tuple[str, ...], cases: int, seed: int) -> Table:
    """All players on the same vehicles."""
    practice = Practice("x", "", bench.start, "made")
    regret, best, total = (np.zeros((len(players), cases)) for _ in range(3))
    lowest = 0.0
    for case in range(cases):
        hidden = world_for(bench, seed * 1_000_000 + case)
        for number, name in enumerate(players):
            seat = play_out(bench, practice, hidden, player_named(bench, name, case))
            mine = summed(bench, seat, exact)
            regret[number, case], best[number, case] = mine[0], mine[1]
            lowest = min(lowest, mine[2])
            total[number, case] = outcome_of(bench, seat).total
    expected = moment_of(bench, bench.start).value
    optimum = exact.value() if exact is not None else np.nan
    return Table(players, regret, best, total, np.full(cases, expected), np.full(cases, optimum), lowest)


def summed(bench: Bench, seat: Seat, exact: Exact | None) -> tuple[float, float, float]:
    """Regrets of a case, scored and exact, and the smallest scored one as it is before it is held at 0."""
    scored = true = lowest = 0.0
    for place, event in enumerate(seat.play.events):
        case = seat.play.case_at(place)
        moment = moment_of(bench, case)
        chosen = choice_of(bench, moment, event)
        assert chosen is not None
        scored += regret_of(moment, chosen)
        lowest = min(lowest, chosen.value - moment.value)
        true += exact.regret(case, event) if exact is not None else np.nan
    return scored, true, lowest


def small_table(cases: int, seed: int, players: tuple[str, ...] = PLAYERS) -> Table:
    """The cases spread over all small workshops."""
    each = cases // len(WORKSHOPS)
    tables = []
    for number in range(len(WORKSHOPS)):
        small = small_workshop(number)
        tables.append(played(small.bench, small.exact, players, each, seed + number))
    return Table(
        players,
        *(np.concatenate([getattr(t, name) for t in tables], axis=1) for name in ("regret", "exact", "total")),
        *(np.concatenate([getattr(t, name) for t in tables]) for name in ("expected", "optimum")),
        min(t.lowest for t in tables),
    )


def lines_of(table: Table) -> list[str]:
    """The table in words."""
    first = table.row(table.total, table.players[0])
    found = [
        f"expected at the start, as scored {table.expected.mean():.1f}, exact {table.optimum.mean():.1f}; lowest "
        f"regret of any choice {table.lowest:.2g}"
    ]
    for name in table.players:
        total, regret, exact = (table.row(each, name) for each in (table.total, table.regret, table.exact))
        columns = {
            "scored regret": regret,
            "exact regret": exact,
            "total": total,
            "dearer than the first": total - first,
            "total - optimum - exact regret": total - table.optimum - exact,
            "dearer - scored regret": total - first - regret,
        }
        words = "; ".join(f"{label} {mean(row)[0]:.1f} (± {mean(row)[1]:.1f})" for label, row in columns.items())
        found.append(f"  {name:18} {words}")
    return found


def shipped_bench(known: Knowledge, engine: str, complaint: str) -> Bench:
    """A bench on a shipped engine."""
    start = starts_of(known, engine, [complaint])[1]
    assert start.epochs[0].answers == (Answer(complaint, None, "present"),)
    return Bench(known, start)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--shipped", default="")
    parser.add_argument("--complaint", default="rough_idle")
    chosen = parser.parse_args()
    started = time.perf_counter()
    if chosen.shipped:
        bench = shipped_bench(load_knowledge(), chosen.shipped, chosen.complaint)
        table = played(bench, None, PLAYERS, chosen.cases, 1)
    else:
        table = small_table(chosen.cases, 1)
    print("\n".join(lines_of(table)))
    print(f"{chosen.cases} cases in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
