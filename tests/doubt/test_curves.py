"""Curves from few evaluations, against functions that are known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diag.doubt import Sample, trace


def _rational(value: float) -> Sample:
    """Two ratios over one polynomial of degree 4: x^4 + 2, and 3x^3 - x + 2.1, both over 1 + x^2."""
    weight = 1.0 + value**2
    return Sample(np.array([value**4 + 2.0, 3.0 * value**3 - value + 2.1]) / weight, weight)


def test_a_ratio_of_polynomials_is_found_exactly() -> None:
    curve = trace(_rational, 0.0, 3.0)
    assert len(curve.pieces) == 1
    for value in np.linspace(0.0, 3.0, 301):
        assert curve.at(value) == pytest.approx(_rational(value).costs, rel=1e-9)


def test_all_points_where_two_functions_meet_are_found() -> None:
    curve = trace(_rational, 0.0, 3.0)
    expected = [r.real for r in np.roots([1.0, -3.0, 0.0, 1.0, -0.1]) if abs(r.imag) < 1e-12 and 0.0 <= r.real <= 3.0]
    assert sorted(curve.meets(0, 1)) == pytest.approx(sorted(expected), abs=1e-9)
    assert len(expected) == 3


def test_slopes_are_those_of_finite_differences() -> None:
    curve, step = trace(_rational, 0.0, 3.0), 1e-5
    for value in (0.3, 1.7, 2.9):
        differences = (_rational(value + step).costs - _rational(value - step).costs) / (2.0 * step)
        assert curve.slope(value) == pytest.approx(differences, rel=1e-7)


def test_a_straight_line_takes_three_evaluations() -> None:
    curve = trace(lambda value: Sample(np.array([2.0 * value + 1.0, 5.0 - value]), 1.0), 0.0, 10.0)
    assert curve.evaluations == 3
    assert curve.meets(0, 1) == pytest.approx([4.0 / 3.0])


def test_a_kink_is_closed_in_and_its_error_is_told() -> None:
    curve = trace(lambda value: Sample(np.array([abs(value - 0.3), 0.2]), 1.0), 0.0, 1.0)
    assert len(curve.pieces) > 1
    assert 0.0 < curve.error < 0.02
    assert curve.meets(0, 1) == pytest.approx([0.1, 0.5], abs=1e-9)


def test_what_is_smooth_but_no_polynomial_is_met_to_the_error_that_is_told() -> None:
    curve = trace(lambda value: Sample(np.array([math.exp(-value), 1.0]), 1.0), 0.0, 4.0)
    worst = max(abs(curve.at(value)[0] - math.exp(-value)) for value in np.linspace(0.0, 4.0, 401))
    assert worst < 1e-8


def test_over_the_logarithm_a_weibull_life_takes_few_nodes_and_its_slope_is_that_of_the_number() -> None:
    """Costs that follow a Weibull chance of failure in its scale: exact values, derivatives and the meeting point."""

    def failed(scale: float) -> float:
        return 1.0 - float(np.exp(-((150_000.0 / scale) ** 2.5)))

    def sample(scale: float) -> Sample:
        return Sample(np.array([900.0 * failed(scale), 300.0 + 0.0 * scale]), 1.0)

    curve = trace(sample, 60_000.0, 400_000.0, 1e-5, bent=True)
    assert curve.evaluations <= 33
    assert (curve.low, curve.high) == pytest.approx((60_000.0, 400_000.0))
    for scale in (61_000.0, 150_000.0, 333_000.0):
        assert curve.at(scale)[0] == pytest.approx(900.0 * failed(scale), abs=0.02)
        step = 10.0
        finite = 900.0 * (failed(scale + step) - failed(scale - step)) / (2.0 * step)
        assert curve.slope(scale)[0] == pytest.approx(finite, rel=1e-3)
    (meeting,) = curve.meets(0, 1)
    assert meeting == pytest.approx(150_000.0 / (-np.log(2.0 / 3.0)) ** 0.4, rel=1e-4)  # where a third has failed


def test_a_smooth_function_that_33_nodes_meet_is_not_cut_into_stretches() -> None:
    """By 17 nodes it is met to 1e-4 alone, but twice as many square what remains: ten stretches of it had taken 159
    evaluations."""
    evaluated = []

    def sample(value: float) -> Sample:
        evaluated.append(value)
        return Sample(np.array([1.0 / (1.0 + 3.0 * (math.log(value) / math.log(2.0) - 1.0) ** 2), 1.0]), 1.0)

    curve = trace(sample, 1.0, 4.0, 1e-5, bent=True)
    assert len(curve.pieces) == 1
    assert len(evaluated) == curve.evaluations == 33
    worst = max(abs(curve.at(value)[0] - sample(value).costs[0]) for value in np.geomspace(1.0, 4.0, 301))
    assert worst < 1e-6
