"""Whether the measured difficulty of made cases ranks as what the rules of thumb really pay on them.

Run `python -m tests.training.ranking [--cases 40] [--engine ostrel_3] [--studies]`. The difficulty is measured on other
draws of the noise than the rules are played on. May import: `diag` through its doors, scipy.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from scipy.stats import spearmanr

from diag.knowledge_base import Knowledge, load_knowledge
from diag.training import (
    Bench,
    HiddenTruth,
    Practice,
    Wish,
    difficulty_of,
    grade_of,
    made,
    outcome_of,
    play_out,
    player_named,
    studies,
    study_named,
    with_other_noise,
)

__all__ = ["KEY", "RULES", "Measured", "correlation", "main", "measured", "rules_pay"]

KEY = b"a key of the tests, no secret at all"
RULES = ("chance over cost", "likeliest first", "cheapest first", "likeliest at once")
OTHER = 1_000  # seeds of the rules' noise lie so far from those of the difficulty


@dataclass(frozen=True)
class Measured:
    """One case: its difficulty in hours of labour, and what the rules pay beyond knowing the truth, in money."""

    name: str
    hours: float
    rules: float
    needed: float
    misled: float


def rules_pay(bench: Bench, practice: Practice, hidden: HiddenTruth, runs: int, rules: Sequence[str] = RULES) -> float:
    """Mean cost of the rules of thumb beyond that of perfect information, over some draws of the noise."""
    paid = []
    for run in range(runs):
        other = with_other_noise(bench, hidden, hidden.first.seed + OTHER + run)
        for rule in rules:
            came = outcome_of(bench, play_out(bench, practice, other, player_named(bench, rule, run)))
            paid.append(came.total - came.least)
    return fmean(paid)


def measured(knowledge: Knowledge, engine: str, cases: int, runs: int = 2) -> list[Measured]:
    """So many made cases, as they come."""
    found = []
    for number in range(1, cases + 1):
        case = made(knowledge, Wish(engine, faults=1 + (number % 4 == 0)), number, KEY)
        found.append(_measure(knowledge, case.practice, case.hidden, runs))
    return found


def _measure(knowledge: Knowledge, practice: Practice, hidden: HiddenTruth, runs: int) -> Measured:
    bench = Bench.of(knowledge, practice)
    hard = difficulty_of(bench, practice, hidden)
    pays = rules_pay(bench, practice, hidden, runs)
    return Measured(practice.id, hard.hours, pays, hard.needed, hard.misled)


def correlation(found: Sequence[Measured]) -> float:
    """Spearman's (1904) rank correlation of difficulty and cost, by scipy."""
    return float(spearmanr([each.hours for each in found], [each.rules for each in found]).statistic)


def main() -> None:
    """Print the cases and the correlation."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--engine", default="ostrel_3")
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--studies", action="store_true")
    chosen = parser.parse_args()
    knowledge, found = load_knowledge(), []
    started = time.perf_counter()
    if chosen.studies:
        for name, path in studies().items():
            practice, hidden = study_named(knowledge, name, path, 1)
            hard = difficulty_of(Bench.of(knowledge, practice), practice, hidden)
            print(f"{name:32} grade {practice.grade} measured {hard.grade} ({hard.hours:.1f} h): {hard}", flush=True)
        return
    for number in range(chosen.first, chosen.first + chosen.cases):
        case = made(knowledge, Wish(chosen.engine, faults=1 + (number % 4 == 0)), number, KEY)
        found.append(_measure(knowledge, case.practice, case.hidden, 1))
        last = found[-1]
        print(
            f"{last.name}: {last.hours:.2f} h, grade {grade_of(last.hours)}, needed {last.needed:.0f}, misled "
            f"{last.misled:.0f}, rules {last.rules:.0f}"
            + (f"; so far {correlation(found):.2f}" if len(found) > 2 else ""),
            flush=True,
        )
    print(f"rank correlation {correlation(found):.3f} over {len(found)} cases in {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
