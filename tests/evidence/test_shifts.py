"""Corrections that sum to zero, and returns under one pressure: the shift is integrated out as exactly as it is said.

The references are a closed form (normal values given their sum, derived below), and integrals by scipy over the shift.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
import pytest
from scipy import integrate, stats

from diag.casebook import Measured
from diag.evidence import (
    Frame,
    Spread,
    Taken,
    draw_together,
    frame_of,
    frames_before,
    reading_likelihood,
    reading_outcomes,
    shift_grid,
    shifted_likelihood,
    together,
    unshifted_spreads,
)
from diag.knowledge_base import Engine, Limit, Reading, Shift
from tests.evidence.examples import reading

JUDGED = {"source": "elicited"}
NORMAL = {"even": ("normal", 0.0, 0.8, 4.0), "over": ("normal", -3.5, 1.3, 4.0), "under": ("normal", 4.0, 1.5, 4.0)}
STUDENT = {
    "even": ("student t", 0.0, 0.8, 5.0), "over": ("student t", -3.5, 1.3, 6.0), "under": ("student t", 4.0, 1.5, 6.0),
}  # fmt: skip
RETURNS = {"sound": ("log-normal", 16.0, 0.45, 4.0), "excess": ("log-normal", 70.0, 0.5, 4.0)}
ERROR = 0.15
FINE = (64,)  # nodes, where the model and not the grid is looked at
COUNTS = (5, 6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40)
Spreads = dict[str, tuple[str, float, float, float]]


def engine(cylinders: int, **limits: tuple[float, str]) -> Engine:
    """An invented engine of so many cylinders in line, firing in the order of their numbers."""
    numbers = tuple(range(1, cylinders + 1))
    return Engine(
        name="an invented engine", invented=True, layout="inline", injector="solenoid", banks={"A": numbers},
        firing_order=numbers, access_minutes={},
        limits={name: Limit(value=value, unit=unit) for name, (value, unit) in limits.items()},
    )  # fmt: skip


def shifting(spread: Spreads, kind: str = "sum zero", width: float = 0.0, **more: object) -> Reading:
    """A reading with a shift."""
    item = reading(spread, ERROR if kind == "sum zero" else 1.0, "mg/stroke" if kind == "sum zero" else "mL/min")
    shift = {"kind": kind, "width": width, "basis": JUDGED, "neighbour": more.pop("neighbour", 0.0)}
    return item.model_copy(update={"shift": Shift.model_validate(shift), **more})


def told(values: Mapping[int, float | tuple[str, float]], unit: str = "mg/stroke") -> dict[int, list[Measured]]:
    """Readings by cylinder; a bound is ('above', value)."""
    found = {}
    for cylinder, value in values.items():
        side, number = value if isinstance(value, tuple) else ("", value)
        found[cylinder] = [Measured("x", cylinder, number, unit, side)]  # type: ignore[arg-type]
    return found


def levels_by_grid(
    item: Reading,
    of: Engine,
    measured: Mapping[int, Sequence[Measured]],
    prior: np.ndarray,
    counts: Sequence[int] = COUNTS,
) -> np.ndarray:
    """`[level of cylinder 1, of cylinder 2, ...]`: joint chances by the grid, all cylinders with one prior."""
    levels = list(item.spread)
    seen = together(item, of, measured)
    grid = shift_grid(item, of, levels, seen, dict.fromkeys(of.cylinders, prior), counts)
    assert grid.error <= 1e-4
    laws = unshifted_spreads(item, of, levels)
    joint = np.exp(grid.log_weights - grid.log_weights.max())
    readings = seen.all_readings()
    for cylinder in of.cylinders:
        mine = np.tile(prior, (len(grid.nodes), 1))
        if cylinder in readings:
            frames = [frame_of(item.shift, float(node)) for node in grid.nodes]  # type: ignore[arg-type]
            framed = [[(one, frame) for one in readings[cylinder]] for frame in frames]
            logs = shifted_likelihood(laws, framed)
            mine = mine * np.exp(logs - logs.max())
        joint = joint[..., None] * mine.reshape(len(mine), *([1] * (joint.ndim - 1)), mine.shape[1])
    result = joint.sum(axis=0)
    return np.asarray(result / result.sum())


PRIOR = np.array([0.9, 0.04, 0.06])


@pytest.mark.parametrize("values", [(3.4, -1.0, -1.3, -1.1), (0.2, -0.3, 0.2, -0.1), (6.0, -5.0, -0.4, -0.6)])
def test_normal_corrections_are_normal_given_their_sum(values: tuple[float, ...]) -> None:
    """Closed form: u normal with means m and variances v; the corrections are y = u - mean(u) plus the instrument.

    n - 1 contrasts of y against the last one are free of the shift, and jointly normal: means m_k - m_n, covariance
    diag(v_k) + v_n (derived here from the law of linear forms of normal values). Chances of all 81 joint levels agree.
    """
    item, of = shifting(NORMAL), engine(4)
    found = levels_by_grid(item, of, told(dict(enumerate(values, start=1))), PRIOR, FINE)
    usual = levels_by_grid(item, of, told(dict(enumerate(values, start=1))), PRIOR)
    laws = list(NORMAL.values())
    contrasts = np.array(values[:-1]) - values[-1]
    expected = np.zeros((3,) * 4)
    for levels in itertools.product(range(3), repeat=4):
        means = np.array([laws[level][1] for level in levels])
        variances = np.array([laws[level][2] ** 2 + ERROR**2 for level in levels])
        law = stats.multivariate_normal(means[:-1] - means[-1], np.diag(variances[:-1]) + variances[-1])
        expected[levels] = law.pdf(contrasts) * np.prod(PRIOR[list(levels)])
    np.testing.assert_allclose(found, expected / expected.sum(), atol=1e-7)
    np.testing.assert_allclose(usual, expected / expected.sum(), atol=1e-3)


@cache
def noisy_tables(level: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Density, and chance to be above, of true value plus error on a grid, for a level of `STUDENT`."""
    grid = np.linspace(-40, 40, 8001)
    _, middle, width, freedom = list(STUDENT.values())[level]
    fine = np.linspace(-8 * ERROR, 8 * ERROR, 81)
    weight = stats.norm.pdf(fine, 0, ERROR) / stats.norm.pdf(fine, 0, ERROR).sum()
    law = stats.t(freedom, middle, width)
    return grid, {"": law.pdf(grid[:, None] - fine) @ weight, "above": law.sf(grid[:, None] - fine) @ weight}


