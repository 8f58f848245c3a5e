"""Readings share one hidden true value; their likelihood agrees with scipy wherever the instrument stands."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from diag.casebook import Measured
from diag.evidence import hidden_value, instrument_error, reading_likelihood
from tests.evidence.examples import engine, read, reading

FREEDOM = 3.0
LAWS = [("normal", 20.0, 4.0), ("log-normal", 20.0, 0.2), ("student t", 20.0, 4.0)]


def _log_reference(law: tuple[str, float, float], error: float, measured: list[Measured]) -> float:
    """The same integral by brute force: Gauss-Legendre on 6,000 pieces where the integrand lives (scipy's laws)."""
    shape, middle, width = law

    def log_integrand(w: np.ndarray) -> np.ndarray:
        if shape == "student t":
            x = middle + width * np.sinh(w)
            total = stats.t.logpdf(np.sinh(w), FREEDOM) + np.logaddexp(w, -w) - math.log(2)
        else:
            x = middle * np.exp(width * w) if shape == "log-normal" else middle + width * w
            total = stats.norm.logpdf(w)
        for each in measured:
            z = (each.value - x) / error
            laws = {
                "": stats.norm.logpdf(z) - math.log(error),
                "above": stats.norm.logsf(z),
                "below": stats.norm.logcdf(z),
            }
            total = total + laws[each.censored]
        return total

    edges = _where_it_lives(log_integrand, _landmarks(law, error, measured))
    nodes, weights = np.polynomial.legendre.leggauss(12)
    half = 0.5 * np.diff(edges)[:, None]
    logs = log_integrand(0.5 * (edges[1:] + edges[:-1])[:, None] + half * nodes)
    return float(np.max(logs) + np.log(np.sum(half * weights * np.exp(logs - np.max(logs)))))


def _landmarks(law: tuple[str, float, float], error: float, measured: list[Measured]) -> np.ndarray:
    """Many places of w around the spread and around each reading, on all scales."""
    shape, middle, width = law
    steps = np.concatenate([-np.logspace(-3, 1.7, 60)[::-1], [0.0], np.logspace(-3, 1.7, 60)])
    x = np.concatenate([each.value + error * steps for each in measured])
    if shape == "student t":
        return np.concatenate([np.arcsinh((x - middle) / width), np.linspace(-25, 25, 201)])
    if shape == "log-normal":
        x = x[x > 0]
        return np.concatenate([np.log(x / middle) / width, np.linspace(-60, 60, 481)])
    return np.concatenate([(x - middle) / width, np.linspace(-60, 60, 481)])


def _where_it_lives(log_integrand: object, points: np.ndarray) -> np.ndarray:
    """Edges, refined until neighbours differ by less than one in the logarithm wherever that matters."""
    edges = np.unique(points)
    for _ in range(40):
        logs = log_integrand(edges)  # type: ignore[operator]
        matters = np.maximum(logs[1:], logs[:-1]) > np.max(logs) - 60
        steep = (np.abs(np.diff(logs)) > 0.5) & matters
        if not np.any(steep):
            break
        edges = np.unique(np.concatenate([edges, 0.5 * (edges[1:] + edges[:-1])[steep]]))
    return edges


CASES = {
    "one reading": [""],
    "two readings": ["", ""],
    "a full jar": ["above"],
    "a full jar twice": ["above", "above"],
    "below what shows": ["below"],
    "a reading and a bound": ["", "above"],
    "between two bounds": ["above", "below"],
}


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law[0])
@pytest.mark.parametrize("kinds", CASES.values(), ids=CASES)
def test_likelihood_agrees_with_brute_force(law: tuple[str, float, float], kinds: list[str]) -> None:
    """Instruments from ten thousand times finer to a hundred times coarser than the spread, readings near and far."""
    shape, middle, width = law
    for error, far in itertools.product([4e-4, 0.04, 1.2, 4.0, 400.0], [0.0, 5.0, 60.0, -14.0]):
        offset = {"": 0.0, "above": -0.7, "below": 0.9}
        measured = [read(middle + far + offset[kind] + 0.3 * error * k, kind) for k, kind in enumerate(kinds)]
        item = reading({"level": (shape, middle, width, FREEDOM)}, error, decimals=12)
        found = reading_likelihood(item, engine(), measured, ["level"]).log_likelihood[0]
        reference = _log_reference(law, error, measured)
        assert found == pytest.approx(reference, rel=1e-10, abs=1e-10), f"{law} error {error} far {far}"


@pytest.mark.parametrize("law", [("log-normal", 437_500.0, 2.2), ("student t", 20.0, 4.0)], ids=lambda law: law[0])
def test_an_instrument_a_billion_times_finer_than_the_spread_is_the_density_there(
    law: tuple[str, float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A circuit that is open shows millions of ohms to the second decimal: scipy's density there, in a few points."""
    shape, middle, width = law
    laws = {"log-normal": stats.lognorm(width, scale=middle), "student t": stats.t(FREEDOM, middle, width)}
    points = []
    integrals = hidden_value.log_integrals
    monkeypatch.setattr(
        hidden_value,
        "log_integrals",
        lambda integrand, pieces: integrals(lambda w, owner: points.append(w.size) or integrand(w, owner), pieces),
    )
    for value in (0.3 * middle, middle, 53.81 * middle):
        item = reading({"level": (shape, middle, width, FREEDOM)}, 1e-9 * value, decimals=12)
        found = reading_likelihood(item, engine(), [read(value)], ["level"]).log_likelihood[0]
        assert found == pytest.approx(float(laws[shape].logpdf(value)), abs=1e-9)
    assert 0 < sum(points) < 5_000


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-50, 50), st.floats(0.01, 20), st.floats(0.01, 20), st.lists(st.floats(-60, 60), min_size=1, max_size=5)
)
def test_normal_readings_are_one_joint_normal(middle: float, width: float, error: float, values: list[float]) -> None:
    """n repeats are normal together: variance error² each, and width² common to all (scipy's multivariate normal)."""
    item = reading({"level": ("normal", middle, width, 4.0)}, error)
    found = reading_likelihood(item, engine(), [read(value) for value in values], ["level"]).log_likelihood[0]
    covariance = error**2 * np.eye(len(values)) + width**2
    reference = stats.multivariate_normal.logpdf(values, np.full(len(values), middle), covariance)
    assert found == pytest.approx(reference, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law[0])
