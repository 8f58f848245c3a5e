"""Whether the measured difficulty of made cases ranks as what the rules of thumb really pay on them.

Run `python -m tests.training.ranking [--cases 40] [--engine ostrel_3] [--first 1] [--runs 4]`, with `--varied` on the
drawn workshops, or with `--studies`. The difficulty is measured on other draws of the noise than the rules are played
on. What the rules pay is a mean over few draws and so itself uncertain: the correlation stands with its interval (the
bootstrap's percentiles, Efron 1979), with the reliability of the mean (two halves of the draws, stepped up to all of
them: Spearman 1910, Brown 1910), and with what it would be against the mean over all draws there are (Spearman 1904:
divided by the root of the reliability).
May import: `diag` through its doors, scipy.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np
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
from tests.training.showing import world_for
from tests.training.varied import varied_workshop

__all__ = [
    "KEY",
    "RULES",
    "Measured",
    "Ranked",
    "correlation",
    "main",
    "measured",
    "measured_on_drawn",
    "rank_on",
    "ranked",
    "rules_pay",
]

KEY = b"a key of the tests, no secret at all"
RULES = ("chance over cost", "likeliest first", "cheapest first", "likeliest at once")
QUICK = ("chance over cost", "likeliest at once")  # on shipped engines: the other orders rank cases as these two do
RESAMPLED = 1_000
OTHER = 1_000  # seeds of the rules' noise lie so far from those of the difficulty


@dataclass(frozen=True)
class Measured:
    """One case: its difficulty in hours of labour, and what the rules pay beyond knowing the truth, in money: `draws`,
    their mean for each draw of the noise."""

    name: str
    hours: float
    draws: tuple[float, ...]
    needed: float
    misled: float

    @property
    def rules(self) -> float:
        """The mean over the draws."""
        return fmean(self.draws)


@dataclass(frozen=True)
class Ranked:
    """The rank correlation of difficulty and what the rules pay, its 95 % interval, the reliability of what they pay
    (none: one draw), and the correlation with the uncertainty of that taken out."""

    cases: int
    correlation: float
    low: float
    high: float
    reliability: float | None
    corrected: float | None

    def __str__(self) -> str:
        """In one line."""
        more = ""
        if self.reliability is not None and self.corrected is not None:
            more = f"; reliability of the cost {self.reliability:.2f}, corrected for it {self.corrected:.2f}"
        return f"{self.correlation:.2f} ({self.low:.2f} to {self.high:.2f}) over {self.cases} cases{more}"


def rules_pay(
    bench: Bench, practice: Practice, hidden: HiddenTruth, runs: int, rules: Sequence[str] = RULES
) -> tuple[float, ...]:
    """Mean cost of the rules of thumb beyond that of perfect information, for each of some draws of the noise."""
    paid = []
    for run in range(runs):
        other = with_other_noise(bench, hidden, hidden.first.seed + OTHER + run)
        came = [outcome_of(bench, play_out(bench, practice, other, player_named(bench, rule, run))) for rule in rules]
        paid.append(fmean(each.total - each.least for each in came))
    return tuple(paid)


def measured(knowledge: Knowledge, engine: str, numbers: Iterable[int], runs: int = 2) -> Iterator[Measured]:
    """Made cases, as they come."""
    for number in numbers:
        case = made(knowledge, Wish(engine, faults=1 + (number % 4 == 0)), number, KEY)
        yield rank_on(Bench.of(knowledge, case.practice), case.practice, case.hidden, runs, QUICK)


def measured_on_drawn(workshops: Iterable[int], each: int, runs: int) -> Iterator[Measured]:
    """Vehicles of drawn workshops, as they come."""
    for number in workshops:
        bench = varied_workshop(number).bench
        varied_workshop.cache_clear()
        for one in range(each):
            hidden = world_for(bench, 500 + 100_000 * number + one)
            yield rank_on(bench, Practice(f"{number}-{one}", "", bench.start, "made"), hidden, runs, RULES)


def rank_on(bench: Bench, practice: Practice, hidden: HiddenTruth, runs: int, rules: Sequence[str] = RULES) -> Measured:
    """One case measured, and played by the rules."""
    hard = difficulty_of(bench, practice, hidden)
    return Measured(practice.id, hard.hours, rules_pay(bench, practice, hidden, runs, rules), hard.needed, hard.misled)


def correlation(found: Sequence[Measured]) -> float:
    """Spearman's (1904) rank correlation of difficulty and cost, by scipy."""
    return _rank([each.hours for each in found], [each.rules for each in found])


def ranked(found: Sequence[Measured]) -> Ranked:
    """The correlation with its interval and what the few draws blur."""
    random, count = np.random.default_rng(3), len(found)
    again = [correlation([found[i] for i in random.integers(count, size=count)]) for _ in range(RESAMPLED)]
    low, high = np.nanpercentile(again, [2.5, 97.5])
    draws = len(found[0].draws)
    reliability = corrected = None
    if draws > 1:
        halves = [[fmean(each.draws[start::2]) for each in found] for start in (0, 1)]
        half = _rank(*halves)
        reliability = 2 * half / (1 + half)
        corrected = min(correlation(found) / reliability**0.5, 1.0) if reliability > 0 else None
    return Ranked(count, correlation(found), float(low), float(high), reliability, corrected)


def _rank(one: Sequence[float], other: Sequence[float]) -> float:
    return float(spearmanr(one, other).statistic)


def main() -> None:
    """Print the cases and the correlation."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=40)
    parser.add_argument("--engine", default="ostrel_3")
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--runs", type=int, default=4)
    parser.add_argument("--varied", action="store_true")
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
    numbers = range(chosen.first, chosen.first + chosen.cases)
    drawn = measured_on_drawn(numbers, 2, chosen.runs) if chosen.varied else None
    for each in drawn or measured(knowledge, chosen.engine, numbers, chosen.runs):
        found.append(each)
        pays = " ".join(f"{paid:.0f}" for paid in each.draws)
        print(
            f"{each.name}: {each.hours:.2f} h, grade {grade_of(each.hours)}, needed {each.needed:.0f}, misled "
            f"{each.misled:.0f}, rules {each.rules:.0f} ({pays})"
            + (f"; so far {correlation(found):.2f}" if len(found) > 2 else ""),
            flush=True,
        )
    print(f"rank correlation {ranked(found)}; {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
