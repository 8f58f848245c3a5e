"""What advice costs beside rules of thumb, on simulated cases of every shipped engine, and how fast cases run.

Run `python -m tests.benchmarks.policies [--cases 2000] [--engine ID] [--processes 2] [--small 30]`; printed are mean
totals with standard errors, and how much cheaper the advice is than the best rule of thumb on the same cases; with
`--small`, how far the advice is above the exact optimum on so many small engines instead.
May import: `diag` through its doors, `tests.decision`.
"""

from __future__ import annotations

import argparse
import time
from statistics import fmean

from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import POLICIES, Plan, Study, starts_of, study
from tests.decision.small_cases import Followed, small_case

__all__ = ["RULES", "above_the_optimum", "cheaper_by", "engine_lines", "main", "small_lines"]

RULES = tuple(name for name in POLICIES if name not in ("looking ahead", "one step"))


def cheaper_by(result: Study) -> tuple[float, float]:
    """Share by which looking ahead is cheaper than the best rule of thumb, and its standard error."""
    rules = [score for score in result.scores if score.policy in RULES]
    best = min(rules, key=lambda score: score.total)
    return best.dearer / best.total, best.dearer_error / best.total


def engine_lines(knowledge: Knowledge, engine: str, cases: int, processes: int, seed: int = 1) -> list[str]:
    """Lines about one engine."""
    started = time.perf_counter()
    result = study(Plan(knowledge, knowledge, starts_of(knowledge, engine), cases, seed), processes)
    taken = time.perf_counter() - started
    lines = [f"{engine}: {cases} cases under {len(POLICIES)} policies in {taken:.0f} s on {processes} processes"]
    lines += [
        f"  {score.policy:18} {score.total:8.0f} (± {score.error:.0f}), {score.checks:.1f} checks, "
        f"{score.wrong:.2f} wrong parts, {score.returns:.0%} come back"
        for score in result.scores
    ]
    share, error = cheaper_by(result)
    lines.append(f"  perfect information {result.least:.0f} (± {result.least_error:.0f})")
    return [*lines, f"  looking ahead is {share:.0%} (± {error:.0%}) cheaper than the best rule of thumb"]


def above_the_optimum(number: int) -> tuple[float, float]:
    """Share by which looking ahead, and one step, cost more than the exact optimum of one small engine."""
    small = small_case(number)
    optimum = small.value()
    ahead, one_step = (Followed(small, ahead).value() / optimum - 1.0 for ahead in (True, False))
    return ahead, one_step


def small_lines(count: int) -> list[str]:
    """Lines about so many small engines."""
    started = time.perf_counter()
    found = [above_the_optimum(number) for number in range(count)]
    lines = [f"{count} small engines, exact optimum by backward induction, in {time.perf_counter() - started:.0f} s"]
    for name, gaps in zip(("looking ahead", "one step"), zip(*found, strict=True), strict=True):
        within = sum(gap <= 0.02 for gap in gaps)
        lines.append(
            f"  {name:18} above the optimum by {fmean(gaps):.2%} on average, {max(gaps):.2%} at most; "
            f"within 2 % on {within} of {count}"
        )
    return lines


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--engine", action="append")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--small", type=int, default=0)
    chosen = parser.parse_args()
    if chosen.small:
        print("\n".join(small_lines(chosen.small)))
        return
    knowledge = load_knowledge()
    for engine in chosen.engine or knowledge.engines:
        print("\n".join(engine_lines(knowledge, engine, chosen.cases, chosen.processes)), flush=True)


if __name__ == "__main__":
    main()
