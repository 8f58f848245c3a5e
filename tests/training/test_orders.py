"""The order of players on drawn workshops, and what the order of checks alone is worth."""

from __future__ import annotations

import numpy as np
import pytest

from diag.decision import decide_repair
from diag.training import ORDERS, Asked, Decided, Practice, play_out, player_named
from tests.support.effort import LONG
from tests.training.showing import mean, world_for
from tests.training.varied import RANGES, RULES, exact_cases, varied_workshop

SURE = 2.0  # standard errors


@pytest.mark.parametrize("order", ORDERS[:2])
def test_a_player_of_one_order_does_that_rules_checks_and_ends_with_the_best_plan(order: str) -> None:
    bench = varied_workshop(1).bench
    practice, hidden = Practice("x", "", bench.start, "made"), world_for(bench, 3)
    mine = play_out(bench, practice, hidden, player_named(bench, order)).play.events
    rule = play_out(bench, practice, hidden, player_named(bench, order.partition(",")[0])).play.events
    asked = [[(each.check, each.place) for each in events if isinstance(each, Asked)] for events in (mine, rule)]
    assert asked[0] == asked[1]
    end, case = mine[-1], play_out(bench, practice, hidden, player_named(bench, order)).play.case_at(len(mine) - 1)
    assert isinstance(end, Decided)
    assert frozenset(end.jobs) == frozenset(decide_repair(bench.ready(case)).best.jobs)


def test_drawn_workshops_keep_to_their_ranges_and_differ_in_what_checks_cost() -> None:
    """Evenly on a logarithmic scale: the dearest check costs at least thrice the cheapest in most of them."""
    ratios = []
    for number in range(12):
        checks = varied_workshop(number).bench.knowledge.checks
        minutes = [check.minutes.value for check in checks.values()]
        assert RANGES["check"][0] <= min(minutes) <= max(minutes) <= RANGES["check"][1]
        ratios.append(max(minutes) / min(minutes))
    assert np.median(ratios) > 3.0


@pytest.mark.skipif(not LONG, reason="minutes of playing: DIAG_TESTS=long, or python -m tests.training.varied --exact")
def test_chance_over_cost_beats_cheapest_first_and_that_beats_chance() -> None:
    """By backward induction, workshop by workshop, each difference above two of its standard errors. With one end for
    all, chance over cost still beats cheapest first, but any order at all is as good: what costs rules of thumb most
    is to mend the likeliest fault alone, and to go on checking until they are sure."""
    found = exact_cases(range(40, 200), 4, RULES)
    rows = dict(zip(RULES, found, strict=True))
    for better, worse in (
        ("chance over cost", "cheapest first"),
        ("cheapest first", "at random"),
        (ORDERS[0], ORDERS[1]),
        (ORDERS[0], "chance over cost"),
    ):
        middle, error = mean(rows[worse] - rows[better])
        assert middle > SURE * error, (better, worse)
    middle, error = mean(rows[ORDERS[2]] - rows[ORDERS[0]])
    assert abs(middle) < 4.5 * error
