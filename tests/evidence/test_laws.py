"""The laws of readings agree with scipy.stats, far into their tails."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from diag.evidence import Spread, cumulative, density, log_density, quantile
from diag.evidence.distributions import Share, cumulatives, even_quantiles, mixed
from diag.evidence.normal import log_normal_cumulative, normal_cumulative
from diag.evidence.student import student_cumulative
from tests.support.effort import effort

SHARES = np.array([1e-12, 1e-6, 0.01, 0.25, 0.4, 0.6, 0.9, 0.999, 1 - 1e-9])
LAWS = [
    (Spread("normal", 32.0, 2.5), stats.norm(32.0, 2.5)),
    (Spread("log-normal", 20.0, 0.45), stats.lognorm(0.45, scale=20.0)),
    (Spread("log-normal", 0.36, 2.2), stats.lognorm(2.2, scale=0.36)),
    (Spread("student t", -28.0, 22.0, 3.0), stats.t(3.0, -28.0, 22.0)),
    (Spread("student t", 0.0, 0.34, 5.0), stats.t(5.0, 0.0, 0.34)),
    (Spread("student t", 1.0, 2.0, 0.7), stats.t(0.7, 1.0, 2.0)),
    (Spread("student t", 1.0, 2.0, 80.0), stats.t(80.0, 1.0, 2.0)),
]
IDS = [f"{law.shape} {law.width:g} {law.freedom:g}" for law, _ in LAWS]


def _points(law: Spread) -> np.ndarray:
    if law.shape == "log-normal":
        return law.middle * np.exp(law.width * np.linspace(-12, 12, 49))
    return law.middle + law.width * np.concatenate([np.linspace(-30, 30, 61), [-1e5, 1e5, -1e-7, 1e-7, 0]])


@pytest.mark.parametrize(("law", "reference"), LAWS, ids=IDS)
def test_density_is_the_published_one(law: Spread, reference: stats.distributions.rv_frozen) -> None:
    """Log-densities agree to 1e-12 and the density is their exponential."""
    x = _points(law)
    np.testing.assert_allclose(log_density(law, x), reference.logpdf(x), rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(density(law, x), reference.pdf(x), rtol=1e-10)


@pytest.mark.parametrize(("law", "reference"), LAWS, ids=IDS)
def test_cumulative_is_the_published_one(law: Spread, reference: stats.distributions.rv_frozen) -> None:
    """Cumulatives agree relatively, also where they are tiny."""
    x = _points(law)
    np.testing.assert_allclose(cumulative(law, x), reference.cdf(x), rtol=2e-11, atol=1e-300)


@pytest.mark.parametrize(("law", "reference"), LAWS, ids=IDS)
def test_quantile_turns_the_cumulative_round(law: Spread, reference: stats.distributions.rv_frozen) -> None:
    """The quantile is where the cumulative is the share, and agrees with scipy."""
    np.testing.assert_allclose(cumulative(law, quantile(law, SHARES)), SHARES, rtol=1e-11)
    scale = law.width if law.shape != "log-normal" else law.middle
    np.testing.assert_allclose(quantile(law, SHARES[:-1]), reference.ppf(SHARES[:-1]), rtol=1e-9, atol=1e-9 * scale)


def test_student_with_one_degree_is_the_arctangent() -> None:
    """P(T <= 1) is 0.75 with one degree of freedom, and the tail is arctan(1/t)/pi exactly."""
    law = Spread("student t", 0.0, 1.0, 1.0)
    t = np.array([1.0, 10.0, 1e4, 1e8])
    np.testing.assert_allclose(cumulative(law, -t), np.arctan(1 / t) / np.pi, rtol=1e-14)
    assert cumulative(law, np.array([1.0]))[0] == pytest.approx(0.75, abs=1e-15)
    np.testing.assert_allclose(quantile(law, np.array([0.25, 0.5, 0.75])), [-1.0, 0.0, 1.0], atol=1e-12)


@effort(60)
@given(st.floats(0.5, 100.0), st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40))
def test_student_is_half_the_incomplete_beta_function(freedom: float, t: list[float]) -> None:
    """As scipy.special's, in the centre and in the tails; one number or many."""
    at = np.array(t)
    tail = 0.5 * special.betainc(freedom / 2, 0.5, freedom / (freedom + at * at))
    wanted = np.where(at < 0, tail, 1.0 - tail)
    near = np.abs(at) > 1e-3  # nearer the middle freedom / (freedom + t^2) has lost its digits, there scipy's own law
    wanted[~near] = stats.t(freedom).cdf(at[~near])
    np.testing.assert_allclose(student_cumulative(at, freedom), wanted, rtol=1e-11, atol=1e-13)
    assert student_cumulative(np.array(t[0]), freedom) == student_cumulative(at, freedom)[0]


