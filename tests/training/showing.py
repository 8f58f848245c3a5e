"""Players on the tiny workshop, scored as trainees are: what their choices are expected to cost, and what they cost.

Run `python -m tests.training.showing [--cases 200] [--shipped ENGINE]`. On the tiny workshop the exact optimum comes
from backward induction over everything that can be told (`tests.decision.small_cases`), so that scores can be held
against it. May import: `diag` through its doors.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from diag.casebook import PRESENT, Answer, Case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import starts_of
from diag.training import (
    PLAYERS,
    Bench,
    HiddenTruth,
    Practice,
    World,
    choice_of,
    draw_world,
    moment_of,
    outcome_of,
    play_out,
    player_named,
    regret_of,
)
from tests.decision.small_cases import SmallCase, calm
from tests.decision.tiny import Figures, case_of, knowledge

__all__ = ["FIGURES", "Table", "main", "played", "tiny_bench", "world_for"]

FIGURES = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=500.0)
TOLD = {("shaking", None): "present"}


@dataclass(frozen=True)
class Table:
    """`regret[player, case]`: summed over the choices; `total[player, case]`: what the case came to, and `lowest` the
    smallest regret of any single choice."""

    players: tuple[str, ...]
    regret: NDArray[np.float64]
    total: NDArray[np.float64]
    expected: float
    lowest: float

    def mean(self, values: NDArray[np.float64], player: str) -> tuple[float, float]:
        """Mean of a player's row and its standard error."""
        row = values[self.players.index(player)]
        return float(row.mean()), float(row.std(ddof=1) / np.sqrt(len(row)))

    def row(self, values: NDArray[np.float64], player: str) -> NDArray[np.float64]:
        """One player's row."""
        return np.asarray(values[self.players.index(player)])


@cache
def tiny_knowledge() -> Knowledge:
    """The tiny workshop without anything dangerous."""
    return calm(knowledge(FIGURES))


def tiny_bench() -> Bench:
    """A bench of the tiny workshop: it shakes."""
    known = tiny_knowledge()
    return Bench(known, case_of(known, TOLD, FIGURES.distance))


@cache
def exact_optimum() -> float:
    """The least expected total of any policy, by backward induction."""
    small = SmallCase(FIGURES, dict(TOLD))
    return small.value() / float(small.chance.sum())


def world_for(bench: Bench, seed: int, unsure: float = 0.0) -> HiddenTruth:
    """A vehicle with the complaint, as the model has it; every look tells, unless `unsure`."""
    world: World = replace(draw_world(bench.bare(), {}, bench.start.epochs[-1].answers, seed), unsure=unsure)
    return HiddenTruth((), world, world)


def played(bench: Bench, players: tuple[str, ...], cases: int, seed: int) -> Table:
    """All players on the same vehicles."""
    practice = Practice("x", "", bench.start, "made")
    regret, total = np.zeros((len(players), cases)), np.zeros((len(players), cases))
    lowest = 0.0
    for case in range(cases):
        hidden = world_for(bench, seed * 1_000_000 + case)
        for number, name in enumerate(players):
            seat = play_out(bench, practice, hidden, player_named(bench, name, case))
            for place, event in enumerate(seat.play.events):
                moment = moment_of(bench, seat.play.case_at(place))
                chosen = choice_of(bench, moment, event)
                assert chosen is not None
                lowest = min(lowest, chosen.value - moment.value)
                regret[number, case] += regret_of(moment, chosen)
            total[number, case] = outcome_of(bench, seat).total
    return Table(players, regret, total, moment_of(bench, bench.start).value, lowest)


def lines_of(table: Table) -> list[str]:
    """The table in words."""
    found = [f"expected at the start {table.expected:.1f}; lowest regret of any choice {table.lowest:.2g}"]
    for name in table.players:
        (regret, re), (total, te) = table.mean(table.regret, name), table.mean(table.total, name)
        off = table.row(table.total, name) - table.expected - table.row(table.regret, name)
        found.append(
            f"  {name:18} regret {regret:7.1f} (± {re:.1f})  total {total:7.1f} (± {te:.1f})  "
            f"total - expected - regret {off.mean():+7.1f} (± {off.std(ddof=1) / np.sqrt(len(off)):.1f})"
        )
    return found


def shipped_start(known: Knowledge, engine: str, complaint: str) -> Case:
    """A start on a shipped engine."""
    start = starts_of(known, engine, [complaint])[1]
    assert start.epochs[0].answers == (Answer(complaint, None, PRESENT),)
    return start


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--shipped", default="")
    parser.add_argument("--complaint", default="rough_idle")
    chosen = parser.parse_args()
    started = time.perf_counter()
    if chosen.shipped:
        known = load_knowledge()
        bench = Bench(known, shipped_start(known, chosen.shipped, chosen.complaint))
    else:
        bench = tiny_bench()
        print(f"exact optimum by backward induction {exact_optimum():.2f}")
    print("\n".join(lines_of(played(bench, PLAYERS, chosen.cases, 1))))
    print(f"{chosen.cases} cases in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
