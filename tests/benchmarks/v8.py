"""A V8 with ten shared symptoms present: time of all posteriors, alone and in a batch, with the sizes stated.

Run `python -m tests.benchmarks.v8`. May import: `diag.inference`, `tests.support`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from diag.basics import TooLarge
from diag.inference import Array, Evidence, Form, Model, infer
from tests.benchmarks.timing import milliseconds, timed
from tests.support.batches import all_posteriors, one_case
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model

__all__ = ["batch_of", "main", "report"]

V8 = Layout(cylinders=8, vehicle=13, configurations=6)
FORMS: tuple[Form, ...] = ("auto", "subtracting", "carrying")


def batch_of(evidence: Evidence, cases: int, seed: int = 0) -> Evidence:
    """The same shared symptoms with `cases` different soft findings on the first cylinder."""
    random = np.random.default_rng(seed)
    plate, axes, likelihood = evidence.axes[0]
    several: Array = random.uniform(0.1, 1.0, (cases, *likelihood.shape[1:]))
    return Evidence(cases, evidence.components, ((plate, axes, several), *evidence.axes[1:]), evidence.shared)


def report(
    model: Model, present: int, least_s: float = 1.0, cases: int = 64, forms: tuple[Form, ...] = FORMS
) -> list[str]:
    """Lines with the time of all posteriors, in each form, and in a batch."""
    several = [random_case(model, seed, present) for seed in range(4)]
    lines = [sizes_in_words(model, several[0])]
    lines += [form_line(model, several, form, least_s) for form in forms]
    together = batch_of(several[0], cases)
    batch = timed([lambda: all_posteriors(model, together)], least_s)
    alone = timed([lambda: all_posteriors(model, one_case(together, 0))], least_s)
    return [
        *lines,
        f"  batch of {cases}: {milliseconds(batch.best_s / cases)} a case, "
        f"{alone.best_s * cases / batch.best_s:.1f} times faster than one by one",
    ]


def form_line(model: Model, several: list[Evidence], form: Form, least_s: float) -> str:
    """One line about one form."""

    def call(evidence: Evidence) -> Callable[[], object]:
        return lambda: all_posteriors(model, evidence, form)

    try:
        used = infer(model, several[0], form).form
    except TooLarge as refused:
        return f"  {form}: {refused}"
    return f"  {form} (answered by {used}): {timed([call(evidence) for evidence in several], least_s)}"


def main() -> None:
    """Print what a V8 costs with ten, and with fewer, shared symptoms present."""
    model = workshop_model(V8)
    for present in (4, 7, 10):
        forms = FORMS if present < 10 else FORMS[:2]  # carrying ten symptoms takes long, and is not what answers
        print("\n".join(report(model, present, forms=forms)), flush=True)


if __name__ == "__main__":
    main()
