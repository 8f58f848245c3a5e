"""Players on workshops whose checks truly differ in cost and whose faults truly differ in chance.

The four workshops of `showing` are alike in one thing: their checks cost 3, 10, 28 and 80 minutes while chances differ
by a factor of a few, so that the cheapest check nearly always has the highest chance over cost, too. Here every figure
is drawn, each by itself, evenly on a logarithmic scale over the range that the trade has (`RANGES`); workshop n is what
the generator of seed [8, n] gives, n = 0, 1, 2, ... as they come. Nothing was chosen by its result.
Run `python -m tests.training.varied [--workshops 40] [--each 5]`. May import: `diag` through its doors.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np

from diag.basics import Place
from diag.training import ORDERS, PLAYERS, Bench, Practice, play_out, player_named
from tests.decision.reference import opening
from tests.decision.small_cases import ACCESS, MINUTES, Open, SmallCase, calm
from tests.decision.tiny import Figures, case_of, knowledge
from tests.training.showing import CaseOfAll, Exact, Numbers, Small, mean, one_case, table_of, world_for

__all__ = ["EVERYBODY", "RANGES", "by_workshop", "exact_cases", "main", "varied_cases", "varied_workshop", "words_of"]

SEED = 8
RANGES: Mapping[str, tuple[float, float]] = {
    "check": (2.0, 60.0),  # minutes of each check, without access
    "access": (5.0, 120.0),  # minutes to lay the injectors bare
    "job": (15.0, 90.0),  # minutes to reseal one
    "injector_bad": (0.02, 0.4),
    "pump_worn": (0.02, 0.4),
    "scale": (150_000.0, 600_000.0),  # km, of the seals' life, at 180,000 km
    "stress": (0.1, 0.6),
    "return_visit": (100.0, 900.0),  # money
    "damage": (20.0, 400.0),
}
EVERYBODY = (*PLAYERS, *ORDERS)
PAIRS = (
    ("looking ahead", "one step"),
    ("one step", "chance over cost"),
    ("chance over cost", "cheapest first"),
    ("cheapest first", "at random"),
    ("one step", ORDERS[0]),
    (ORDERS[0], ORDERS[1]),
    (ORDERS[1], ORDERS[2]),
    (ORDERS[0], ORDERS[2]),
)
RULES = ("chance over cost", "cheapest first", "at random", *ORDERS)
TOLD: tuple[dict[tuple[str, Place], str], ...] = (
    {("shaking", None): "present"},
    {("chuff", 1): "present"},
    {("tar", 2): "present"},
)


@dataclass
class VariedCase(SmallCase):
    """A small case whose checks take minutes of their own."""

    minutes: Mapping[str, float] = field(default_factory=lambda: MINUTES)

    def check_cost(self, check: str, opened: Open) -> float:
        """Minutes and access that is not open, in money."""
        wanted = {(kind, "A") for kind in ACCESS[check]}
        return self.minutes[check] * self.rate + opening(self.slow, wanted - opened)


@cache
def varied_workshop(number: int) -> Small:
    """Workshop `number`, with its complaint."""
    random = np.random.default_rng([SEED, number])
    drawn = {name: float(np.exp(random.uniform(*np.log(ends)))) for name, ends in RANGES.items() if name != "check"}
    minutes = {name: float(np.exp(random.uniform(*np.log(RANGES["check"])))) for name in MINUTES}
    figures = replace(Figures(refer=1e6), **drawn)
    told = TOLD[number % len(TOLD)]
    known = calm(knowledge(figures))
    checks = {
        name: check.model_copy(update={"minutes": check.minutes.model_copy(update={"value": minutes[name]})})
        for name, check in known.checks.items()
    }
    known = known.model_copy(update={"checks": checks})
    case = case_of(known, told, figures.distance)
    return Small(Bench(known, case), Exact(VariedCase(figures, dict(told), minutes=minutes), frozenset(told)))


def varied_cases(workshops: Sequence[int], each: int, players: tuple[str, ...] = EVERYBODY) -> list[CaseOfAll]:
    """So many vehicles in each of these workshops."""
    cases: list[CaseOfAll] = []
    for number in workshops:
        small = varied_workshop(number)
        cases += [one_case(small.bench, small.exact, players, number * 1_000_000 + one) for one in range(each)]
        varied_workshop.cache_clear()
    return cases


def exact_cases(workshops: Sequence[int], each: int, players: tuple[str, ...]) -> Numbers:
    """`[player, workshop]`: mean exact regret, without the scores that ship, which takes a fraction of the time."""
    found = np.zeros((len(players), len(workshops)))
    for column, number in enumerate(workshops):
        small = varied_workshop(number)
        practice = Practice("x", "", small.bench.start, "made")
        for one in range(each):
            hidden = world_for(small.bench, number * 1_000_000 + one)
            for row, name in enumerate(players):
                seat = play_out(small.bench, practice, hidden, player_named(small.bench, name, one))
                regrets = (small.exact.regret(seat.play.case_at(n), event) for n, event in enumerate(seat.play.events))
                found[row, column] += sum(regrets) / each
        varied_workshop.cache_clear()
    return found


def by_workshop(values: Numbers, each: int) -> Numbers:
    """Means of the workshops: vehicles of one workshop are no independent cases where workshops differ."""
    return np.asarray(values.reshape(-1, each).mean(axis=1))


def words_of(cases: list[CaseOfAll], each: int, players: tuple[str, ...] = EVERYBODY) -> list[str]:
    """Exact regrets, their parts, and the differences of one player to the next, with standard errors by workshop."""
    table = table_of(players, cases)
    ends = np.array([case.at_the_end for case in cases]).T
    found = []
    for number, name in enumerate(players):
        regret, error = mean(by_workshop(table.exact[number], each))
        scored, total = float(table.regret[number].mean()), float(table.total[number].mean())
        off, off_error = mean(table.total[number] - table.optimum - table.exact[number])
        end = float(ends[number].mean())
        checks = float(np.mean([case.ways[number].count("(") for case in cases]))
        found.append(
            f"  {name:28} exact regret {regret:6.1f} (± {error:5.1f}), scored {scored:6.1f}; of it by checks "
            f"{regret - end:6.1f}, by the plan {end:6.1f}; {checks:.1f} checks; total {total:6.1f}, less optimum and "
            f"regret {off:5.1f} (± {off_error:.1f})"
        )
    for one, other in PAIRS:
        a, b = players.index(one), players.index(other)
        off, error = mean(by_workshop(table.exact[b] - table.exact[a], each))
        same = float(np.mean([case.ways[a] == case.ways[b] for case in cases]))
        plan = float(np.mean([case.ends[a] == case.ends[b] for case in cases]))
        found.append(
            f"  {other} less {one}: {off:.1f} (± {error:.1f}); same checks in {same:.0%}, same plan in {plan:.0%}"
        )
    return found


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--workshops", type=int, default=40)
    parser.add_argument("--each", type=int, default=5)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--exact", action="store_true", help="rules of thumb alone, by their exact regret")
    chosen = parser.parse_args()
    started = time.perf_counter()
    workshops = range(chosen.first, chosen.first + chosen.workshops)
    if chosen.exact:
        found = exact_cases(workshops, chosen.each, RULES)
        for row, name in enumerate(RULES):
            print(f"  {name:28} {mean(found[row])[0]:6.1f} (± {mean(found[row])[1]:.1f})")
        for one, other in ((a, b) for a, b in PAIRS if a in RULES and b in RULES):
            off = mean(found[RULES.index(other)] - found[RULES.index(one)])
            print(f"  {other} less {one}: {off[0]:.1f} (± {off[1]:.1f})")
        print(f"{len(workshops)} workshops, {chosen.each} vehicles in each, {time.perf_counter() - started:.0f} s")
        return
    cases = varied_cases(workshops, chosen.each)
    print("\n".join(words_of(cases, chosen.each)))
    print(f"{len(cases)} cases in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
