"""The shipped knowledge: time of all posteriors on every engine, with few and with many shared symptoms present.

Run `python -m tests.benchmarks.shipped [--references]`; the second compares a V6 with pgmpy and pyAgrum in one run.
May import: `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial

from diag.inference import infer, mixture
from diag.knowledge_base import Knowledge, load_knowledge
from tests.benchmarks.six_cylinders import REFERENCES, compare
from tests.benchmarks.timing import timed
from tests.support.batches import all_posteriors
from tests.support.shipped import network_with, sizes_of

__all__ = ["against_references", "engine_lines", "main"]


def engine_lines(knowledge: Knowledge, engine: str, counts: Sequence[int], least_s: float = 1.0) -> list[str]:
    """A line for each number of shared symptoms present on one engine."""
    lines = []
    for present in counts:
        network = network_with(knowledge, engine, present)
        model, evidence = network.model, network.evidence
        found = infer(model, evidence)
        terms = mixture(model, evidence, [[{}]] * len(model.plates)).weights.shape[1] // len(model.configurations)
        taken = timed([partial(all_posteriors, model, evidence)], least_s)
        lines.append(f"{engine}, {present} shared symptoms present ({sizes_of(model, evidence)}; {terms} terms)")
        lines.append(f"  {found.form}, cancellation {found.cancellation:.0e}: {taken}")
    return lines


def against_references(
    knowledge: Knowledge, engine: str, counts: Sequence[int], memory_gib: float, limit_s: float
) -> list[str]:
    """Each reference on the largest of the counts that it can do, all component marginals."""
    lines, waiting = [], list(REFERENCES)
    for present in sorted(counts, reverse=True):
        network = network_with(knowledge, engine, present)
        if waiting:
            lines.append(f"{engine}, {present} shared symptoms present ({sizes_of(network.model, network.evidence)})")
        for which in list(waiting):
            done, line = compare(network.model, network.evidence, which, memory_gib, limit_s)
            lines.append(line)
            if done.finished:
                waiting.remove(which)
    return lines


def main() -> None:
    """Print the table, or the comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--references", action="store_true")
    parser.add_argument("--memory-gib", type=float, default=12.0)
    parser.add_argument("--limit-s", type=float, default=300.0)
    chosen = parser.parse_args()
    knowledge = load_knowledge()
    if chosen.references:
        counts = (8, 5, 4, 3, 2)
        print("\n".join(against_references(knowledge, "karrick_v6", counts, chosen.memory_gib, chosen.limit_s)))
        return
    for engine in knowledge.engines:
        print("\n".join(engine_lines(knowledge, engine, (2, 6, 10))), flush=True)


if __name__ == "__main__":
    main()
