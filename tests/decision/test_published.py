"""Published values that concern decisions, each with its source."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import weibull_min

from diag.basics import UsageError
from diag.decision import (
    Action,
    answer_worth,
    best_order,
    best_order_with_access,
    best_replacement_time,
    call_for_help,
    expected_cost,
    failure_within,
    perfect_worth,
    replacement_rate,
    replacing_pays,
    survival,
)
from diag.decision.later import seal_table
from diag.decision.lives import Steps, visits_expected
from diag.decision.sites import Belief

# Heckerman, Breese & Rommelse, CACM 38(3):49-57 (1995); the figures are computed from its formula
FOUR = [Action(str(i + 1), p, c) for i, (p, c) in enumerate([(0.4, 5.0), (0.3, 15.0), (0.2, 1.0), (0.1, 2.0)])]


def test_oil_drilling() -> None:
    """Raiffa (1968), as in Shenoy (1992): the test is worth 12.5, perfect information 35, drilling pays 20 now."""
    prior = np.array([0.5, 0.3, 0.2])
    cost = -np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]]) * prior  # drill, do not; costs are losses
    answers = np.array([[0.1, 0.3, 0.5], [0.3, 0.4, 0.4], [0.6, 0.3, 0.1]])
    found = answer_worth(cost, prior, answers)
    assert -cost.sum(axis=1)[0] == pytest.approx(20)
    assert found.chance == pytest.approx([0.24, 0.35, 0.41])
    assert -(cost @ answers.T)[0] / found.chance == pytest.approx([87.5, 32.857, -30.488], abs=1e-3)
    assert list(found.best) == [0, 0, 1]
    assert found.worth == pytest.approx(12.5)
    assert 20 + found.worth - 10 == pytest.approx(22.5)  # best strategy: test, at its cost of 10
    assert perfect_worth(cost) == pytest.approx(35)


def test_used_car() -> None:
    """Russell & Norvig, exercise 16.17: whatever the test says the car is bought, so it is worth exactly nothing."""
    prior = np.array([0.7, 0.3])
    gain = np.array([[2000 - 1500.0, 2000 - 700 - 1500.0], [0.0, 0.0]])  # buy, do not; good, bad
    cost = -gain * prior
    answers = np.array([[0.8, 0.35], [0.2, 0.65]])
    found = answer_worth(cost, prior, answers)
    assert -cost.sum(axis=1)[0] == pytest.approx(290)
    assert found.chance[0] == pytest.approx(0.665)
    assert -(cost @ answers.T)[0] / found.chance == pytest.approx([389.47, 92.54], abs=5e-3)
    assert found.worth == 0.0
    assert found.worth - 50 == -50
    assert perfect_worth(cost) == pytest.approx(60)


def test_best_order_of_four_actions() -> None:
    """p/C order 3, 1, 4, 2 costs 10.3, the least of all 24; likeliest first 14.5; cheapest first 10.6."""
    assert [action.name for action in best_order(FOUR)] == ["3", "1", "4", "2"]
    assert expected_cost(best_order(FOUR)) == pytest.approx(10.3)
    assert min(expected_cost(order) for order in permutations(FOUR)) == pytest.approx(10.3)
    assert expected_cost(sorted(FOUR, key=lambda a: -a.p)) == pytest.approx(14.5)
    assert expected_cost(sorted(FOUR, key=lambda a: a.cost)) == pytest.approx(10.6)


@pytest.mark.parametrize(
    ("price", "tried", "cost"), [(8.0, ["3"], 7.4), (4.0, [], 4.0), (5.0, [], 5.0), (15.5, ["3", "1", "4", "2"], 10.3)]
)
def test_calling_for_help(price: float, tried: list[str], cost: float) -> None:
    """Help at 8: try 3, then call, 7.4. At 4: at once. At 5 the two tie. Above 15: never (computed, check 7)."""
    order, found = call_for_help(FOUR, price)
    assert [action.name for action in order] == tried
    assert found == pytest.approx(cost)


def test_shared_dismantling() -> None:
    """Langseth & Jensen (2003), Ottosen & Jensen (2010): A, then open and B, D costs 8.0; B first 8.3."""
    a, b, d = Action("A", 0.3, 3), Action("B", 0.5, 2, "cover"), Action("D", 0.2, 4, "cover")
    order, cost = best_order_with_access([a, b, d], {"cover": 4.0})
    assert [action.name for action in order] == ["A", "B", "D"]
    assert cost == pytest.approx(8.0)
    assert expected_cost(best_order([a, b, d]), {"cover": 4.0}) == pytest.approx(8.3)


def test_an_opening_without_a_cost_is_said() -> None:
    """An action inside something needs the cost of opening that."""
    with pytest.raises(UsageError, match="whose opening has no cost"):
        expected_cost([Action("B", 0.5, 2, "cover")])


@pytest.mark.parametrize(("holds_fixed", "replaces"), [(0.5, False), (0.3, True)])
def test_fix_or_replace(holds_fixed: float, replaces: bool) -> None:
    """Hasidi & Kalech, Appl. Sci. 11:995 (2021), rule DR1: replacing costs 450; fixing 400 or 500."""
    assert replacing_pays(400, 150, 100, 0.9, holds_fixed) is replaces


def test_replacing_in_time() -> None:
    """Barlow & Proschan (1965): shape 2.5, scale 1000 h, costs 1 and 5: at 493.047 h, 0.0034620 per h (computed)."""
    best = best_replacement_time(2.5, 1000, 1, 5)
    assert best == pytest.approx(493.047, abs=5e-4)
    assert replacement_rate(best, 2.5, 1000, 1, 5) == pytest.approx(0.0034620, abs=5e-8)
    assert all(
        replacement_rate(best * f, 2.5, 1000, 1, 5) > replacement_rate(best, 2.5, 1000, 1, 5) for f in (0.9, 1.1)
    )


@pytest.mark.parametrize(("shape", "failed"), [(1.0, 5.0), (0.8, 5.0), (2.5, 1.0)])
def test_replacing_in_time_is_no_use_without_wear(shape: float, failed: float) -> None:
    """Shape at most 1, or a failure that costs no more than planned work: never early."""
    assert best_replacement_time(shape, 1000, 1, failed) is None


def test_nist_weibull_life() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3: R(500) 0.488103; failing within 100 h more 0.232274, new 0.043969."""
    assert float(survival(500, 1.7208, 606.5280)) == pytest.approx(0.488103, abs=5e-7)
    assert failure_within(100, 1.7208, 606.5280, used=500) == pytest.approx(0.232274, abs=5e-7)
    assert failure_within(100, 1.7208, 606.5280) == pytest.approx(0.043969, abs=5e-7)


