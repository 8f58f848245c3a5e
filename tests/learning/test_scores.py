"""Scores against published values and scikit-learn."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, log_loss

from diag.learning import brier, brier_two_class, drift, log_score, murphy, reliability, wilson


def test_brier_s_own_example() -> None:
    """Brier (1950), Monthly Weather Review 78:1-3: ten forecasts, rain on days 2 to 4: 0.19 over both classes."""
    forecast = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1])
    came = np.array([0, 1, 1, 1, 0, 0, 0, 0, 0, 0])
    assert brier_two_class(forecast, came) == pytest.approx(0.19, abs=1e-12)


def test_murphy_s_parts() -> None:
    """Murphy (1973), J. Appl. Meteor. 12:595-600, on five forecasts of 0.1 (1 came true), four of 0.5 (2), six of 0.8
    (5); computed by hand from its formula."""
    forecast = np.repeat([0.1, 0.5, 0.8], [5, 4, 6])
    came = np.array([1, 0, 0, 0, 0, 1, 1, 0, 0, 1, 1, 1, 1, 1, 0])
    parts = murphy(forecast, came)
    assert parts.reliability == pytest.approx(0.0037778, abs=1e-7)
    assert parts.resolution == pytest.approx(0.0733333, abs=1e-7)
    assert parts.uncertainty == pytest.approx(0.2488889, abs=1e-7)
    assert parts.total == pytest.approx(0.1793333, abs=1e-7)
    assert parts.within == pytest.approx(0.0, abs=1e-12)
    assert parts.total == pytest.approx(brier(forecast, came), abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_scores_agree_with_scikit_learn(seed: int) -> None:
    random = np.random.default_rng(seed)
    forecast = random.beta(0.5, 2.0, 400).clip(1e-6, 1 - 1e-6)
    came = (random.random(400) < forecast).astype(float)
    assert brier(forecast, came) == pytest.approx(brier_score_loss(came, forecast), abs=1e-12)
    assert log_score(forecast, came) == pytest.approx(log_loss(came, forecast), abs=1e-12)
    points = reliability(forecast, came, 10)
    true, foretold = calibration_curve(came, forecast, n_bins=10)
    assert [point.frequency for point in points] == pytest.approx(list(true))
    assert [point.forecast for point in points] == pytest.approx(list(foretold))
    assert murphy(forecast, came, 10).total == pytest.approx(brier(forecast, came), abs=1e-12)


def test_wilson_s_interval() -> None:
    """Wilson (1927); the well-known 0 of 10 at 95 %: 0 to 0.2775 (from its formula, z^2 / (n + z^2))."""
    assert wilson(0, 10, 1.959964) == pytest.approx((0.0, 0.27754), abs=1e-5)


def test_the_drift_alarm_keeps_its_stated_rate() -> None:
    """Calibrated forecasts raise it as often as stated, within the binomial error of 300 runs."""
    random = np.random.default_rng(3)
    alarms = 0
    for _ in range(300):
        forecast = random.beta(1, 3, 120)
        watched = drift(
            forecast, (random.random(120) < forecast).astype(float), runs=400, seed=int(random.integers(99))
        )
        alarms += watched.alarm is not None
        assert watched.false_alarm <= 0.05
    assert 0.02 <= alarms / 300 <= 0.09


def test_the_drift_alarm_goes_soon_after_the_numbers_stop_fitting() -> None:
    random = np.random.default_rng(4)
    forecast = np.full(400, 0.2)
    came = (random.random(400) < np.where(np.arange(400) < 200, 0.2, 0.5)).astype(float)
    alarm = drift(forecast, came).alarm
    assert alarm is not None
    assert 200 <= alarm < 260
