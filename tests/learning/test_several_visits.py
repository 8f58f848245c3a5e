"""Cases with work tried between visits: what was renewed or disturbed, and what was told before and after it, teaches
what it should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch, Work, as_the_maker_numbers
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import learnables
from tests.learning.test_contributions import by_ratio, counted, index_of

FIRST = (Answer("rough_idle", None, PRESENT), Answer("fumes", None, PRESENT))
SEEN = Answer("tar", 2, PRESENT)


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def resealed(knowledge: Knowledge, first: tuple[Answer, ...], then: tuple[Answer, ...]) -> Case:
    """Told `first`, cylinder 2 resealed, told `then`."""
    engine = knowledge.engines["ostrel_3"]
    epochs = (Epoch((), first), Epoch((Work("reseal", 2),), then))
    numbers = as_the_maker_numbers(knowledge)
    return Case("x", engine, "ostrel_3", 150_000.0, 9.0, epochs=epochs, numbering=numbers)


@pytest.mark.parametrize(
    "table",
    [
        ("components", "pressure_pipe", "chance"),
        ("components", "wiring", "chance"),
        ("severities", "blow_by", "causes", "seal", "weeping"),
        ("severities", "blow_by", "causes", "clamp", "loose"),
        ("severities", "delivery", "causes", "wiring", "intermittent"),
        ("severities", "pressure_loss", "causes", "pressure_pipe", "leaking"),
    ],
)
def test_what_was_renewed_or_disturbed_is_counted_as_well(knowledge: Knowledge, table: tuple[str, ...]) -> None:
    """d - p n is the slope: the seal that was renewed and the wiring that was disturbed stood where the fault was."""
    case = resealed(knowledge, (*FIRST, SEEN), (Answer("rough_idle", None, PRESENT), Answer("fumes", None, ABSENT)))
    index, counts = index_of(knowledge), counted(knowledge, [case])
    some = [each for each in learnables(knowledge) if each.path[:-1] == table]
    assert some
    for each in some:
        at = index[each.path]
        told = counts.true[0, at] - each.value * counts.used[0, at]
        assert told == pytest.approx(by_ratio(knowledge, [case], each.path), rel=1e-3, abs=1e-6), each.path


@pytest.mark.parametrize(("item", "place"), [("fumes", None), ("tar", 2)])
def test_a_finding_told_before_and_after_it_was_renewed_teaches_nothing_false(
    knowledge: Knowledge, item: str, place: int | None
) -> None:
    """Over all that may be told after the work, as probable as it then is, its chances have no reason to move."""
    first = (*FIRST, SEEN)
    before = counted(knowledge, [resealed(knowledge, first, ())])
    told = [resealed(knowledge, first, (Answer(item, place, answer),)) for answer in (PRESENT, ABSENT)]
    after = [counted(knowledge, [each]) for each in told]
    chances = np.exp([float(each.log_evidence[0] - before.log_evidence[0]) for each in after])
    assert chances.sum() == pytest.approx(1.0, abs=1e-9)
    index = index_of(knowledge)
    paths = [each for each in learnables(knowledge) if each.path[:3] == ("findings", item, "chance")]
    for each in paths:
        at = index[each.path]
        scores = [float(c.true[0, at] - each.value * c.used[0, at]) for c in (before, *after)]
        assert chances @ scores[1:] == pytest.approx(scores[0], abs=1e-9), each.path
    assert any(counts.used[0, index[each.path]] > 0.1 for each in paths for counts in after)


def test_a_soft_answer_before_work_is_left_out(knowledge: Knowledge) -> None:
    """What it was follows from the answer after the work as well, so it is not taken for what it was alone."""
    soft = replace(SEEN, answer=next(iter(knowledge.answers)))
    counts = counted(knowledge, [resealed(knowledge, (*FIRST, soft), (Answer("tar", 2, ABSENT),))])
    index = index_of(knowledge)
    assert not any(counts.used[0, number] for path, number in index.items() if path[:2] == ("findings", "tar"))