def test_diesel_fans() -> None:
    """Nelson (1982, p. 318): with shape 1.05845 and scale 26,296.8 h the fans' survival agrees with scipy's."""
    hours = np.array([450.0, 4600.0, 8750.0, 11_500.0])
    assert survival(hours, 1.05845, 26_296.8) == pytest.approx(
        weibull_min.sf(hours, 1.05845, scale=26_296.8), rel=1e-12
    )


@given(used=st.floats(0, 1e6), further=st.floats(1, 1e6), scale=st.floats(1e4, 1e6))
def test_a_constant_failure_rate_knows_no_age(used: float, further: float, scale: float) -> None:
    """With shape 1, renewing a sound part brings nothing (check 9)."""
    assert float(survival(further, 1.0, scale, used)) == pytest.approx(float(survival(further, 1.0, scale)), rel=1e-9)


def test_visits_within_a_horizon_are_counted_with_their_renewals() -> None:
    """Two steps by hand, half fail in each step, no discount: 0.5 + 0.25, and half of those renewed fail again."""
    steps = Steps(2, 6.0, 0.0)
    new = np.array([[0.5, 0.25]])
    assert visits_expected(new, new, steps) == pytest.approx([0.5 + 0.25 + 0.5 * 0.5])


def test_later_money_is_discounted_to_the_middle_of_its_step() -> None:
    """One year, one step, 10 %: a certain failure counts as 1 / 1.1 to the half year."""
    steps = Steps(1, 12.0, 0.1)
    gone = np.array([[0.0]])
    assert visits_expected(gone, gone, steps) == pytest.approx([1.1**-0.5])


# NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten units alive at 500 h
NIST_FAILED = (54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0)
# Nelson (1982, p. 318): diesel engine fans; times alive with how many
FANS_FAILED = (450.0, 1150.0, 1150.0, 1600.0, 2070.0, 2070.0, 2080.0, 3100.0, 3450.0, 4600.0, 6100.0, 8750.0)
FANS_ALIVE = (
    *((460.0, 1), (1560.0, 1), (1660.0, 1), (1850.0, 5), (2030.0, 3), (2200.0, 1), (3000.0, 4), (3200.0, 1)),
    *((3750.0, 2), (4150.0, 4), (4300.0, 4), (4850.0, 4), (5000.0, 3), (6100.0, 3), (6300.0, 1), (6450.0, 2)),
    *((6700.0, 1), (7450.0, 1), (7800.0, 2), (8100.0, 2), (8200.0, 1), (8500.0, 3), (8750.0, 2), (9400.0, 1)),
    *((9900.0, 1), (10_100.0, 3), (11_500.0, 1)),
)


@pytest.mark.parametrize(
    ("failed", "alive", "shape", "scale"),
    [
        (NIST_FAILED, ((500.0, 10),), 1.7208, 606.5280),
        (FANS_FAILED, FANS_ALIVE, 1.05845, 26_296.8),
    ],
    ids=["NIST", "diesel fans"],
)
def test_the_law_of_lives_has_the_published_estimates(
    failed: tuple[float, ...], alive: tuple[tuple[float, int], ...], shape: float, scale: float
) -> None:
    """With this room's survival and its density the likelihood of the published lives is largest at the published shape
    and scale (NIST e-Handbook 8.4.1.3; Nelson 1982, p. 318)."""
    times, kept = np.array(failed), np.array([time for time, _ in alive])
    count = np.array([number for _, number in alive])

    def loss(logs: np.ndarray) -> float:
        beta, eta = np.exp(logs)
        hazard = beta / eta * (times / eta) ** (beta - 1)
        lived = np.log(survival(times, beta, eta)).sum() + count @ np.log(survival(kept, beta, eta))
        return -float(np.log(hazard).sum() + lived)

    best = np.exp(
        minimize(loss, np.log([1.3, 5_000.0]), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11}).x
    )
    assert best[0] == pytest.approx(shape, rel=5e-5)
    assert best[1] == pytest.approx(scale, rel=5e-5)


@pytest.mark.parametrize(("beta", "both"), [(0.0, 0.00183652), (0.02, 0.00263940), (0.1, 0.00585796)])
def test_common_cause(beta: float, both: float) -> None:
    """Beta factor (Fleming 1975; IEC 61508-6 annex D): two units of 5e-6 failures an hour, 8,760 h; the share beta of
    the rate strikes both. The table of which seals are sound, with the common blow as the shared configuration, gives
    the published chance that both have failed (computed)."""
    rate, hours = 5e-6, 8_760.0
    struck = -np.expm1(-beta * rate * hours)
    alone = np.exp(-(1 - beta) * rate * hours)
    sound = np.stack([np.ones(2), np.array([alone, 0.0])])[:, None]  # as it is, and sound, in each configuration
    belief = Belief(np.array([[1 - struck, struck]]), np.array([0, 1]), (sound, sound), (), np.ones(1))
    assert seal_table(belief, (0, 1), 2)[0, :, 0].sum() == pytest.approx(both, abs=5e-9)
