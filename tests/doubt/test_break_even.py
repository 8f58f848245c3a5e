"""Crossings and turns, against the decision made again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.basics import DiagError
from diag.casebook import demo_cases
from diag.decision import decide_repair, price, reckon
from diag.doubt import Axis, BreakEven, break_even_along, fault_axis, ground_of, number_at, number_axis
from diag.doubt.axes import range_of
from diag.knowledge_base import with_values
from diag.network import rebuilt
from tests.doubt.grounds import ground
from tests.support.effort import LONG

CASES = sorted(demo_cases()) if LONG else ["one_blown_seal"]
NUMBERS = [
    ("prices", "labour_per_hour"),
    ("prices", "customer", "return_visit"),
    ("prices", "customer", "horizon_months"),
    ("prices", "parts", "injector", "price"),
    ("components", "clamp", "chance", "loose"),
    ("components", "seal", "life", "scale"),
]
NEAR = 1e-3  # of the range, to either side of a crossing
CENTS = 0.2  # money: what leaving unlikely configurations out may move


def _along(name: str, path: tuple[int | str, ...]) -> tuple[Axis, BreakEven]:
    axis = number_axis(ground(name), number_at(ground(name).knowledge, path))
    return axis, break_even_along(ground(name), axis)


def _decided(name: str, path: tuple[int | str, ...], value: float, found: BreakEven):  # type: ignore[no-untyped-def]
    """The ordinary decision with the number at a value, on all configurations, and what prices all works."""
    one = ground(name)
    changed = with_values(one.knowledge, {path: value})
    network = rebuilt(one.network, changed)
    ready = reckon(changed, one.case, network, also=[work.jobs for work in found.works])
    return decide_repair(ready), ready


@pytest.mark.parametrize("path", NUMBERS, ids=lambda path: path[-1])
@pytest.mark.parametrize("name", CASES)
def test_the_advice_changes_where_a_turn_is_reported_and_nowhere_else(name: str, path: tuple[int | str, ...]) -> None:
    """On a grid over the range, and close to both sides of every turn, the best plan is the one reported there."""
    _, found = _along(name, path)
    near = NEAR * (found.high - found.low)
    beside = [turn.value + side * near for turn in found.turns for side in (-1, 1)]
    grid = np.linspace(found.low, found.high, 101 if LONG else 9)
    for value in [*grid, *(each for each in beside if found.low <= each <= found.high)]:
        if min((abs(turn.value - value) for turn in found.turns), default=near) < 0.5 * near:
            continue
        decision, ready = _decided(name, path, float(value), found)
        below = [turn for turn in found.turns if turn.value <= value]
        expected = below[-1].above if below else found.turns[0].below if found.turns else ground(name).best
        if frozenset(decision.best.jobs) != expected.key:
            priced = price(ready, expected.jobs)  # a tie, to within what is left out
            assert priced is not None
            assert priced.breakdown.total.amount == pytest.approx(decision.best.total.amount, abs=CENTS)


@pytest.mark.parametrize("path", NUMBERS, ids=lambda path: path[-1])
def test_two_options_cost_the_same_at_their_crossing(path: tuple[int | str, ...]) -> None:
    _, found = _along("one_blown_seal", path)
    assert found.crossings
    for crossing in found.crossings:
        _, ready = _decided("one_blown_seal", path, crossing.value, found)
        costs = [price(ready, work.jobs) for work in (crossing.below, crossing.above)]
        totals = [each.breakdown.total.amount for each in costs if each is not None]
        if len(totals) == 2:  # the other is a way out, which has no plan
            assert totals[0] == pytest.approx(totals[1], abs=CENTS)


@pytest.mark.parametrize("path", NUMBERS, ids=lambda path: path[-1])
def test_the_cheaper_one_is_named_on_each_side(path: tuple[int | str, ...]) -> None:
    axis, found = _along("one_blown_seal", path)
    for crossing in found.crossings:
        for side, cheaper, dearer in ((-1, crossing.below, crossing.above), (1, crossing.above, crossing.below)):
            value = crossing.value + side * NEAR * (found.high - found.low)
            if not found.low <= value <= found.high:
                continue
            ready = axis.evaluate(value, [work.jobs for work in found.works])
            one, other = price(ready, cheaper.jobs), price(ready, dearer.jobs)
            if one is not None and other is not None:
                assert one.breakdown.total.amount <= other.breakdown.total.amount + 1e-9


def test_money_is_linear_so_three_reckonings_are_exact() -> None:
    _, found = _along("one_blown_seal", ("prices", "customer", "return_visit"))
    assert found.curve.evaluations == 3
    assert found.error < 1e-12


def test_where_a_fault_is_supposed_certain_its_own_repair_is_best_and_where_it_is_ruled_out_another() -> None:
    one = ground("one_blown_seal")
    found = break_even_along(one, fault_axis(one, "seal", 2))
    assert found.turns
    assert ("reseal", 2) in {(job.repair, job.place) for job in found.turns[-1].above.jobs}
    assert ("reseal", 2) not in {(job.repair, job.place) for job in found.turns[0].below.jobs}


def test_at_its_present_value_a_number_gives_the_totals_of_the_decision() -> None:
    one = ground("one_blown_seal")
    for axis in (fault_axis(one, "seal", 2), number_axis(one, number_at(one.knowledge, ("prices", "labour_per_hour")))):
        best = decide_repair(axis.evaluate(axis.now, [work.jobs for work in one.works])).best
        assert best.total.amount == pytest.approx(one.decision.best.total.amount, abs=CENTS)


def test_of_the_ways_of_failing_the_others_give_way_so_that_all_come_to_one() -> None:
    """A share that is moved by itself would leave failures that are none, and could not be written down."""
    name, path = "all_returns_high", ("components", "injector", "life", "fails_as", "excess_return")
    one, (axis, found) = ground(name), _along(name, path)
    assert found.low < found.now < found.high < 1.0
    life = one.knowledge.components["injector"].life
    assert life is not None
    for value in (0.3, 0.5, 0.7):
        rest = (1.0 - value) / (1.0 - axis.now)
        shares = {state: share.value * rest for state, share in life.fails_as.items()} | {"excess_return": value}
        changed = with_values(one.knowledge, {(*path[:-1], state): share for state, share in shares.items()})
        anew = decide_repair(reckon(changed, one.case, rebuilt(one.network, changed))).best
        best = decide_repair(axis.evaluate(value, [work.jobs for work in found.works])).best
        assert best.total.amount == pytest.approx(anew.total.amount, abs=CENTS)


def test_the_present_value_lies_within_the_range_of_each_number() -> None:
    one = ground("one_blown_seal")
    for number in one.numbers:
        low, high = range_of(one, number)
        assert low <= number.value <= high, number.path
    today = replace(number_at(one.knowledge, ("prices", "customer", "horizon_months")), value=0.0)
    assert range_of(one, today)[0] == 0.0


@pytest.mark.parametrize("state", ["excess_return", "dribbling"])
def test_a_chance_of_a_new_part_is_moved_to_its_end_where_the_system_spoils_it_too(state: str) -> None:
    """A new injector in a system with debris has the larger of two chances for each fault; where they come to more than
    1 they share it."""
    name, path = "injector_stuck_open", ("components", "injector", "fresh", state)
    axis, found = _along(name, path)
    assert axis.low < axis.now < axis.high == range_of(ground(name), number_at(ground(name).knowledge, path))[1]
    assert found.high == axis.high
    axis.evaluate(axis.high, [])


def test_a_chance_is_moved_no_further_than_what_life_brings_leaves() -> None:
    """What comes by chance and what comes with age add up: on a very old vehicle they stay below 1 together, still."""
    young = ground("injector_stuck_open")
    old = ground_of(young.knowledge, replace(young.case, age_years=30.0, distance_km=900_000.0))
    number = number_at(old.knowledge, ("components", "injector", "chance", "electrical"))
    axis = number_axis(old, number)
    assert axis.low < axis.now < axis.high < range_of(old, number)[1]
    with pytest.raises(DiagError, match="more than 1"):
        axis.evaluate(axis.high + (axis.high - axis.now) / 8.0, [])
