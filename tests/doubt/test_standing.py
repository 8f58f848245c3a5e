"""Draws of all numbers: repeatable, with the right limits, and the same however they are done."""

from __future__ import annotations

import gc
import math

import numpy as np
import pytest
from scipy.stats import beta

from diag.decision import Job, decide_repair, price, price_by_policy, reckon
from diag.doubt import (
    Drawn,
    Influence,
    Number,
    Work,
    break_even_along,
    draw,
    drawn_numbers,
    lead_of,
    mattering_of,
    number_at,
    number_axis,
    stand,
    standing_of,
)
from diag.knowledge_base import with_values
from diag.network import rebuilt
from tests.doubt.grounds import ground
from tests.support.effort import LONG

CASE = "one_blown_seal"
CENTS = 0.2  # money: what leaving unlikely configurations out may move
ONE, OTHER = (Work((Job("reseal", place),), f"seal {place}", "") for place in (1, 2))


def test_the_same_seed_gives_the_same_draws_in_any_number_of_processes() -> None:
    one = ground(CASE)
    alone, shared = stand(one, 6, seed=3), stand(one, 6, seed=3, workers=2)
    assert alone == shared
    assert stand(one, 6, seed=4).regret != alone.regret


def test_memory_is_searched_for_garbage_as_often_as_before_once_draws_are_done() -> None:
    before = gc.get_threshold()
    for threshold in (before, (0, *before[1:])):  # 0: whoever called wants no search at all
        gc.set_threshold(*threshold)
        try:
            stand(ground(CASE), 2, seed=5)
            assert gc.get_threshold() == threshold
        finally:
            gc.set_threshold(*before)


@pytest.mark.parametrize("name", [CASE, "injector_stuck_open", "second_seal_weeping"])
def test_a_draw_is_decided_as_the_whole_reckoning_decides_it(name: str) -> None:
    """With treatments that pay only after an answer, all named options, and all configurations: the same advice and
    total, in cases with and without danger."""
    one, random = ground(name), np.random.default_rng(7)
    for _ in range(6 if LONG else 2):
        values = draw(one.numbers, random)
        changed = with_values(one.knowledge, values)
        quick = decide_repair(one.under(values)).best
        whole = decide_repair(reckon(changed, one.case, rebuilt(one.network, changed)))
        same = next((each for each in whole.options if frozenset(each.jobs) == frozenset(quick.jobs)), None)
        assert quick.total.amount == pytest.approx(whole.best.total.amount, abs=CENTS)
        assert same is None or same.total.amount == pytest.approx(whole.best.total.amount, abs=CENTS)


@pytest.mark.parametrize("name", [CASE, "injector_stuck_open", "new_injector_not_coded", "second_seal_weeping"])
def test_draws_reckoned_together_are_those_reckoned_one_by_one(name: str) -> None:
    """The same chances, evidence, plan and total to 1e-9; a draw that cannot be done with the others is left out."""
    one = ground(name)
    drawn = [draw(one.numbers, np.random.default_rng([9, number])) for number in range(3)]
    together = one.under_each(drawn, [one.best.jobs])
    assert any(ready is not None for ready in together)
    for values, ready in zip(drawn, together, strict=True):
        if ready is None:
            continue
        alone = one.under(values, [one.best.jobs], roughly=True)
        assert ready.posterior.log_evidence == pytest.approx(alone.posterior.log_evidence, abs=1e-9)
        for mine, theirs in zip(ready.posterior.components, alone.posterior.components, strict=True):
            assert all(np.allclose(*pair, rtol=0, atol=1e-9) for pair in zip(mine, theirs, strict=True))
        best, other = decide_repair(ready).best, decide_repair(alone).best
        assert best.jobs == other.jobs
        assert best.total.amount == pytest.approx(other.total.amount, rel=1e-9)


