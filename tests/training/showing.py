"""Players on small workshops, scored as trainees are: what their choices are expected to cost, and what they cost.

Run `python -m tests.training.showing [--cases 200] [--shipped ENGINE --file FILE]`. On the small workshops the exact
value of every choice comes from backward induction over everything that can be told, by code that shares nothing with
the rankings (`tests.decision.small_cases`), so that the scores that ship can be held against it.
May import: `diag` through its doors.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import Answer, Case
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import starts_of
from diag.training import (
    ORDERS,
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
    "LONG_WAYS",
    "SHORT",
    "WORKSHOPS",
    "CaseOfAll",
    "Exact",
    "Small",
    "Table",
    "lines_of",
    "main",
    "mean",
    "one_case",
    "played",
    "shipped_bench",
    "shipped_cases",
    "small_table",
    "small_workshop",
    "summed",
    "table_of",
    "world_for",
]

PLAIN = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=500.0)
WORKSHOPS = (
    PLAIN,
    replace(PLAIN, injector_bad=0.25, pump_worn=0.1, access=150.0),
    replace(PLAIN, pump_worn=0.4, return_visit=900.0),
    replace(PLAIN, stress=0.7, injector_bad=0.05, return_visit=250.0, access=20.0),
)
TOLD: dict[tuple[str, Place], str] = {("shaking", None): "present"}
SHORT = ("looking ahead", "one step", "likeliest at once", "change everything", "at random")
LONG_WAYS = ("looking ahead", "chance over cost", ORDERS[0], "cheapest first", ORDERS[1], "at random", ORDERS[2])
Numbers = NDArray[np.float64]


@dataclass
class Exact:
    """The exact optimum of one small workshop."""

    small: SmallCase
    told: frozenset[tuple[str, Place]] = frozenset(TOLD)
    _places: dict[frozenset[Job], int] = field(default_factory=dict)

    def value(self) -> float:
        """The least expected total of any policy from the complaint on."""
        return self.small.value() / float(self.small.chance.sum())

    def regret(self, case: Case, event: Event) -> float:
        """How much dearer a choice is, with the best of all policies after it."""
        said = frozenset(
            (each.item, each.place, each.answer == "present")
            for each in case.epochs[0].answers
            if (each.item, each.place) not in self.told
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
    foreseen: Numbers

    def row(self, values: Numbers, player: str) -> Numbers:
        """One player's row."""
        return np.asarray(values[self.players.index(player)])


@dataclass(frozen=True)
class CaseOfAll:
    """One vehicle under all players: what `Table` holds of it, by player; `at_the_end`: the exact regret (scored, where
    no exact one is known) of the plan alone; the checks that were done, in order (`ways`), and the plan (`ends`);
    `foreseen`: what was paid, with the plan as it is expected on what was known at the end: the same as `total` in
    expectation, with the luck of the vehicle taken out (Rao 1945, Blackwell 1947)."""

    regret: tuple[float, ...]
    exact: tuple[float, ...]
    total: tuple[float, ...]
    at_the_end: tuple[float, ...]
    ways: tuple[str, ...]
    ends: tuple[str, ...]
    expected: float
    optimum: float
    lowest: float
    foreseen: tuple[float, ...] = ()


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
    return table_of(players, [one_case(bench, exact, players, seed * 1_000_000 + case) for case in range(cases)])


def one_case(bench: Bench, exact: Exact | None, players: tuple[str, ...], seed: int) -> CaseOfAll:
    """All players on one vehicle."""
    practice, hidden = Practice("x", "", bench.start, "made"), world_for(bench, seed)
    seats = [play_out(bench, practice, hidden, player_named(bench, name, seed % 1_000_000)) for name in players]
    parts = [summed(bench, seat, exact) for seat in seats]
    return CaseOfAll(
        regret=tuple(part[0] for part in parts),
        exact=tuple(part[1] for part in parts),
        total=tuple(outcome_of(bench, seat).total for seat in seats),
        at_the_end=tuple(part[3] for part in parts),
        ways=tuple(str([(e.check, e.place) for e in seat.play.events if isinstance(e, Asked)]) for seat in seats),
        ends=tuple(str(sorted(map(str, getattr(seat.play.events[-1], "jobs", ())))) for seat in seats),
        expected=moment_of(bench, bench.start).value,
        optimum=exact.value() if exact is not None else float("nan"),
        lowest=min(part[2] for part in parts),
        foreseen=tuple(seat.play.paid + part[4] for seat, part in zip(seats, parts, strict=True)),
    )


