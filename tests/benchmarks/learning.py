"""How fast closed cases are gone through: a mixed book (`tests.support.mixed_book`) of the shipped knowledge.

Run `python -m tests.benchmarks.learning [--cases 2000] [--processes 1]`. Printed: seconds to make the cases ready, wall
and processor seconds of one pass (expected counts given all that was told, and given the complaint), with the products
of scores that intervals need and without, and cases a second. May import: `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Sequence

from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson, Sweeper, Trust, figure_numbers, learnables
from tests.support.mixed_book import mixed_book

__all__ = ["main", "report"]

AGE_STEP = 0.1


def report(knowledge: Knowledge, lessons: Sequence[Lesson], processes: int) -> list[str]:
    """The figures, as lines."""
    index = figure_numbers(learnables(knowledge))
    start = time.perf_counter()
    sweeper = Sweeper(knowledge, lessons, index, Trust(), processes, AGE_STEP)
    lines = [f"{len(lessons):,} cases, {len(index)} figures; made ready in {time.perf_counter() - start:.1f} s"]
    with sweeper:
        for words, information in (("expected counts", False), ("and products of scores", True)):
            wall, before = time.perf_counter(), _processor()
            sweep = sweeper.sweep(knowledge, information)
            wall = time.perf_counter() - wall
            rate = sweep.cases / max(wall, 1e-9)
            lines.append(f"{words}: {wall:.1f} s by the clock with {processes} processes, {rate:,.0f} cases a second")
            if processes == 1:
                lines[-1] += f"; {_processor() - before:.1f} processor seconds"
    return lines


def _processor() -> float:
    used = os.times()
    return used.user + used.system


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--processes", type=int, default=1)
    chosen = parser.parse_args()
    knowledge = load_knowledge()
    print("\n".join(report(knowledge, mixed_book(knowledge, chosen.cases, 7), chosen.processes)))


if __name__ == "__main__":
    main()
