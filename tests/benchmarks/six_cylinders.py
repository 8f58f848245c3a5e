"""All fault marginals of a six-cylinder engine: ours against pgmpy and pyAgrum on the same network, in one run.

Run `python -m tests.benchmarks.six_cylinders [--memory-gib 12] [--limit-s 300]`. The references run in processes of
their own with a limit on memory and on time. Where one cannot do the full network, smaller ones are tried downwards,
and the ratio is that of the largest which it could do, with ours timed on the same one. Answers are compared as well.
May import: `diag.inference`, `tests.support`.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from diag.inference import Evidence, Model, Posterior, infer
from tests.benchmarks.timing import Limited, milliseconds, run_limited, timed
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model
from tests.support.to_reference import component_name, reference_network

__all__ = ["LADDER", "Step", "compare", "main"]

REFERENCES = ("pgmpy", "pyagrum")


@dataclass(frozen=True)
class Step:
    """A network to try: its layout and how many shared symptoms are present."""

    layout: Layout
    present: int


LADDER = (
    Step(Layout(6, vehicle=13, configurations=6), 6),
    Step(Layout(6, vehicle=13, configurations=6), 5),
    Step(Layout(6, vehicle=13, configurations=6), 4),
    Step(Layout(6, shared=8, detail=7, vehicle=8, configurations=4), 5),
    Step(Layout(6, shared=6, detail=6, vehicle=6, configurations=3), 4),
    Step(Layout(6, shared=4, detail=5, vehicle=4, configurations=2), 4),
    Step(Layout(6, shared=4, detail=3, vehicle=3, configurations=2), 3),
    Step(Layout(6, shared=3, detail=2, vehicle=2, configurations=2), 2),
)


def largest_difference(found: Posterior, answers: dict[str, list[float]]) -> float:
    """Largest difference between our component marginals and a reference's."""
    return max(
        float(np.max(np.abs(marginal[0] - np.array(answers[component_name(plate, index)]))))
        for plate, components in enumerate(found.components)
        for index, marginal in enumerate(components)
    )


def compare(model: Model, evidence: Evidence, which: str, memory_gib: float, limit_s: float) -> tuple[Limited, str]:
    """One reference on one network, and a line about it."""
    ours = timed([lambda: infer(model, evidence)], 0.5)
    done = run_limited("tests.benchmarks.reference_worker", [which], (model, evidence), memory_gib, limit_s)
    if not done.finished:
        longer = f" (more than {done.seconds / ours.median_s:,.0f} times ours)" if "not done" in done.trouble else ""
        return done, f"  {which}: {done.trouble}{longer}; ours {ours}"
    difference = largest_difference(infer(model, evidence), done.answers)
    return done, (
        f"  {which}: {milliseconds(done.seconds)} ({milliseconds(done.processor_s)} of processor time); ours {ours}: "
        f"{done.seconds / ours.median_s:,.0f} times faster ({done.processor_s / ours.processor_s:,.0f} times by "
        f"processor time); largest difference {difference:.1e}"
    )


def main() -> None:
    """Go down the ladder until both references have answered."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--memory-gib", type=float, default=12.0)
    parser.add_argument("--limit-s", type=float, default=300.0)
    limits = parser.parse_args()
    waiting = list(REFERENCES)
    for step in LADDER:
        if not waiting:
            return
        model = workshop_model(step.layout)
        evidence = random_case(model, seed=1, present=step.present)
        nodes = len(reference_network(model, evidence).nodes)
        print(f"{sizes_in_words(model, evidence)}; {nodes} nodes as an ordinary network", flush=True)
        for which in list(waiting):
            done, line = compare(model, evidence, which, limits.memory_gib, limits.limit_s)
            print(line, flush=True)
            if done.finished:
                waiting.remove(which)


if __name__ == "__main__":
    main()