def test_what_is_only_priced_costs_what_it_costs_beside_all_others() -> None:
    one = ground(CASE)
    values = draw(one.numbers, np.random.default_rng(8))
    works = [work.jobs for work in one.works]
    alone, among = one.under(values, works, alone=True), one.under(values, works)
    for jobs in works:
        here, there = price_by_policy(alone, jobs), price_by_policy(among, jobs)
        assert here is not None and there is not None
        assert here == pytest.approx(there, rel=1e-9)


def test_to_let_it_stand_has_a_cost_where_a_number_has_moved_out_of_danger() -> None:
    """It is no option of a case without danger; but the advice that it was is still compared there, with a number."""
    ready = ground(CASE).ready
    standing = [Job("stop_driving", None)]
    assert not ready.danger.present
    assert all(set(option.jobs) != set(standing) for option in decide_repair(ready).options)
    costs, priced = price_by_policy(ready, standing), price(ready, standing)
    assert costs is not None and priced is not None
    assert costs.min() == pytest.approx(priced.breakdown.total.amount, rel=1e-12)


def test_the_same_work_bears_one_name_whatever_it_is_called_where_numbers_are_others() -> None:
    one = ground("second_seal_weeping")
    names = {frozenset(option.jobs): option.title for option in one.decision.options}
    found = stand(one, 24, seed=1)
    along = break_even_along(one, number_axis(one, number_at(one.knowledge, ("prices", "customer", "horizon_months"))))
    won = [each.work for each in found.others] + [work for turn in along.turns for work in (turn.below, turn.above)]
    assert "all seals" in {work.title for work in won}
    for work in won:
        assert work.title == names.get(work.key, work.title)


def test_numbers_of_infinite_strength_leave_the_advice_standing_in_every_draw() -> None:
    one = ground(CASE)
    certain = [Number(n.path, n.value, n.kind, 1e14, n.judged) for n in drawn_numbers(one.network)]
    found = stand(one, 3, seed=1, numbers=certain)
    assert found.share == 1.0
    assert found.regret == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(("draws", "stands"), [(1, 1), (20, 20), (20, 0), (20, 17), (200, 200)])
def test_few_draws_that_all_agree_are_not_taken_for_certain(draws: int, stands: int) -> None:
    """As far off as the Beta law is wide that draws leave of an even start (scipy's): 24 in 100 after one draw."""
    drawn = [Drawn(ONE if number < stands else OTHER, 1.0, 1.0, 0) for number in range(draws)]
    assert standing_of(ONE, drawn, 1, 2).error == pytest.approx(beta(1 + stands, 1 + draws - stands).std())


def test_two_equal_options_stand_in_half_of_the_draws() -> None:
    """Two works whose costs are drawn alike: the share is a half within its error."""
    random = np.random.default_rng(1)
    costs = random.lognormal(6.0, 0.2, (4000, 2))
    drawn = [Drawn((ONE, OTHER)[int(row.argmin())], float(row.min()), float(row[0]), 0) for row in costs]
    found = standing_of(ONE, drawn, 1, 2)
    assert abs(found.share - 0.5) < 4.0 * found.error
    assert found.error == pytest.approx(0.5 / math.sqrt(4000), rel=1e-3)
    assert found.regret == pytest.approx(float((costs[:, 0] - costs.min(axis=1)).mean()))
    assert [each.work for each in found.others] == [OTHER]


def test_the_advice_costs_at_least_as_much_as_the_best_of_each_draw() -> None:
    found = stand(ground(CASE), 6, seed=3)
    assert found.regret >= 0.0
    assert found.share + sum(each.share for each in found.others) == pytest.approx(1.0)


def test_the_slope_of_the_lead_is_that_of_finite_differences() -> None:
    one = ground(CASE)
    for path, step in (
        (("prices", "labour_per_hour"), 0.5),
        (("severities", "blow_by", "causes", "seal", "blown", "strong"), 1e-3),
    ):
        number = number_at(one.knowledge, path)
        leads = [lead_of(one, number, number.value + side * step) for side in (-1, 1)]
        found = mattering_of(one, Influence(number, 10.0, number.value + step, leads[1], 1.0))
        assert found.slope == pytest.approx((leads[1] - leads[0]) / (2.0 * step), rel=1e-4)
