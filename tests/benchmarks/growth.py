"""How the time of all posteriors grows: with cylinders (linear), symptoms present (doubling), absent (nothing).

Run `python -m tests.benchmarks.growth [--quick]`. Each call has fixed work besides, which hides the growth of small
models: so what comes on top of it is printed too. Times are the fewest processor seconds of a call, rows measured in
turns. May import: `diag.inference`, `tests.support`.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.inference import Evidence, Form, Model, mixture
from tests.benchmarks.timing import milliseconds, timed_together
from tests.support.batches import all_posteriors
from tests.support.synthetic import Layout, random_case, sizes_in_words, workshop_model

__all__ = ["Sweep", "growth", "main"]

CASES = 4  # different evidence in turn
FOUR_CYLINDERS = Layout(cylinders=4, vehicle=8)


@dataclass(frozen=True)
class Sweep:
    """The models and cases to try, and seconds to spend on each figure."""

    cylinders: Sequence[int] = (2, 4, 6, 8, 12, 16)
    present: Sequence[int] = tuple(range(11))
    carried: Sequence[int] = tuple(range(8))
    absent: Sequence[int] = (0, 2, 4, 6, 8)
    layout: Layout = FOUR_CYLINDERS
    least_s: float = 1.0


def calls_of(model: Model, cases: Sequence[Evidence], form: Form) -> list[Callable[[], object]]:
    """A call of all posteriors for each case."""

    def call(evidence: Evidence) -> Callable[[], object]:
        return lambda: all_posteriors(model, evidence, form)

    return [call(evidence) for evidence in cases]


def cases_of(model: Model, present: int, absent: int = 0) -> list[Evidence]:
    """Different cases of one size."""
    return [random_case(model, seed, present, absent) for seed in range(CASES)]


def seconds_of(rows: Sequence[Sequence[Callable[[], object]]], least_s: float) -> list[float]:
    """Fewest processor seconds of each row."""
    return [taken.processor_s for taken in timed_together(rows, least_s)]


def terms_of(model: Model, evidence: Evidence) -> int:
    """Terms of the signed sum."""
    return int(mixture(model, evidence, [[{}]] * len(model.plates)).weights.shape[1]) // len(model.configurations)


def growth(sweep: Sweep) -> list[str]:
    """The tables, as lines."""
    return [
        *cylinder_table(sweep),
        *present_table(sweep, "subtracting", sweep.present),
        *present_table(sweep, "carrying", sweep.carried),
        *absent_table(sweep),
    ]


def cylinder_table(sweep: Sweep) -> list[str]:
    """Time against cylinders, and how well a straight line fits."""
    present = min(7, sweep.layout.shared)
    models = [workshop_model(replace(sweep.layout, cylinders=cylinders)) for cylinders in sweep.cylinders]
    cases = [cases_of(model, present) for model in models]
    rows = [calls_of(model, some, "subtracting") for model, some in zip(models, cases, strict=True)]
    taken = np.array(seconds_of(rows, sweep.least_s))
    lines = ["Time of all posteriors against cylinders (form with subtraction)"]
    lines += [
        f"  {sizes_in_words(model, some[0])}: {milliseconds(float(time))}"
        for model, some, time in zip(models, cases, taken, strict=True)
    ]
    slope, fixed = np.polyfit(sweep.cylinders, taken, 1)
    off = float(np.max(np.abs(fixed + slope * np.array(sweep.cylinders) - taken) / taken))
    return [
        *lines,
        f"  straight line: {milliseconds(float(fixed))} and {milliseconds(float(slope))} a cylinder; "
        f"no row is further from it than {off:.0%}",
    ]


def present_table(sweep: Sweep, form: Form, counts: Sequence[int]) -> list[str]:
    """Time against symptoms present, and what comes on top of none present against the row above."""
    model = workshop_model(sweep.layout)
    cases = [cases_of(model, present) for present in counts]
    taken = seconds_of([calls_of(model, some, form) for some in cases], sweep.least_s)
    lines = [f"Time against symptoms present (form: {form}; {sizes_in_words(model, cases[0][0])} in the first row)"]
    for number, (present, time) in enumerate(zip(counts, taken, strict=True)):
        terms = f", {terms_of(model, cases[number][0])} terms" if form == "subtracting" else ""
        growing = number > 1 and taken[number - 1] > 1.5 * taken[0]
        ratio = f"; above none present, {growth_above(taken, number):.2f} times the row above" if growing else ""
        lines.append(f"  {present} present{terms}: {milliseconds(time)}{ratio}")
    return lines


def growth_above(taken: Sequence[float], number: int) -> float:
    """What a row costs above the first, against what the row before it does."""
    return (taken[number] - taken[0]) / (taken[number - 1] - taken[0])


def absent_table(sweep: Sweep) -> list[str]:
    """Time against symptoms absent, three present."""
    model = workshop_model(sweep.layout)
    cases = [cases_of(model, min(3, len(model.shared)), absent) for absent in sweep.absent]
    taken = seconds_of([calls_of(model, some, "subtracting") for some in cases], sweep.least_s)
    lines = ["Time against symptoms absent (3 present, form with subtraction)"]
    for absent, some, time in zip(sweep.absent, cases, taken, strict=True):
        terms = terms_of(model, some[0])
        lines.append(f"  {absent} absent, {terms} terms: {milliseconds(time)}, {time / taken[0]:.2f} times none absent")
    return lines


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="spend a tenth of the time on each figure")
    sweep = Sweep(least_s=0.1) if parser.parse_args().quick else Sweep()
    print("\n".join(growth(sweep)))


if __name__ == "__main__":
    main()
