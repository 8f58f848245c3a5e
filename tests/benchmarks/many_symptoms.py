"""Ten shared symptoms, then twenty, on a V8: time, memory and error bound of the exact method and of its fallback.

Run `python -m tests.benchmarks.many_symptoms [--limit SECONDS]`. The exact method subtracts (inclusion-exclusion over
the symptoms present) and bounds its own rounding; its fallback carries levels, wholly or in part, and subtracts less or
nothing. Each row is a process of its own with a limit on time, so that its memory is its own. The invented V8 has as
many shared severities as symptoms are present, which is the worst case; in the shipped knowledge symptoms that tell of
one severity are one factor. May import: `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from collections.abc import Callable
from multiprocessing.connection import Connection

from diag.basics import TooLarge
from diag.casebook import PRESENT, Answer, Case, Epoch, scope_of
from diag.inference import Form, infer
from diag.knowledge_base import load_knowledge
from diag.network import weigh
from tests.benchmarks.v8 import V8
from tests.support import synthetic

__all__ = ["invented", "main", "measured", "shipped"]

FORMS: tuple[Form, ...] = ("subtracting", "auto", "carrying")


def invented(present: int, form: Form, layout: synthetic.Layout = V8) -> tuple[str, float]:
    """All posteriors of a V8 with so many shared severities, all present: the form that answered, its error bound."""
    synthetic.SHARED = tuple(
        (f"{synthetic.SHARED[k % 12][0]} {k}", *synthetic.SHARED[k % 12][1:]) for k in range(present)
    )
    wider = synthetic.Layout(layout.cylinders, present, layout.detail, layout.vehicle, layout.configurations)
    model = synthetic.workshop_model(wider)
    found = infer(model, synthetic.random_case(model, 0, present), form)
    return found.form, found.cancellation


def shipped(present: int, engine: str = "karrick_v8") -> tuple[str, float]:
    """A case of a shipped V8 with that many symptoms of the vehicle present, the first of the knowledge that can be."""
    known = load_knowledge()
    told: list[Answer] = []
    for item, finding in known.findings.items():
        if finding.code is None and scope_of(known, item) == "vehicle" and len(told) < present:
            told.append(Answer(item, None, PRESENT))
    assert len(told) == present, f"the knowledge has only {len(told)} symptoms of the vehicle"
    case = Case("", known.engines[engine], engine, 187_000, 11, epochs=(Epoch(answers=tuple(told)),))
    found = weigh(known, case).posterior
    return found.form, found.cancellation


def _row(out: Connection, call: Callable[..., tuple[str, float]], arguments: tuple[object, ...]) -> None:
    before, began = time.process_time(), time.perf_counter()
    try:
        form, error = call(*arguments)
        told = f"{form}, error bound {error:.0e}"
    except TooLarge as refused:
        told = f"refused: {refused}"
    spent, passed = time.process_time() - before, time.perf_counter() - began
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    out.send(
        f"{told}; {spent:.2f} s of processor time ({passed:.2f} s passed), {held:,.0f} MiB with the program itself"
    )


def measured(call: Callable[..., tuple[str, float]], *arguments: object, limit_s: float = 120.0) -> str:
    """One row, in a process of its own."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_row, args=(theirs, call, arguments))
    process.start()
    theirs.close()
    try:
        return str(ours.recv()) if ours.poll(limit_s) else f"not done within {limit_s:g} s"
    except EOFError:
        return "ended: out of memory"
    finally:
        process.kill()
        process.join()


def main() -> None:
    """Print the rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--limit", type=float, default=300.0, help="seconds for each row")
    limit_s = parser.parse_args().limit
    for present in (10, 20):
        for form in FORMS:
            print(f"invented V8, {present} shared severities present, {form}: ", end="")
            print(measured(invented, present, form, limit_s=limit_s), flush=True)
        try:
            print(
                f"shipped V8, {present} symptoms of the vehicle present: {measured(shipped, present, limit_s=limit_s)}"
            )
        except AssertionError as none:
            print(none)
        sys.stdout.flush()


if __name__ == "__main__":
    main()
