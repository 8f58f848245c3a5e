"""How long it takes to draw all numbers again and decide again, on a V8 with ten shared symptoms present.

Run `python -m tests.benchmarks.draws [--draws 500] [--engine ID] [--symptoms 10] [--processes 2]`.
May import: `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

import argparse
import time

from diag.doubt import Ground, ground_of, stand
from diag.knowledge_base import load_knowledge
from tests.support.shipped import case_with, shared_symptoms, sizes_of

__all__ = ["ground_with", "main", "report"]


def ground_with(engine: str, symptoms: int) -> Ground:
    """A case with so many shared symptoms present, made ready."""
    knowledge = load_knowledge()
    return ground_of(knowledge, case_with(knowledge, engine, shared_symptoms(knowledge)[:symptoms]))


def report(ground: Ground, draws: int, processes: int) -> list[str]:
    """Lines with the sizes, the time of all draws, and what came of them."""
    network = ground.network
    started, used = time.perf_counter(), time.process_time()
    found = stand(ground, draws, 1, processes)
    taken, alone = time.perf_counter() - started, time.process_time() - used
    lines = [
        f"{ground.case.engine_id}: {sizes_of(network.model, network.evidence)}; {len(ground.roughly)} of them hold "
        f"999 in 1,000; {found.numbers} numbers",
        f"  {draws} draws in {taken:.1f} s on {processes} processes, {draws / taken:.1f} draws a second",
        f"  the advice stands in {found.share:.0%} of the draws (± {found.error:.0%})",
    ]
    if processes == 1:
        lines.append(f"  {1000 * alone / draws:.0f} ms of processor time a draw")
    return lines


def main() -> None:
    """Print them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=500)
    parser.add_argument("--engine", default="karrick_v8")
    parser.add_argument("--symptoms", type=int, default=10)
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    print("\n".join(report(ground_with(chosen.engine, chosen.symptoms), chosen.draws, chosen.processes)))


if __name__ == "__main__":
    main()
