"""Advice against rules of thumb on simulated cases: 2,000 on every shipped engine in the long tier."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.knowledge_base import load_knowledge
from diag.laboratory import POLICIES, Plan, starts_of, study
from tests.benchmarks import policy_figures
from tests.benchmarks.policies import cheaper_by
from tests.support.effort import LONG


@pytest.mark.skipif(not LONG, reason="hours of simulated cases: DIAG_TESTS=long")
@pytest.mark.parametrize("engine", ["ostrel_3", "ostrel_4", "velm_5", "karrick_v6", "karrick_v8"])
def test_advice_is_a_tenth_cheaper_than_the_best_rule_of_thumb(engine: str) -> None:
    """On average over 2,000 cases, within two standard errors."""
    knowledge = load_knowledge()
    result = study(Plan(knowledge, knowledge, starts_of(knowledge, engine), 2000, 1), processes=2)
    share, error = cheaper_by(result)
    assert share + 2 * error >= 0.10
    assert all(score.beyond >= 0 for score in result.scores)


def test_advice_is_no_dearer_than_rules_that_check_nothing() -> None:
    """A handful of cases in the quick tier, on one complaint: the same cases, so that differences are few."""
    knowledge = load_knowledge()
    starts = starts_of(knowledge, "ostrel_3", ["chuff_somewhere"])[:1]
    names = ("looking ahead", "likeliest at once", "change everything")
    result = study(Plan(knowledge, knowledge, starts, 6, 1, names))
    assert all(score.dearer + 2 * score.dearer_error >= 0 for score in result.scores)


def test_the_table_of_gathered_cases_holds_the_mean_difference_to_the_best_rule(tmp_path: Path) -> None:
    """Two cases by hand: the best rule costs 120 and 130 where looking ahead costs 100 and 90, 30 ± 10 more."""
    path, totals = tmp_path / "figures.csv", {"looking ahead": (100.0, 90.0), "likeliest first": (120.0, 130.0)}
    lines = [",".join(policy_figures.FIELDS)]
    for name in POLICIES:
        for number, total in enumerate(totals.get(name, (500.0, 600.0))):
            lines.append(f"tiny,0,{number},{name},{total},80,1,0")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    _, tiny, every = policy_figures.table(path)
    assert tiny.startswith("tiny | 2 | 95 | ")
    assert tiny.endswith("80 | 30 ± 10 (24% ± 8%), likeliest first")
    assert every.split(" | ")[1:] == tiny.split(" | ")[1:]
