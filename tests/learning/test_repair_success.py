"""How often what was renewed was bad from new: of what was watched for long enough, come-backs or not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from diag.casebook import Case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson, Trust, repair_success
from diag.store import Fitted, Found, Outcome

BEGAN = datetime(2024, 1, 1, tzinfo=UTC)
MONTH = timedelta(days=30.44)
TRUE = 0.1
PATH = ("components", "seal", "fresh", "weeping")


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """What ships."""
    return load_knowledge()


def renewed(known: Knowledge, number: int, at: datetime, back: int | None = None, state: str = "blown") -> Lesson:
    """A seal that was renewed, and the number of the case that came back from it."""
    case = Case("renewed", known.engines["ostrel_4"], "ostrel_4", age_years=8.0)
    outcome = Outcome("yes", (Found("seal", state, 2, "seen"),), (Fitted("reseal", 2),))
    return Lesson(number, "", case, outcome, at.isoformat(), came_back=back)


def workshop(known: Knowledge, months: float, dice: np.random.Generator, count: int = 400) -> list[Lesson]:
    """Seals renewed evenly over so many months, of which one in ten comes back within the next half year; what would
    come back after the book ends is not in it."""
    lessons = []
    for number in range(1, count + 1):
        at = BEGAN + months * MONTH * dice.random()
        again = at + MONTH * 6.0 * dice.random()
        back = 1_000 + number if dice.random() < TRUE and again < BEGAN + months * MONTH else None
        lessons.append(renewed(known, number, at, back))
        lessons += [renewed(known, back, again, state="weeping")] if back is not None else []
    return lessons


def learned(known: Knowledge, lessons: list[Lesson]) -> dict[tuple[str, ...], float]:
    return {tuple(each.path): each.after for each in repair_success(known, lessons, Trust(), 5.0)}


@pytest.mark.parametrize("months", [3.0, 13.0, 60.0])
def test_a_young_book_does_not_make_every_repair_a_bad_one(known: Knowledge, months: float) -> None:
    """One in ten is bad from new. Three months tell nothing yet (a seal settles in twelve), thirteen a little, five
    years all of it; at no time more than is true by more than chance would have it."""
    after = [learned(known, workshop(known, months, np.random.default_rng(seed))).get(PATH) for seed in range(12)]
    if months < known.components["seal"].settles_months.value:
        assert after == [None] * 12
        return
    told = [each for each in after if each is not None]
    assert len(told) == 12
    before = known.components["seal"].fresh["weeping"].value
    error = float(np.std(told)) / np.sqrt(len(told))
    assert before < np.mean(told) < TRUE + 4.0 * error
    if months == 60.0:
        assert np.mean(told) == pytest.approx(TRUE, abs=0.02)


def test_what_fails_long_after_was_not_bad_from_new(known: Knowledge) -> None:
    """Ten seals that held for three years and blew then: they have lived, and the chance from new falls."""
    lessons = [renewed(known, number, BEGAN, 100 + number) for number in range(1, 11)]
    late = [renewed(known, 100 + number, BEGAN + 36 * MONTH, state="weeping") for number in range(1, 11)]
    soon = [renewed(known, 100 + number, BEGAN + 2 * MONTH, state="weeping") for number in range(1, 11)]
    end = renewed(known, 500, BEGAN + 60 * MONTH)
    before = known.components["seal"].fresh["weeping"].value
    assert learned(known, [*lessons, *late, end])[PATH] < before
    assert learned(known, [*lessons, *soon, end])[PATH] > 5 * before
