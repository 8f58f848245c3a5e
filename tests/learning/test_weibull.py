"""Weibull lives with censoring against published fits, SurPyval and scipy."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import scipy.stats

from diag.basics import UsageError
from diag.learning import LifePrior, Lives, fit_weibull
from tests.support.effort import LONG

NIST = (np.array([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10, float), np.repeat([1.0, 0.0], 10))
FAN_FAILED = [450, 1150, 1150, 1600, 2070, 2070, 2080, 3100, 3450, 4600, 6100, 8750]
FAN_ALIVE = [460, 1560, 1660, *[1850] * 5, *[2030] * 3, 2200, *[3000] * 4, 3200, *[3750] * 2, *[4150] * 4]
FAN_ALIVE += [*[4300] * 4, *[4850] * 4, *[5000] * 3, *[6100] * 3, 6300, *[6450] * 2, 6700, 7450, *[7800] * 2]
FAN_ALIVE += [*[8100] * 2, 8200, *[8500] * 3, *[8750] * 2, 9400, 9900, *[10100] * 3, 11500]
FANS = (np.array(FAN_FAILED + FAN_ALIVE, float), np.repeat([1.0, 0.0], [len(FAN_FAILED), len(FAN_ALIVE)]))


@pytest.mark.parametrize(
    ("data", "shape", "scale"),
    [
        pytest.param(NIST, 1.7208, 606.5280, id="NIST/SEMATECH e-Handbook 8.4.1.3"),
        pytest.param(FANS, 1.05845, 26296.8, id="diesel engine fans, Nelson (1982, p. 318)"),
    ],
)
def test_published_fits(data: tuple[np.ndarray, np.ndarray], shape: float, scale: float) -> None:
    fit = fit_weibull(Lives(*data))
    assert fit.shape == pytest.approx(shape, rel=3e-5)
    assert fit.scale == pytest.approx(scale, rel=3e-5)
    assert fit.failures == data[1].sum()
    assert fit.shape_interval[0] < fit.shape < fit.shape_interval[1]
    assert fit.scale_interval[0] < fit.scale < fit.scale_interval[1]


def test_what_the_nist_fit_foretells() -> None:
    """The chance of failing within the next 100 h at 500 h, from the published fit: 0.232274."""
    fit = fit_weibull(Lives(*NIST))
    chance = 1 - np.exp((500 / fit.scale) ** fit.shape - (600 / fit.scale) ** fit.shape)
    assert chance == pytest.approx(0.232274, abs=2e-5)


@pytest.mark.parametrize("seed", range(4))
def test_censored_lives_agree_with_surpyval_and_scipy(seed: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # SurPyval's own, about its dependencies
        import surpyval

    random = np.random.default_rng(seed)
    life = 3000 * random.weibull(0.8 + seed, 60)
    end = random.uniform(500, 5000, 60)
    times, failed = np.minimum(life, end), (life <= end).astype(float)
    fit = fit_weibull(Lives(times, failed))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        scale, shape = surpyval.Weibull.fit(times, c=1 - failed).params
    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-4)
    data = scipy.stats.CensoredData(uncensored=times[failed > 0], right=times[failed == 0])
    shape, _, scale = scipy.stats.weibull_min.fit(data, floc=0)
    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-3)


def test_weights_are_repetitions() -> None:
    times, failed = NIST
    weighted = Lives(np.append(times[:10], 500.0), np.append(failed[:10], 0.0), None, np.append(np.ones(10), 10.0))
    assert fit_weibull(weighted).scale == pytest.approx(fit_weibull(Lives(*NIST)).scale, rel=1e-8)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """90 % profile intervals of a life of shape 2.5, half of it censored; within the binomial error of the runs."""
    random, runs = np.random.default_rng(1), 400 if LONG else 60
    inside = np.zeros(2)
    for _ in range(runs):
        life, end = 100 * random.weibull(2.5, 60), random.uniform(40, 150, 60)
        fit = fit_weibull(Lives(np.minimum(life, end), (life <= end).astype(float)))
        inside += [
            fit.shape_interval[0] <= 2.5 <= fit.shape_interval[1],
            fit.scale_interval[0] <= 100 <= fit.scale_interval[1],
        ]
    error = 3 * np.sqrt(0.9 * 0.1 / runs)
    assert np.all(np.abs(inside / runs - 0.9) <= error)


def test_seals_that_are_all_alive_lengthen_the_life_that_was_judged() -> None:
    """Without a single failure the prior alone would stay; ten seals alive past its scale speak for a longer one."""
    prior = LifePrior(2.5, 300_000, 5)
    fit = fit_weibull(Lives(np.full(10, 350_000.0), np.zeros(10)), prior)
    assert fit.scale > 300_000
    assert fit_weibull(Lives(np.zeros(0), np.zeros(0)), prior).scale == pytest.approx(300_000, rel=1e-6)


def test_too_little_to_tell_is_refused() -> None:
    with pytest.raises(UsageError, match="two different times"):
        fit_weibull(Lives(np.array([10.0, 20.0]), np.array([1.0, 0.0])))
    with pytest.raises(UsageError, match="no time at all"):
        fit_weibull(Lives(np.array([0.0, 20.0]), np.array([1.0, 1.0])))
