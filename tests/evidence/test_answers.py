"""Answers over versions: one uniform noise decides in all of them, so what was seen before is not news."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from diag.casebook import Answer
from diag.evidence import answer_pattern, answer_ratio, common_number

PRESENT, ABSENT = math.inf, 0.0

chances = st.lists(st.sampled_from([0.0, 0.03, 0.2, 0.45, 0.45, 0.88, 1.0]), min_size=2, max_size=4).map(np.array)


def arrays_of(levels: int) -> st.SearchStrategy[np.ndarray]:
    return st.lists(st.sampled_from([0.0, 0.03, 0.2, 0.45, 0.88, 1.0]), min_size=levels, max_size=levels).map(np.array)


ratios = st.sampled_from([PRESENT, ABSENT, 0.25, 1.0, 2.5, 30.0, None])


def _by_brute_force(chance_by_version: list[np.ndarray], answers: list[tuple[int, float | None]]) -> np.ndarray:
    """The same integral with u on a fine grid of midpoints, for chances that are multiples of 1 / 100."""
    grid = (np.arange(100) + 0.5) / 100
    result = np.zeros([len(chance) for chance in chance_by_version])
    for levels in np.ndindex(result.shape):
        for u in grid:
            weight = 1.0
            for version, ratio in dict.fromkeys(answers):
                there = u < chance_by_version[version][levels[version]]
                if ratio is None:
                    continue
                if math.isinf(ratio):
                    weight *= float(there)
                else:
                    weight *= (ratio if there else 1.0) / max(ratio, 1.0)
            result[levels] += weight / len(grid)
    return result


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_pattern_is_the_integral_over_the_common_noise(data: st.DataObject) -> None:
    """Any answers on one to three versions agree with brute force over u."""
    versions = data.draw(st.lists(chances, min_size=1, max_size=3))
    answers = data.draw(st.lists(st.tuples(st.integers(0, len(versions) - 1), ratios), max_size=5))
    pattern = answer_pattern(versions, answers)
    assert pattern.shape == tuple(len(chance) for chance in versions)
    assert np.all(pattern >= 0)
    assert np.all(pattern <= 1 + 1e-15)
    np.testing.assert_allclose(pattern, _by_brute_force(versions, answers), atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_several_looks_at_one_version_share_its_level(data: st.DataObject) -> None:
    """Looks under different conditions at versions of one thing: where two looks are at one version, the pattern is
    the diagonal of that of two versions."""
    levels = data.draw(st.integers(2, 3))
    same = arrays_of(levels)
    looks = data.draw(st.lists(same, min_size=2, max_size=4))
    answers = data.draw(st.lists(st.tuples(st.integers(0, len(looks) - 1), ratios), max_size=6))
    axes = [0, *data.draw(st.lists(st.integers(0, 1), min_size=len(looks) - 1, max_size=len(looks) - 1))]
    apart = _by_brute_force(looks, answers)
    pattern = answer_pattern(looks, answers, axes)
    assert pattern.shape == (levels,) * (1 + max(axes))
    for at in np.ndindex(*pattern.shape):
        assert pattern[at] == pytest.approx(apart[tuple(at[axis] for axis in axes)], abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_a_number_drawn_for_all_conditions_is_that_of_vehicles_that_show_what_was_told(data: st.DataObject) -> None:
    """Against vehicles drawn one by one and kept where they show it."""
    lasting = data.draw(st.floats(0.05, 0.95))
    told = data.draw(st.lists(st.tuples(st.floats(0.1, 0.9), st.booleans()), max_size=3))
    random = np.random.default_rng(data.draw(st.integers(0, 1000)))
    draws = 40_000
    common, own = random.random(draws), random.random((draws, max(len(told), 1)))
    lasts = random.random(draws) < lasting
    kept = np.ones(draws, dtype=bool)
    for look, (chance, there) in enumerate(told):
        kept &= (np.where(lasts, common, own[:, look]) < chance) == there
    assume(kept.sum() > 1500)
    drawn = [common_number(lasting, told, tuple(pair)) for pair in random.random((4000, 2))]
    numbers = np.array([each for each in drawn if each is not None])
    expected = float(np.mean(lasts[kept]))
    error = np.sqrt(expected * (1 - expected) * (1 / kept.sum() + 1 / len(drawn))) + 1e-9
    assert abs(len(numbers) / len(drawn) - expected) < 5 * error
    if (lasts & kept).sum() > 200 and len(numbers) > 200:
        one, two = common[lasts & kept], numbers
        assert abs(one.mean() - two.mean()) < 5 * np.sqrt(one.var() / len(one) + two.var() / len(two)) + 1e-9


def test_a_number_for_what_no_vehicle_shows_is_refused() -> None:
    with pytest.raises(ValueError, match="no vehicle"):
        common_number(1.0, [(0.2, True), (0.5, False)], (0.5, 0.5))


@settings(max_examples=60, deadline=None)
@given(chances, chances, st.permutations([PRESENT, ABSENT, 2.5]), st.integers(0, 1))
def test_order_and_repetition_of_answers_do_not_matter(
    first: np.ndarray, second: np.ndarray, told: list[float], version: int
) -> None:
    """The same answers in any order, told once or twice, give the same pattern."""
    answers = [(version, told[0]), (1 - version, told[1]), (version, told[2])]
    once = answer_pattern([first, second], answers)
    np.testing.assert_allclose(answer_pattern([first, second], answers[::-1]), once, atol=1e-15)
    assert np.array_equal(answer_pattern([first, second], [*answers, *answers]), once)


def test_an_unchanged_symptom_seen_again_tells_nothing() -> None:
    """Where the level stayed the same, 'present' again has likelihood one beyond the first."""
    chance = np.array([0.03, 0.45, 0.88])
    again = answer_pattern([chance, chance], [(0, PRESENT), (1, PRESENT)])
    np.testing.assert_allclose(np.diag(again), chance, atol=1e-15)


def test_gone_without_a_change_is_impossible() -> None:
    """Present, then absent, needs a lower chance afterwards; max(0, min present - max absent)."""
    before = np.array([0.1, 0.8])
    pattern = answer_pattern([before, before], [(0, PRESENT), (1, ABSENT)])
    np.testing.assert_allclose(pattern, [[0.0, 0.0], [0.7, 0.0]], atol=1e-15)


def test_no_answer_weighs_nothing() -> None:
    """Without answers, and with 'not sure' alone, every combination of levels has likelihood one."""
    chance = np.array([0.2, 0.9])
    for answers in ([], [(0, None), (1, None)], [(0, 1.0)]):
        np.testing.assert_allclose(answer_pattern([chance, chance], answers), 1.0, atol=1e-15)


@pytest.mark.parametrize(
    ("word", "ratio"),
    [("present", math.inf), ("absent", 0.0), ("not_sure", None), ("not_looked", None), ("a_bit", 2.5), ("odd", None)],
)
def test_ratio_of_an_answer(word: str, ratio: float | None) -> None:
    """Hard answers are certain, soft ones have the knowledge's ratio, and the rest tell nothing."""
    knowledge = SimpleNamespace(answers={"a_bit": SimpleNamespace(ratio=SimpleNamespace(value=2.5))})
    assert answer_ratio(word, knowledge) == ratio  # type: ignore[arg-type]  # a stand-in for the whole knowledge
    assert answer_ratio(Answer("tar", 2, word), knowledge) == ratio  # type: ignore[arg-type]
