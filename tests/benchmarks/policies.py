"""What advice costs beside rules of thumb, on simulated cases of every shipped engine, and how fast cases run.

Run `python -m tests.benchmarks.policies [--cases 2000] [--engine ID] [--processes 2]`; printed are mean totals with
standard errors, and how much cheaper the advice is than the best rule of thumb on the same cases.
May import: `diag` through its doors.
"""

from __future__ import annotations

import argparse
import time

from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import POLICIES, Plan, Study, starts_of, study

__all__ = ["RULES", "cheaper_by", "engine_lines", "main"]

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


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--engine", action="append")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    knowledge = load_knowledge()
    for engine in chosen.engine or knowledge.engines:
        print("\n".join(engine_lines(knowledge, engine, chosen.cases, chosen.processes)), flush=True)


if __name__ == "__main__":
    main()
