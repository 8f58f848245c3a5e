"""Outcomes of a reading not yet taken: exact chances, nothing lost and nothing invented."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from diag.evidence import reading_likelihood, reading_outcomes
from diag.evidence.outcomes import _medians, _shared_out
from tests.evidence.examples import engine, read, reading

SPREAD = {
    "even": ("student t", 0.0, 0.9, 5.0),
    "over": ("normal", -4.0, 1.5, 4.0),
    "under": ("student t", 4.5, 1.6, 6.0),
    "none": ("log-normal", 6.0, 0.5, 4.0),
}
LEVELS = list(SPREAD)


@settings(max_examples=30, deadline=None)
@given(st.sampled_from([0.01, 0.4, 8.0]), st.integers(1, 15), st.lists(st.floats(-8, 9), max_size=2))
def test_outcomes_are_all_there_is(error: float, count: int, before: list[float]) -> None:
    """For every level the chances of the outcomes are not negative and sum to one, with or without readings before."""
    earlier = [read(value) for value in before]
    found = reading_outcomes(reading(SPREAD, error), engine(), LEVELS, count, earlier)
    assert len(found.values) == len(found.edges) + 1 == len(found.likelihood) <= count
    assert np.all(found.likelihood >= 0)
    np.testing.assert_allclose(found.likelihood.sum(axis=0), 1.0, atol=1e-12)
    assert np.all(np.diff(found.edges) > 0)
    assert np.all(np.diff(found.values) >= 0)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.001, 1), min_size=4, max_size=4))
def test_the_expected_posterior_is_the_prior(weights: list[float]) -> None:
    """Averaged over the outcomes, belief stays where it was."""
    prior = np.array(weights) / sum(weights)
    found = reading_outcomes(reading(SPREAD, 0.4), engine(), LEVELS)
    chances = found.chances(prior)
    posterior = found.likelihood * prior / chances[:, None]
    np.testing.assert_allclose(chances @ posterior, prior, rtol=1e-12)


@pytest.mark.parametrize("error", [0.05, 0.5, 5.0])
@pytest.mark.parametrize("level", LEVELS)
def test_chances_agree_with_scipy(error: float, level: str) -> None:
    """The chance to be below an edge is that of true value plus instrument's error (scipy.integrate)."""
    shape, middle, width, freedom = SPREAD[level]
    law = {
        "normal": stats.norm(middle, width),
        "student t": stats.t(freedom, middle, width),
        "log-normal": stats.lognorm(width, scale=middle),
    }[shape]
    found = reading_outcomes(reading(SPREAD, error), engine(), LEVELS, 5)
    below = np.cumsum(found.likelihood[:, LEVELS.index(level)])[:-1]
    for edge, chance in zip(found.edges, below, strict=True):
        pieces = np.linspace(-9, 9, 19)
        reference = sum(
            integrate.quad(lambda z, c=edge: stats.norm.pdf(z) * law.cdf(c - error * z), low, high, epsabs=1e-13)[0]
            for low, high in itertools.pairwise(pieces)
        )
        assert chance == pytest.approx(reference, abs=1e-10)


def test_earlier_readings_leave_only_the_instrument() -> None:
    """After one reading the next is expected near it: the spread between engines is already known."""
    item = reading(SPREAD, 0.4)
    fresh = reading_outcomes(item, engine(), LEVELS, 12)
    again = reading_outcomes(item, engine(), LEVELS, 12, [read(4.0)])
    near = [np.abs(outcomes.values - 4.0) < 2.0 for outcomes in (fresh, again)]
    assert np.all(again.likelihood[near[1]].sum(axis=0) > fresh.likelihood[near[0]].sum(axis=0))
    for k in range(1, len(again.edges)):
        low, high = again.edges[k - 1], again.edges[k]
        joint = [read(4.0), read(low, "above")], [read(4.0), read(high, "above")]
        sure = reading_likelihood(item, engine(), [read(4.0)], LEVELS).log_likelihood
        above = [np.exp(reading_likelihood(item, engine(), both, LEVELS).log_likelihood - sure) for both in joint]
        np.testing.assert_allclose(again.likelihood[k], above[0] - above[1], atol=1e-11)


def test_a_reading_without_effect_has_one_outcome() -> None:
    """Where the limit is the maker's and not given, nothing can come of taking it."""
    item = reading(SPREAD, 0.4, relative_to="start")
    found = reading_outcomes(item, engine(), LEVELS)
    assert found.likelihood.tolist() == [[1.0] * 4]


def test_outcomes_are_the_same_every_time() -> None:
    """They are worked out, not drawn; typical values are shown with the reading's figures, within what is plausible."""
    item = reading(SPREAD, 0.4, decimals=1)
    first, second = (reading_outcomes(item, engine(), LEVELS) for _ in range(2))
    assert np.array_equal(first.likelihood, second.likelihood)
    assert np.array_equal(first.values, np.round(first.values, 1))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(-20, 20).map(lambda each: each / 4), min_size=2, max_size=60), st.integers(1, 12))
def test_bins_and_their_middles_are_as_numpy_has_them(drawn: list[float], count: int) -> None:
    """Shares as `numpy.quantile` cuts them, and of each bin `numpy.median`, where it holds anything."""
    pooled = np.sort(drawn)
    shares = np.linspace(0.0, 1.0, count + 1)[1:-1]
    cuts = _shared_out(pooled, shares)
    np.testing.assert_allclose(cuts, np.quantile(pooled, shares), rtol=1e-14, atol=1e-14)
    edges = np.unique(cuts)
    place = np.searchsorted(edges, pooled)
    for number, middle in enumerate(_medians(pooled, edges)):
        inside = pooled[place == number]
        assert middle == (np.median(inside) if len(inside) else edges[max(number - 1, 0)])
