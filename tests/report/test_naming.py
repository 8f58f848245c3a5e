"""What a fault is called: by the states that make it up, none of them left out that is likely by itself."""

from __future__ import annotations

import pytest

from diag.report.naming import fault_words, only_state
from diag.report.sheets_weigh import FaultLine, StateLine


def fault(*chances: float, dangerous: tuple[bool, ...] = ()) -> FaultLine:
    """A trim code whose unsound states have these chances."""
    names = ("not written", "wrong cylinder", "misread")
    marked = dangerous or (False,) * len(chances)
    unsound = [
        StateLine(name.replace(" ", "_"), name, chance, mark)
        for name, chance, mark in zip(names, chances, marked, strict=False)
    ]
    states = (StateLine("right", "right", 1.0 - sum(chances), False), *unsound)
    return FaultLine("trim_code", "trim code", 2, sum(chances), "", states, True, True, any(marked), True)


@pytest.mark.parametrize(
    ("chances", "words", "alone"),
    [
        ((0.76, 0.19), "trim code: not written or wrong cylinder", None),
        ((0.76, 0.06), "trim code: not written", "not_written"),
        ((0.03, 0.006, 0.001), "trim code: not written", "not_written"),
        ((0.03, 0.02, 0.001), "trim code: not written or wrong cylinder", None),
        ((0.5, 0.2, 0.15), "trim code: not written, wrong cylinder or misread", None),
    ],
)
def test_a_state_that_is_likely_by_itself_is_named(chances: tuple[float, ...], words: str, alone: str | None) -> None:
    assert fault_words(fault(*chances)) == words
    assert only_state(fault(*chances)) == alone


def test_a_dangerous_state_is_named_however_small_its_share() -> None:
    assert fault_words(fault(0.9, 0.05, dangerous=(False, True))).startswith("trim code: not written or wrong cylinder")
