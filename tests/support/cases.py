"""The cases that tests go through by name: those that ship, and the load of the benchmarks, which is no demo case.

May import: `diag` through its doors.
"""

from __future__ import annotations

from pathlib import Path

from diag.casebook import demo_cases

__all__ = ["MANY_SYMPTOMS", "every_case", "many_symptoms"]

MANY_SYMPTOMS = "v8_with_many_symptoms"
"""A V8 with ten symptoms of the vehicle, eight corrections, codes and a history: the hardest of all."""


def many_symptoms() -> Path:
    """The file of the V8 with many symptoms."""
    return Path(__file__).parents[1] / "benchmarks" / "cases" / f"{MANY_SYMPTOMS}.yaml"


def every_case() -> dict[str, Path]:
    """The demo cases and, last, the V8 with many symptoms: name to file."""
    return demo_cases() | {MANY_SYMPTOMS: many_symptoms()}
