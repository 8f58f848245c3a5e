"""A reference engine in a process of its own: all component marginals of one case, as JSON with its own seconds.

Started by `tests.benchmarks.timing.run_limited`; building the network and importing the library are not counted.
May import: the standard library, pgmpy or pyagrum, `tests.support`.
"""

from __future__ import annotations

import json
import pickle
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from diag.inference import Evidence, Model, infer
from tests.support.to_reference import (
    Network,
    component_name,
    pgmpy_network,
    pyagrum_module,
    pyagrum_network,
    reference_network,
)

GIB = 1 << 30
REPEAT_S = 1.0  # further calls are made until so much time has passed
Answers = dict[str, list[float]]


def by_pgmpy(network: Network, names: list[str]) -> Callable[[], Answers]:
    """Variable elimination, a query for each component (all in one would build the joint of them all)."""
    built = pgmpy_network(network)
    from pgmpy.inference import VariableElimination

    seen = dict.fromkeys(network.observed, 0)

    def answer() -> Answers:
        engine = VariableElimination(built)
        return {
            name: np.asarray(engine.query([name], evidence=seen, show_progress=False).values).tolist() for name in names
        }

    return answer


def by_pyagrum(network: Network, names: list[str]) -> Callable[[], Answers]:
    """Lazy propagation with all components as targets, once."""
    built = pyagrum_network(network)
    pyagrum = pyagrum_module()

    def answer() -> Answers:
        engine = pyagrum.LazyPropagation(built)
        engine.setEvidence(dict.fromkeys(network.observed, 0))
        engine.setTargets(set(names))
        engine.makeInference()
        return {name: engine.posterior(name).toarray().tolist() for name in names}

    return answer


def main(arguments: list[str]) -> None:
    """`<job file> <memory in GiB> pgmpy|pyagrum|diag`: print seconds and answers."""
    path, memory_gib, which = arguments
    job: tuple[Model, Evidence] = pickle.loads(Path(path).read_bytes())
    model, evidence = job
    limit = int(float(memory_gib) * GIB)
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    if which == "diag":
        sys.stdout.write(json.dumps(measured(by_diag(model, evidence))) + "\n")
        return
    network = reference_network(model, evidence)
    names = [component_name(p, c) for p, plate in enumerate(model.plates) for c in range(len(plate.components))]
    sys.stdout.write(json.dumps(measured((by_pgmpy if which == "pgmpy" else by_pyagrum)(network, names))) + "\n")


def measured(answer: Callable[[], Answers]) -> dict[str, object]:
    """The answers of the first call with its seconds; of further calls the fastest; and the most memory ever held."""
    wall, processor = time.perf_counter(), time.process_time()
    answers = answer()
    seconds, used = time.perf_counter() - wall, time.process_time() - processor
    again = [seconds]
    while sum(again) < REPEAT_S:
        wall = time.perf_counter()
        answer()
        again.append(time.perf_counter() - wall)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"seconds": seconds, "processor": used, "again": min(again), "memory_mib": memory, "answers": answers}


def by_diag(model: Model, evidence: Evidence) -> Callable[[], Answers]:
    """This program's own engine, asked the same."""

    def answer() -> Answers:
        found = infer(model, evidence)
        return {
            component_name(p, c): marginal[0].tolist()
            for p, plate in enumerate(found.components)
            for c, marginal in enumerate(plate)
        }

    return answer


if __name__ == "__main__":
    main(sys.argv[1:])