def by_scipy(measured: Mapping[int, float | tuple[str, float]], prior: np.ndarray) -> np.ndarray:
    """Joint chances of the levels by an adaptive integral over the shift; true value plus error by its own integral."""
    levels = range(3)

    def integrand(shift: np.ndarray, joint: tuple[int, ...]) -> np.ndarray:
        result = np.ones_like(shift)
        for level, value in zip(joint, measured.values(), strict=True):
            side, number = value if isinstance(value, tuple) else ("", value)
            grid, tables = noisy_tables(level)
            result = result * np.interp(number + shift, grid, tables[side])
        return result

    shifts = np.linspace(-30, 30, 12_001)
    found = np.zeros((3,) * len(measured))
    for joint in itertools.product(levels, repeat=len(measured)):
        found[joint] = integrate.simpson(integrand(shifts, joint), x=shifts) * np.prod(prior[list(joint)])
    return found / found.sum()


@pytest.mark.parametrize(
    "values",
    [
        {1: 3.4, 2: -1.6, 3: -1.8},
        {1: 0.1, 2: -0.3, 3: 0.2},
        {1: ("above", 4.0), 2: -2.1, 3: -2.0},
        {1: 2.0, 2: 1.9, 3: -3.9},
    ],
    ids=["one bad", "all even", "saturated", "one over"],
)
def test_student_corrections_agree_with_an_integral_over_the_shift(
    values: dict[int, float | tuple[str, float]],
) -> None:
    """All 27 joint levels of three cylinders against scipy on 12,001 places of the shift."""
    found = levels_by_grid(shifting(STUDENT), engine(3), told(values), PRIOR, FINE)
    np.testing.assert_allclose(found, by_scipy(values, PRIOR), atol=2e-5)


