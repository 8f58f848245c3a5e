"""Whether difficulty, measured beforehand, ranks as what the rules of thumb really pay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.knowledge_base import load_knowledge
from diag.training import Practice
from tests.support.effort import LONG
from tests.training.ranking import RULES, Measured, measured, measured_on_drawn, rank_on, ranked
from tests.training.showing import WORKSHOPS, small_workshop, world_for

CASES = 80 if LONG else 16
RUNS = 4  # draws of the noise for the rules: fewer blur what they pay
LEAST = 0.7


def test_difficulty_ranks_as_the_rules_pay_on_small_workshops() -> None:
    """Spearman's correlation of at least 0.7; the rules meet other noise than the difficulty was measured on."""
    found = []
    for number in range(CASES):
        bench = small_workshop(number % len(WORKSHOPS)).bench
        practice, hidden = Practice("x", "", bench.start, "made"), world_for(bench, 500 + number)
        found.append(rank_on(bench, practice, hidden, RUNS, RULES))
    assert ranked(found).correlation >= LEAST


@pytest.mark.skipif(not LONG, reason="minutes of measuring: DIAG_TESTS=long, or the module ranking with --varied")
def test_difficulty_ranks_as_the_rules_pay_where_checks_and_faults_differ() -> None:
    """Even the lower end of the interval, over two vehicles in each of 60 drawn workshops."""
    assert ranked(list(measured_on_drawn(range(60), 2, RUNS))).low >= LEAST


@pytest.mark.skipif(not LONG, reason="hours of measuring: DIAG_TESTS=long, or python -m tests.training.ranking")
def test_difficulty_ranks_as_the_rules_pay_on_a_shipped_engine() -> None:
    """With the uncertainty of what a few draws show taken out."""
    found = ranked(list(measured(load_knowledge(), "ostrel_3", range(1, 61), RUNS)))
    assert found.corrected is not None
    assert found.corrected >= LEAST


def test_the_interval_holds_the_correlation_and_few_draws_blur_it() -> None:
    """Costs that rank as the hours do, seen through noise of as large a spread: a mean over two draws is reliable to
    2/3 (Spearman-Brown of 1/2), a rank correlation lies near the root of that, and corrected near 1."""
    random = np.random.default_rng(5)
    hours = random.standard_normal(4000)
    draws = hours[:, None] + random.standard_normal((4000, 2))
    found = [Measured("x", float(h), tuple(map(float, row)), 0.0, 0.0) for h, row in zip(hours, draws, strict=True)]
    whole = ranked(found)
    assert whole.low < whole.correlation < whole.high
    assert whole.correlation == pytest.approx((2 / 3) ** 0.5, abs=0.03)
    assert whole.reliability == pytest.approx(2 / 3, abs=0.03)
    assert whole.corrected == pytest.approx(1.0, abs=0.03)
    sure = ranked([replace(each, draws=(each.hours,)) for each in found])
    assert (sure.correlation, sure.reliability, sure.corrected) == (pytest.approx(1.0), None, None)
