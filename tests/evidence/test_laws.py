"""The laws of readings agree with scipy.stats, far into their tails."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from diag.evidence import Spread, cumulative, density, log_density, quantile

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


def test_no_width_is_one_value() -> None:
    """A spread of width 0 has everything at its middle; a log-normal has nothing at or below 0."""
    assert cumulative(Spread("normal", 3.0, 0.0), np.array([2.9, 3.0])).tolist() == [0.0, 1.0]
    law = Spread("log-normal", 1.0, 0.5)
    assert cumulative(law, np.array([-1.0, 0.0])).tolist() == [0.0, 0.0]
    assert np.all(log_density(law, np.array([-1.0, 0.0])) == -np.inf)