def test_a_cylinder_not_shown_follows_from_the_sum() -> None:
    """Three of four that sum to -5.1 leave 5.1 to the fourth, with the error of three instruments."""
    item, of = shifting(STUDENT), engine(4)
    seen = together(item, of, told({1: -1.6, 2: -1.8, 4: -1.7}))
    assert seen.implied[3].value == pytest.approx(5.1)
    assert seen.implied[3].error == pytest.approx(ERROR * math.sqrt(3))
    found = levels_by_grid(item, of, told({1: -1.6, 2: -1.8, 4: -1.7}), PRIOR)
    full = levels_by_grid(item, of, told({1: -1.6, 2: -1.8, 3: 5.1, 4: -1.7}), PRIOR)
    np.testing.assert_allclose(found.sum(axis=(0, 1, 3)), full.sum(axis=(0, 1, 3)), atol=0.01)


def test_only_differences_count() -> None:
    """The same number added to every correction changes no chance."""
    item, of = shifting(STUDENT), engine(3)
    first = levels_by_grid(item, of, told({1: 3.4, 2: -1.6, 3: -1.8}), PRIOR)
    second = levels_by_grid(item, of, told({1: 4.0, 2: -1.0, 3: -1.2}), PRIOR)
    np.testing.assert_allclose(first, second, atol=1e-4)


def test_corrections_that_do_not_sum_to_zero_are_said_to_be_so() -> None:
    """Wrong signs, wrong moments: named, with the sum."""
    item, of = shifting(STUDENT), engine(3)
    assert "sum to 9" in together(item, of, told({1: 3.0, 2: 3.1, 3: 2.9})).note
    assert not together(item, of, told({1: 3.0, 2: -1.6, 3: -1.5})).note


def test_the_instruments_error_by_24_nodes_is_exact() -> None:
    """The quick form for a fine instrument against the general integral over the true value."""
    laws = [Spread("student t", 0.0, 0.8, 5.0), Spread("normal", 2.0, 0.6), Spread("student t", -1.0, 1.3, 3.0)]
    one, two = Taken(1.7, "", 0.2), Taken(1.7, "", 0.2000001)
    frames = [Frame(1.0, off) for off in (-6.0, -0.3, 0.0, 2.2, 9.0)]
    quick = shifted_likelihood(laws, [[(one, frame)] for frame in frames])
    item = reading(
        {"a": ("student t", 0.0, 0.8, 5.0), "b": ("normal", 2.0, 0.6, 4.0), "c": ("student t", -1, 1.3, 3)}, 0.2
    )
    for row, frame in zip(quick, frames, strict=True):
        slow = reading_likelihood(item, engine(2), [Measured("x", 1, 1.7 + frame.offset, "bar")], ["a", "b", "c"])
        np.testing.assert_allclose(row, slow.log_likelihood, atol=1e-9)
    assert two.error != one.error


def test_returns_keep_their_limit_and_are_read_against_each_other() -> None:
    """Against an integral by scipy over the common factor; one reading alone says what it said without it."""
    item, of = shifting(RETURNS, "common factor", 0.3), engine(3)
    values, prior = {1: 55.0, 2: 21.0, 3: 24.0}, np.array([0.9, 0.1])
    found = levels_by_grid(item, of, told(values, "mL/min"), prior)
    expected = np.zeros((2, 2, 2))
    for joint in itertools.product(range(2), repeat=3):

        def integrand(s: float, joint: tuple[int, ...] = joint) -> float:
            result = stats.norm.pdf(s, 0, 0.3)
            for level, value in zip(joint, values.values(), strict=True):
                _, middle, width, _ = list(RETURNS.values())[level]
                own = math.sqrt(width**2 - 0.3**2)
                x = value + np.linspace(-7, 7, 141)
                law = stats.lognorm(own, scale=middle * math.exp(s))
                result *= float(np.sum(law.pdf(x) * stats.norm.pdf(x, value, 1.0)) * 0.1)
            return float(result)

        expected[joint] = integrate.quad(integrand, -2.0, 2.0, epsabs=1e-16, epsrel=1e-8)[0] * np.prod(
            prior[list(joint)]
        )
    np.testing.assert_allclose(found, expected / expected.sum(), atol=2e-4)
    alone = levels_by_grid(item, of, told({2: 55.0}, "mL/min"), prior).sum(axis=(0, 2))
    plain = reading_likelihood(item, of, [Measured("x", 2, 55.0, "mL/min")], ["sound", "excess"]).scaled * prior
    np.testing.assert_allclose(alone, plain / plain.sum(), atol=1e-3)