def table_of(players: tuple[str, ...], cases: Sequence[CaseOfAll]) -> Table:
    """The cases as a table."""
    return Table(
        players,
        *(np.array([getattr(each, name) for each in cases]).T for name in ("regret", "exact", "total")),
        *(np.array([getattr(each, name) for each in cases]) for name in ("expected", "optimum")),
        min(each.lowest for each in cases),
        np.array([each.foreseen or (float("nan"),) * len(players) for each in cases]).T,
    )


def summed(bench: Bench, seat: Seat, exact: Exact | None) -> tuple[float, float, float, float, float]:
    """Regrets of a case, scored and exact, the smallest scored one as it is before it is held at 0, that of the
    plan at the end, and what this plan was expected to cost."""
    scored = true = lowest = last = plan = 0.0
    for place, event in enumerate(seat.play.events):
        case = seat.play.case_at(place)
        moment = moment_of(bench, case)
        chosen = choice_of(bench, moment, event)
        assert chosen is not None
        regret = regret_of(moment, chosen)
        scored += regret
        lowest = min(lowest, chosen.value - moment.value)
        true += exact.regret(case, event) if exact is not None else np.nan
        last = exact.regret(case, event) if exact is not None else regret
        plan = chosen.value
    return scored, true, lowest, last, plan


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
        np.concatenate([t.foreseen for t in tables], axis=1),
    )


def lines_of(table: Table) -> list[str]:
    """The table in words. `left`: total less what was expected at the start less regret. It has mean 0 where the value
    of every moment is that of the best policy; where looking further ahead than the score does would gain something,
    it is below 0 by that gain, for the player who makes use of it."""
    found = [
        f"expected at the start, as scored {table.expected.mean():.1f}, exact {table.optimum.mean():.1f}; lowest "
        f"regret of any choice {table.lowest:.2g}"
    ]
    for number, name in enumerate(table.players):
        regret, exact, total = table.regret[number], table.exact[number], table.total[number]
        foreseen, first = table.foreseen[number], table.foreseen[0]
        columns = {
            "scored regret": regret,
            "exact regret": exact,
            "total": total,
            "dearer than the first": total - table.total[0],
            "dearer - scored regret": total - table.total[0] - regret + table.regret[0],
            "the same foreseen": foreseen - first - regret + table.regret[0],
            "left": total - table.expected - regret,
            "left foreseen": foreseen - table.expected - regret,
            "left of the exact": total - table.optimum - exact,
        }
        known = {label: row[~np.isnan(row)] for label, row in columns.items()}
        words = (f"{label} {mean(row)[0]:.1f} (± {mean(row)[1]:.1f})" for label, row in known.items() if len(row) > 1)
        found.append(f"  {name:18} {'; '.join(words)}")
    return found


def shipped_bench(known: Knowledge, engine: str, complaint: str) -> Bench:
    """A bench on a shipped engine."""
    start = starts_of(known, engine, [complaint])[1]
    assert start.epochs[0].answers == (Answer(complaint, None, "present"),)
    return Bench(known, start)


def shipped_cases(bench: Bench, players: tuple[str, ...], cases: int, first: int, file: Path | None) -> Table:
    """Vehicles of one start on a shipped engine; each case is appended to a file as soon as it is played, so that the
    run may be stopped at any time. `SHORT` players do few checks, `LONG_WAYS` many, each of which takes long to score
    (players of one order stand beside each other, as their moments are the same)."""
    found = []
    for case in range(first, first + cases):
        found.append(one_case(bench, None, players, 1_000_000 + case))
        if file is not None:
            with file.open("a", encoding="utf-8") as stream:
                stream.write(json.dumps(asdict(found[-1])) + "\n")
    return table_of(players, found)


def kept_cases(file: Path, players: tuple[str, ...]) -> Table:
    """The cases that a run wrote."""
    lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return table_of(players, [CaseOfAll(**line) for line in lines])


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="number of the first vehicle, with --shipped")
    parser.add_argument("--shipped", default="", metavar="ENGINE")
    parser.add_argument("--rules", action="store_true", help="with --shipped: the players that do many checks")
    parser.add_argument("--complaint", default="rough_idle")
    parser.add_argument("--file", type=Path, help="with --shipped: append each case to it, and print the table of all")
    chosen = parser.parse_args()
    started = time.perf_counter()
    if chosen.shipped:
        bench = shipped_bench(load_knowledge(), chosen.shipped, chosen.complaint)
        players = LONG_WAYS if chosen.rules else SHORT
        table = shipped_cases(bench, players, chosen.cases, chosen.first, chosen.file)
        table = kept_cases(chosen.file, players) if chosen.file is not None else table
    else:
        table = small_table(chosen.cases, 1)
    print("\n".join(lines_of(table)))
    print(f"{table.regret.shape[1]} cases, {chosen.cases} of them now in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
