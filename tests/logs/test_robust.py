"""The robust mean and its error: against tables, other programs, and simulated noise of known memory."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from diag.logs import Series, block_middles, estimate, student_975
from tests.logs.simulated import correlated
from tests.support.effort import LONG, effort

BEND = 1.345


def series_of(values: np.ndarray, per_block: int = 20) -> Series:
    series = Series()
    blocks = (np.arange(len(values)) // per_block).astype(np.int64)
    series.add(block_middles(values, blocks, BEND, 0.5))
    return series


@pytest.mark.parametrize("freedom", [3, 4, 5, 7, 10, 20, 60, 1000])
def test_students_quantile_is_that_of_scipy(freedom: int) -> None:
    assert student_975(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=3e-3)


def test_students_quantile_is_that_of_the_tables() -> None:
    """Any table of Student's t: 2.228 with 10 degrees of freedom, 2.776 with 4 (three decimals)."""
    assert student_975(10) == pytest.approx(2.228, abs=6e-4)
    assert student_975(4) == pytest.approx(2.776, abs=1e-3)


def test_the_location_is_that_of_statsmodels() -> None:
    """With the same bend and the same fixed scale, Huber's location is the robust regression on a constant."""
    from statsmodels.robust.norms import HuberT, estimate_location

    values = np.random.default_rng(3).standard_t(2, 400) * 0.7 + 1.3
    series = Series()
    series.add(block_middles(values, np.arange(len(values)), BEND, 0.0))  # a block for each value: its own middle
    scale = 1.4826 * np.median(np.abs(values - np.median(values)))
    reference = float(np.squeeze(estimate_location(values, scale, HuberT(t=BEND), maxiter=200, tol=1e-12)))
    found = estimate(series, BEND)
    assert found is not None
    assert found.mean == pytest.approx(reference, abs=1e-7)


def test_glitches_in_one_row_of_twenty_hardly_move_the_mean() -> None:
    rng = np.random.default_rng(8)
    clean = rng.normal(2.0, 0.2, 3000)
    dirty = clean.copy()
    dirty[rng.random(3000) < 0.05] = 14.0
    before, after = estimate(series_of(clean), BEND), estimate(series_of(dirty), BEND)
    assert before is not None
    assert after is not None
    assert after.mean == pytest.approx(before.mean, abs=0.03)
    assert abs(float(np.mean(dirty)) - 2.0) > 0.5  # while the plain mean is far off


@pytest.mark.parametrize(
    ("seconds", "memory_s", "glitches"),
    [(60, 0.5, 0.0), (60, 3.0, 0.0), (180, 3.0, 0.02), (180, 10.0, 0.0), (600, 5.0, 0.05)],
)
def test_the_truth_lies_within_the_stated_error_as_often_as_stated(
    seconds: int, memory_s: float, glitches: float
) -> None:
    """Noise of known memory: the true mean within 1.96 errors in about 95 of 100 logs, and the error is not idle."""
    tries = 2000 if LONG else 300
    rng = np.random.default_rng(20260101)
    hits, errors, means = 0, [], []
    for _ in range(tries):
        values = 0.3 * correlated(rng, seconds * 10, 0.1, memory_s)
        if glitches:
            hit = rng.random(len(values)) < glitches
            values[hit] = rng.choice([-14.0, 14.0], int(hit.sum()))
        found = estimate(series_of(values), BEND)
        assert found is not None
        hits += abs(found.mean) <= 1.96 * found.error
        errors.append(found.error)
        means.append(found.mean)
    assert 0.91 <= hits / tries <= 0.99
    assert np.median(errors) < 2.5 * np.std(means)


def test_slow_noise_is_worth_few_rows() -> None:
    """An autoregression of correlation r is worth n (1 - r) / (1 + r) independent rows (textbook)."""
    rng = np.random.default_rng(5)
    keep = float(np.exp(-0.1 / 1.0))
    worth = [estimate(series_of(correlated(rng, 12_000, 0.1, 1.0)), BEND) for _ in range(20)]
    found = np.median([one.effective for one in worth if one is not None])
    truth = 12_000 * (1 - keep) / (1 + keep)
    assert 0.5 * truth < found < 1.1 * truth  # careful: the largest of several errors counts


def test_too_few_blocks_tell_no_error() -> None:
    assert estimate(series_of(np.ones(40)), BEND) is None


def test_a_logger_that_rounds_everything_away_has_the_error_of_its_step() -> None:
    """A step of h hides a uniform error of standard deviation h / sqrt(12)."""
    found = estimate(series_of(np.full(3000, 0.3)), BEND, resolution=0.1)
    assert found is not None
    assert found.error == pytest.approx(0.1 / 12**0.5)


def test_a_series_stays_small_and_keeps_its_mean() -> None:
    rng = np.random.default_rng(2)
    series, all_values = Series(), []
    for _ in range(40):
        values = rng.normal(1.0, 0.5, 5000)
        all_values.append(values)
        series.add(block_middles(values, (np.arange(5000) // 5).astype(np.int64), BEND, 0.5))
    assert len(series.middles) <= 4096
    assert series.rows == 200_000
    found = estimate(series, BEND)
    assert found is not None
    assert found.mean == pytest.approx(float(np.mean(np.concatenate(all_values))), abs=3 * found.error)


@effort(60)
@given(
    st.lists(st.integers(-(10**6), 10**6), min_size=1, max_size=200),
    st.floats(-100, 100),
    st.floats(0.01, 100),
    st.integers(1, 20),
)
def test_shifting_and_stretching_the_log_shifts_and_stretches_the_mean(
    values: list[int], shift: float, factor: float, per_block: int
) -> None:
    plain = np.array(values) / 100.0
    first = block_middles(plain, np.arange(len(plain)) // per_block, BEND, 0.5)
    other = block_middles(plain * factor + shift, np.arange(len(plain)) // per_block, BEND, 0.5)
    size = 1e-9 * factor * (1 + np.abs(plain).max()) + 1e-9
    assert np.allclose(other.middle, first.middle * factor + shift, rtol=1e-9, atol=size)
    assert np.all(first.middle >= plain.min() - 1e-6)
    assert np.all(first.middle <= plain.max() + 1e-6)
