"""Predictions made before they were learned from; only what was in somebody's hands is one."""

from __future__ import annotations

import numpy as np
import pytest

from diag.casebook import PRESENT, Answer, Case, Epoch
from diag.knowledge_base import load_knowledge
from diag.learning import Lesson, Rules, drift, foretell, learn
from diag.store import Fitted, Found, Outcome
from tests.learning.invented import casebook, changed, small_knowledge
from tests.support.effort import LONG


def test_a_case_is_predicted_only_from_cases_before_it() -> None:
    """Learning anew after 40 cases: the first 40 as without it, the others with what just these 40 teach."""
    known, rules = small_knowledge(), Rules(turns=3)
    lessons = casebook(known, 60, 21)
    plain, learning = foretell(known, lessons, rules=rules), foretell(known, lessons, 40, rules=rules)
    taught = foretell(learn(known, lessons[:40], rules).knowledge, lessons, rules=rules)
    early = [each.number <= 40 for each in plain.predictions]
    expected = [a if first else b for a, b, first in zip(plain.predictions, taught.predictions, early, strict=True)]
    assert learning.learned == 1
    assert [each.forecast for each in learning.predictions] == pytest.approx([each.forecast for each in expected])
    assert any(a.forecast != b.forecast for a, b in zip(plain.predictions, learning.predictions, strict=True))


def test_what_was_told_of_only_because_it_was_at_fault_is_no_prediction() -> None:
    known = load_knowledge()
    case = Case(
        "x", known.engines["ostrel_3"], "ostrel_3", 1e5, 6.0, epochs=(Epoch((), (Answer("fumes", None, PRESENT),)),)
    )
    told = (Found("air_path", "leaking", None, "seen"), Found("seal", "blown", 1, "seen"))
    lesson = Lesson(1, "", case, Outcome("yes", told, (Fitted("reseal", 1), Fitted("reseal", 2))), "")
    foretold = foretell(known, [lesson])
    assert {(each.component, each.place, each.came) for each in foretold.predictions} == {
        ("seal", 1, 1.0),
        ("clamp", 1, 0.0),
        ("seal", 2, 0.0),
        ("clamp", 2, 0.0),
    }
    assert [score.fault for score in foretold.cases] == ["air_path"]


def test_the_alarm_goes_on_a_book_whose_vehicles_have_changed_and_not_before() -> None:
    """Cases drawn with the figures that are believed; then with loose clamps five times as frequent and seals that
    live half as long: the alarm goes after the change."""
    known = small_knowledge()
    other = changed(
        known, {("components", "clamp", "chance", "loose"): 0.1, ("components", "seal", "life", "scale"): 200_000.0}
    )
    before, after = casebook(known, 120, 31), casebook(other, 240 if LONG else 180, 32)
    foretold = foretell(known, [*before, *after])
    first = sum(len(_in_hands(each)) for each in before)
    forecast, came = foretold.arrays()
    watched = drift(forecast, came, runs=500)
    assert watched.alarm is not None
    assert watched.alarm >= first
    assert drift(forecast[:first], came[:first], runs=500).alarm is None
    assert np.mean(came[first:]) > np.mean(forecast[first:])


def _in_hands(lesson: Lesson) -> set[tuple[str, object]]:
    known, held = small_knowledge(), set()
    for fitted in lesson.outcome.fitted:
        held |= {(each, fitted.place) for each in known.repairs[fitted.item].renews}
    return held
