"""Figures of all policies gathered over as long as one likes: cases are added to a file, and the table is made of it.

Run `python -m tests.benchmarks.policy_figures FILE [--minutes 30] [--engine ID ...]`: round after round, a few cases of
every start of every engine, all policies on the same vehicles and answers; stopped and started again it goes on. With
`--minutes 0` only the table is printed. May import: `diag` through its doors, `tests.benchmarks`.
"""

from __future__ import annotations

import argparse
import csv
import random
import time
from collections.abc import Iterator, Mapping, Sequence
from math import sqrt
from pathlib import Path
from statistics import fmean, stdev

from diag.casebook import Case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import POLICIES, CaseRun, Workshop, draw_fleet, policy_named, starts_of

__all__ = ["gather", "main", "table"]

FIELDS = ("engine", "start", "number", "policy", "total", "least", "checks", "wrong")
AT_ONCE = 2  # cases of one start in a round
SEED = 1
Row = Mapping[str, str]


def _rows(path: Path) -> list[Row]:
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _visits(knowledge: Knowledge, engines: Sequence[str]) -> Iterator[tuple[str, int, int]]:
    """Engine, start and number of the first case, each round in an order of its own, drawn from the round's number."""
    first = 0
    while True:
        visits = [(engine, start) for engine in engines for start in range(len(starts_of(knowledge, engine)))]
        random.Random(first).shuffle(visits)
        yield from ((engine, start, first) for engine, start in visits)
        first += AT_ONCE


def _run(knowledge: Knowledge, start: Case, seed: int, first: int) -> list[CaseRun]:
    workshop = Workshop(knowledge, knowledge, start)
    fleet = draw_fleet(knowledge, start, AT_ONCE, seed, first)
    return [*workshop.run_all(fleet, [policy_named(name) for name in POLICIES])]


def gather(path: Path, engines: Sequence[str], minutes: float) -> None:
    """Add cases to the file until the time is up; those that are in it are left out."""
    knowledge, until = load_knowledge(), time.monotonic() + 60.0 * minutes
    done = {(row["engine"], int(row["start"]), int(row["number"])) for row in _rows(path)}
    for engine, start, first in _visits(knowledge, engines):
        if time.monotonic() >= until:
            return
        if (engine, start, first) in done:
            continue
        runs = _run(knowledge, starts_of(knowledge, engine)[start], SEED * 1_000 + start, first)
        fresh = not path.exists()
        with path.open("a", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            if fresh:
                writer.writerow(FIELDS)
            for run in runs:
                known = (run.number, run.policy, f"{run.total:.4f}", f"{run.least:.4f}", run.checks, run.wrong)
                writer.writerow((engine, start, *known))


def table(path: Path) -> list[str]:
    """One line for each engine, and one for all: cases, mean total of each policy and of perfect information, and how
    much cheaper looking ahead is than the best rule of thumb, with the standard error of the mean difference."""
    rows = _rows(path)
    lines = [" | ".join(["engine", "cases", *POLICIES, "truth known", "cheaper than the best rule"])]
    for engine in [*dict.fromkeys(row["engine"] for row in rows), "all"]:
        mine = [row for row in rows if engine in (row["engine"], "all")]
        totals: dict[str, dict[tuple[str, ...], float]] = {name: {} for name in POLICIES}
        for row in mine:
            totals[row["policy"]][row["engine"], row["start"], row["number"]] = float(row["total"])
        means = {name: fmean(some.values()) for name, some in totals.items()}
        ahead = totals["looking ahead"]
        rule = min((name for name in POLICIES if name not in ("looking ahead", "one step")), key=means.__getitem__)
        dearer = [totals[rule][case] - total for case, total in ahead.items()]
        error = stdev(dearer) / sqrt(len(dearer)) if len(dearer) > 1 else float("nan")
        least = fmean(float(row["least"]) for row in mine)
        said = (
            f"{fmean(dearer):.0f} ± {error:.0f} ({fmean(dearer) / means[rule]:.0%} ± {error / means[rule]:.0%}), {rule}"
        )
        lines.append(
            " | ".join([engine, str(len(ahead)), *(f"{each:.0f}" for each in means.values()), f"{least:.0f}", said])
        )
    return lines


def main() -> None:
    """Gather, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--engine", action="append")
    chosen = parser.parse_args()
    if chosen.minutes > 0:
        gather(chosen.file, chosen.engine or list(load_knowledge().engines), chosen.minutes)
    print("\n".join(table(chosen.file)))


if __name__ == "__main__":
    main()