@effort(60)
@given(st.lists(st.floats(-38.0, 45.0), min_size=1, max_size=40))
def test_the_normal_law_keeps_its_digits_on_both_sides(z: list[float]) -> None:
    """As scipy.special's: relatively below, and above as 1 less what is beyond; the logarithm on both sides.
    A last digit of z is z^2 of them of P(Z <= z)."""
    at = np.array(z)
    np.testing.assert_allclose(normal_cumulative(at), special.ndtr(at), rtol=5e-13, atol=1e-307)
    np.testing.assert_allclose(normal_cumulative(at), special.ndtr(at), rtol=0.0, atol=1e-15)
    np.testing.assert_allclose(log_normal_cumulative(at), special.log_ndtr(at), rtol=5e-13, atol=1e-307)
    np.testing.assert_allclose(np.exp(log_normal_cumulative(at)), normal_cumulative(at), rtol=5e-13, atol=1e-307)


def test_far_out_the_normal_law_is_nothing_or_all() -> None:
    """From 8.3 on P(Z <= z) rounds to 1, and what is no number stays none."""
    at = np.array([-np.inf, -39.0, 8.3, 40.0, np.inf, np.nan])
    np.testing.assert_array_equal(normal_cumulative(at), [0.0, 0.0, 1.0, 1.0, 1.0, np.nan])
    np.testing.assert_array_equal(log_normal_cumulative(at[[0, 4, 5]]), [-np.inf, 0.0, np.nan])
    assert log_normal_cumulative(np.array(9.0)) == pytest.approx(-stats.norm.sf(9.0), rel=1e-13)


SEVERAL = [
    *(law for law, _ in LAWS),
    Spread("student t", 3.0, 0.5, 5.0),
    Spread("normal", 3.0, 0.0),
    mixed([Share(0.7, Spread("student t", 0.0, 3.0)), Share(0.3, Spread("normal", 20.0, 5.0))]),
]


def test_several_laws_at_once_are_each_by_itself() -> None:
    x = np.linspace(-60.0, 90.0, 302).reshape(2, 151)
    for law, together in zip(SEVERAL, cumulatives(SEVERAL, x), strict=True):
        np.testing.assert_array_equal(together, cumulative(law, x))
    assert cumulatives([], x).shape == (0, 2, 151)


@pytest.mark.parametrize(("law", "reference"), LAWS, ids=IDS)
def test_even_quantiles_divide_a_law_evenly(law: Spread, reference: stats.distributions.rv_frozen) -> None:
    """The middles of equal shares, by scipy's quantiles; of a mixture its cumulative is at them."""
    shares = (np.arange(32) + 0.5) / 32
    scale = law.width if law.shape != "log-normal" else law.middle
    np.testing.assert_allclose(even_quantiles(law, 32), reference.ppf(shares), rtol=1e-10, atol=1e-10 * scale)
    np.testing.assert_array_equal(even_quantiles(law, 32), quantile(law, shares))
    np.testing.assert_allclose(cumulative(SEVERAL[-1], even_quantiles(SEVERAL[-1], 5)), np.arange(0.1, 1.0, 0.2))


def test_no_width_is_one_value() -> None:
    """A spread of width 0 has everything at its middle; a log-normal has nothing at or below 0."""
    assert cumulative(Spread("normal", 3.0, 0.0), np.array([2.9, 3.0])).tolist() == [0.0, 1.0]
    law = Spread("log-normal", 1.0, 0.5)
    assert cumulative(law, np.array([-1.0, 0.0])).tolist() == [0.0, 0.0]
    assert np.all(log_density(law, np.array([-1.0, 0.0])) == -np.inf)
