"""Whether difficulty, measured beforehand, ranks as what the rules of thumb really pay."""

from __future__ import annotations

import pytest

from diag.knowledge_base import load_knowledge
from diag.training import Practice, difficulty_of
from tests.support.effort import LONG
from tests.training.ranking import Measured, correlation, measured, rules_pay
from tests.training.showing import WORKSHOPS, small_workshop, world_for

CASES = 80 if LONG else 16
RUNS = 4  # draws of the noise, for the difficulty and again for the rules: fewer blur both
LEAST = 0.7


def test_difficulty_ranks_as_the_rules_pay_on_small_workshops() -> None:
    """Spearman's correlation of at least 0.7; the rules meet other noise than the difficulty was measured on."""
    found = []
    for number in range(CASES):
        bench = small_workshop(number % len(WORKSHOPS)).bench
        practice, hidden = Practice("x", "", bench.start, "made"), world_for(bench, 500 + number)
        hard = difficulty_of(bench, practice, hidden, RUNS)
        pays = rules_pay(bench, practice, hidden, RUNS)
        found.append(Measured("x", hard.hours, pays, hard.needed, hard.misled))
    assert correlation(found) >= LEAST


@pytest.mark.skipif(not LONG, reason="hours of measuring: DIAG_TESTS=long, or python -m tests.training.ranking")
def test_difficulty_ranks_as_the_rules_pay_on_a_shipped_engine() -> None:
    assert correlation(measured(load_knowledge(), "ostrel_3", 40, RUNS)) >= LEAST