def test_repeats_shrink_the_instrument_and_never_the_spread(law: tuple[str, float, float]) -> None:
    """A thousand equal readings say no more than one perfect reading would: density of the spread at that value."""
    shape, middle, width = law
    item = reading({"there": (shape, middle, width, FREEDOM), "else": (shape, 2 * middle, width, FREEDOM)}, 1.5)
    perfect = reading({"there": (shape, middle, width, FREEDOM), "else": (shape, 2 * middle, width, FREEDOM)}, 1e-5)
    many = reading_likelihood(item, engine(), [read(26.0)] * 1000, ["there", "else"]).log_likelihood
    one = reading_likelihood(perfect, engine(), [read(26.0)], ["there", "else"]).log_likelihood
    assert many[0] - many[1] == pytest.approx(one[0] - one[1], abs=0.02)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law[0])
def test_order_of_readings_does_not_matter(law: tuple[str, float, float]) -> None:
    """Readings and bounds in any order give the same likelihood."""
    item = reading({"level": (*law, FREEDOM)}, 2.0)
    measured = [read(19.0), read(23.0), read(18.0, "above"), read(21.5)]
    results = [
        reading_likelihood(item, engine(), list(order), ["level"]).log_likelihood[0]
        for order in itertools.permutations(measured)
    ]
    np.testing.assert_allclose(results, results[0], rtol=1e-12)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law[0])
def test_bounds_on_both_sides_are_everything(law: tuple[str, float, float]) -> None:
    """P(below 24) + P(above 24) is one."""
    item = reading({"level": (*law, FREEDOM)}, 2.0)
    sides = [
        reading_likelihood(item, engine(), [read(24.0, side)], ["level"]).log_likelihood[0]
        for side in ("above", "below")
    ]
    assert math.fsum(map(math.exp, sides)) == pytest.approx(1.0, abs=1e-12)


def test_a_spread_without_width_is_the_instrument_alone() -> None:
    """With width 0 every law is the instrument's normal about the middle."""
    spread = {shape: (shape, 20.0, 0.0, 4.0) for shape in ("normal", "log-normal", "student t")}
    found = reading_likelihood(reading(spread, 2.0), engine(), [read(23.0), read(25.0, "below")], list(spread))
    expected = stats.norm.logpdf(23, 20, 2) + stats.norm.logcdf(25, 20, 2)
    np.testing.assert_allclose(found.log_likelihood, expected, rtol=1e-12)


def test_likelihood_is_scaled_and_keeps_its_factor() -> None:
    """The greatest is 1, in the order of the levels that was asked for; far readings keep finite logarithms."""
    item = reading({"normal": ("normal", 300, 20, 4), "slow": ("normal", 150, 30, 4)}, 5.0)
    found = reading_likelihood(item, engine(), [read(-9000.0)], ["slow", "normal"])
    assert found.levels == ("slow", "normal")
    assert np.all(np.isfinite(found.log_likelihood))
    assert found.scaled.max() == 1.0
    np.testing.assert_allclose(np.log(found.scaled[0]) + found.log_factor, found.log_likelihood[0], rtol=1e-12)


def test_a_spread_in_multiples_of_a_limit_is_that_of_the_engine() -> None:
    """1.4 limits of 20 MPa are a mean of 280 bar; a log-normal keeps the width of its logarithm."""
    relative = reading({"a": ("normal", 1.4, 0.2, 4), "b": ("log-normal", 1.4, 0.2, 4)}, 6.0, relative_to="start")
    plain = reading({"a": ("normal", 280, 40, 4), "b": ("log-normal", 280, 0.2, 4)}, 6.0)
    readings = [read(250.0), read(230.0)]
    found = reading_likelihood(relative, engine(start=(20.0, "MPa")), readings, ["a", "b"])
    expected = reading_likelihood(plain, engine(), readings, ["a", "b"])
    np.testing.assert_allclose(found.log_likelihood, expected.log_likelihood, rtol=1e-12)


@pytest.mark.parametrize("limits", [{}, {"start": (None, "bar")}], ids=["not given", "only the maker knows"])
def test_a_limit_that_only_the_maker_knows_takes_the_effect_away(limits: dict[str, tuple[float | None, str]]) -> None:
    """The likelihood is one everywhere, and a note says why."""
    item = reading({"a": ("normal", 1.4, 0.2, 4), "b": ("normal", 0.7, 0.2, 4)}, 6.0, relative_to="start")
    found = reading_likelihood(item, engine(**limits), [read(90.0)], ["a", "b"])
    assert found.scaled.tolist() == [1.0, 1.0]
    assert "has no effect" in found.note
    assert "maker's value ____" in found.note


def test_an_instrument_is_no_finer_than_its_last_figure() -> None:
    """Rounding to steps of h gives a standard deviation of h over the root of 12 (the uniform law)."""
    assert instrument_error(reading({"a": ("normal", 1, 1, 4)}, 0.0, decimals=0)) == pytest.approx(1 / math.sqrt(12))
    assert instrument_error(reading({"a": ("normal", 1, 1, 4)}, 0.5, decimals=0)) == 0.5