def test_the_next_in_firing_order_counts_for_less() -> None:
    """A bad cylinder 2 widens what 3 shows and nothing else."""
    seen = together(shifting(STUDENT, neighbour=0.1), engine(4), told({1: -1.5, 2: 5.0, 3: -1.7, 4: -1.8}))
    errors = {cylinder: readings[0].error for cylinder, readings in seen.shown.items()}
    assert errors[3] == pytest.approx(math.hypot(ERROR, 0.1 * 6.6))
    assert max(errors[1], errors[2], errors[4]) < 0.2


def test_what_stands_at_the_controllers_end_is_a_bound() -> None:
    """Authority 8: 8.0 may be anything beyond; 7.9 is a reading. The engine's own sign is turned first."""
    item = shifting(STUDENT, saturates="end", decimals=1)
    of = engine(4, end=(8.0, "mg/stroke"))
    seen = together(item, of, told({1: 8.0, 2: -2.5, 3: -8.0, 4: 7.9}))
    assert [seen.shown[c][0].censored for c in (1, 2, 3, 4)] == ["above", "", "below", ""]
    turned = of.model_copy(update={"opposite_sign": ("x",)})
    seen = together(item, turned, told({1: 8.0, 2: -2.5}))
    assert seen.shown[1][0].censored == "below" and seen.shown[2][0].value == 2.5


def test_wrong_conditions_widen_and_do_not_shrink() -> None:
    """A hundred readings of a cold engine say no more than its widening lets them."""
    adjust = [{"under": "cold", "widens": 2.0, "factor": 0.5, "basis": JUDGED}]
    item = Reading.model_validate({**dict(reading(NORMAL, 0.5)), "adjust": adjust})
    cold = [Measured("x", None, 3.0, "bar", "", "cold")] * 100
    levels = list(NORMAL)
    found = reading_likelihood(item, engine(2), cold, levels).log_likelihood
    expected = [
        stats.norm.logpdf(3.0 / 0.5, middle, math.hypot(width, 2.0, 1.0 / math.sqrt(100)))
        for _, middle, width, _ in NORMAL.values()
    ]
    np.testing.assert_allclose(found, expected, rtol=1e-10)


def test_drawn_corrections_come_back() -> None:
    """120 engines drawn and read: as many unsound levels as the chances said; every draw sums to zero."""
    item, of, random = shifting(STUDENT), engine(4), np.random.default_rng(8)
    drawn = np.array([random.choice(3, size=4, p=PRIOR) for _ in range(120)])
    values = draw_together(item, of, list(item.spread), drawn, random)
    assert np.abs(values.sum(axis=1)).max() < 5 * ERROR * 2
    chances, hits = [], []
    for levels, shown in zip(drawn, values, strict=True):
        found = levels_by_grid(item, of, told(dict(enumerate(shown.tolist(), start=1))), PRIOR)
        for axis in range(4):
            chances.append(1.0 - found.sum(axis=tuple(other for other in range(4) if other != axis))[0])
            hits.append(levels[axis] != 0)
    expected, spread = float(np.sum(chances)), float(np.sqrt(np.sum(np.array(chances) * (1 - np.array(chances)))))
    assert abs(np.sum(hits) - expected) < 4 * spread


def test_the_first_correction_is_predicted_with_the_shift() -> None:
    """Outcomes of one correction before any was read, within 6 % of 1,500 draws with the other cylinders as usual."""
    item, of, random = shifting(STUDENT, decimals=2), engine(4), np.random.default_rng(4)
    levels = list(item.spread)
    outcomes = reading_outcomes(item, of, levels, framed=frames_before(item, of, levels))
    ordinary = [0.94, 0.03, 0.03]
    for level in range(3):
        drawn = np.array([[level, *random.choice(3, size=3, p=ordinary)] for _ in range(1500)])
        shown = draw_together(item, of, levels, drawn, random)[:, 0]
        below = np.array([(shown < edge).mean() for edge in outcomes.edges])
        np.testing.assert_allclose(np.cumsum(outcomes.likelihood[:, level])[:-1], below, atol=0.06)
