"""Hidden vehicles: as frequent as the model says, under conditions exactly as they must be, and the same after work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.basics import UsageError
from diag.casebook import Answer, Epoch
from diag.decision import Job
from diag.knowledge_base import load_knowledge
from diag.laboratory import starts_of
from diag.network import build, component_states, foreseen, severity_chances, weigh
from diag.training import Bench, HiddenTruth, Practice, ask, draw_world, fit, start
from diag.training.worlds import SURELY, answer
from tests.training.showing import small_workshop, world_for

DRAWS = 400


def near(share: float, chance: float, draws: int) -> bool:
    """Within four and a half standard errors."""
    return abs(share - chance) < 4.5 * np.sqrt(max(chance * (1 - chance), 1e-4) / draws)


def test_vehicles_come_as_often_as_the_model_says() -> None:
    """After the complaint, states and levels are as frequent as their exact posteriors."""
    bench = small_workshop(0).bench
    levels = [bench.levels(world_for(bench, seed).world) for seed in range(DRAWS)]
    weighed = weigh(bench.knowledge, bench.start)
    for key, chances in component_states(weighed.network, weighed.posterior).items():
        for state, chance in enumerate(chances):
            assert near(float(np.mean([each[key] == state for each in levels])), float(chance), DRAWS), key
    for line in severity_chances(weighed.network, weighed.posterior):
        names = list(bench.knowledge.severities[line.severity].levels)
        share = float(np.mean([names[each[line.severity, line.place]] == line.level for each in levels]))
        assert near(share, line.probability, DRAWS), line


def test_what_shows_under_another_condition_is_what_the_model_expects() -> None:
    """One luck may be behind a finding under all conditions, that of the complaint too."""
    known = load_knowledge()
    told = (Answer("rough_idle", None, "present", "cold"), Answer("chuff", 2, "present", "cold"))
    start_case = replace(starts_of(known, "ostrel_3")[0], epochs=(Epoch((), told),))
    bench = Bench(known, start_case)
    network = build(known, start_case)
    worlds = [draw_world(bench.bare(), {}, told, seed) for seed in range(DRAWS)]
    for item, place, under in (("rough_idle", None, "warm"), ("chuff", 2, "load")):
        said = [
            answer(known, start_case.engine, world, bench.levels(world), (item, place, under), SURELY)
            for world in worlds
        ]
        share = float(np.mean([isinstance(each, Answer) and each.answer == "present" for each in said]))
        (expected,) = (one.chance for one in foreseen(network, item, place, under) if one.outcome == "present")
        assert near(share, expected, DRAWS), item


def test_what_must_be_at_fault_bears_on_what_it_shares_with_others() -> None:
    """A seal that must be bad makes harsh stress as likely as among vehicles drawn without a wish that have it bad."""
    bench = small_workshop(0).bench
    told = bench.start.epochs[0].answers
    free = [draw_world(bench.bare(), {}, told, seed).states for seed in range(2 * DRAWS)]
    having = [each for each in free if each["seal", 1] != 0]
    forced = [draw_world(bench.bare(), {("seal", 1): (1, 2)}, told, seed).states for seed in range(DRAWS)]
    assert all(each["seal", 1] != 0 for each in forced)
    for key in (("stress", None), ("seal", 2), ("pump", None)):
        one = float(np.mean([each[key] != 0 for each in having]))
        two = float(np.mean([each[key] != 0 for each in forced]))
        error = np.sqrt(one * (1 - one) / len(having) + two * (1 - two) / len(forced))
        assert abs(one - two) < 4.5 * error, key


def test_the_same_seed_gives_the_same_vehicle_and_another_seed_another() -> None:
    bench = small_workshop(0).bench
    told = bench.start.epochs[0].answers
    assert draw_world(bench.bare(), {}, told, 2**100) == draw_world(bench.bare(), {}, told, 2**100)
    assert draw_world(bench.bare(), {}, told, 2**100).noise != draw_world(bench.bare(), {}, told, 2**100 + 1).noise


def test_faults_that_cannot_be_are_refused() -> None:
    bench = small_workshop(0).bench
    with pytest.raises(UsageError, match="this engine has no 'seal' there"):
        draw_world(bench.bare(), {("seal", 9): (1,)}, (), 1)


def test_work_on_something_else_leaves_every_answer_as_it_was() -> None:
    """On a shipped engine: after new wiring on cylinder 4 everything else that is looked at says the same again."""
    known = load_knowledge()
    bench = Bench(known, starts_of(known, "ostrel_4", ["rough_idle"])[1])
    world = draw_world(bench.bare(), {("seal", 2): (2,)}, bench.start.epochs[0].answers, 11)
    seat = start(Practice("x", "", bench.start, "made"), HiddenTruth((), world, world))
    after = fit(bench, seat, [Job("mend_wiring", 4)]).hidden.world
    before, now = bench.levels(world), bench.levels(after)
    assert {key for key in before if before[key] != now[key]} <= {("wiring", 4)}
    asked = [("chuff", 2, "cold"), ("tar", 2, None), ("rough_idle", None, None), ("white_smoke", None, None)]
    asked += [("correction", cylinder, None) for cylinder in (1, 2, 3, 4)]
    for question in asked:
        same = [
            answer(known, bench.start.engine, w, levels, question, SURELY)
            for w, levels in ((world, before), (after, now))
        ]
        assert same[0] == same[1], question


def test_work_on_the_fault_cures_as_often_as_a_new_part_is_good() -> None:
    """A new seal is unsound as often as the knowledge says of fresh ones (2 % in the small workshop)."""
    bench = small_workshop(0).bench
    bad = 0
    for seed in range(DRAWS):
        world = draw_world(bench.bare(), {("seal", 1): (2,)}, bench.start.epochs[0].answers, seed)
        seat = start(Practice("x", "", bench.start, "made"), HiddenTruth((), world, world))
        bad += fit(bench, seat, [Job("reseal", 1)]).hidden.world.states["seal", 1] != 0
    assert near(bad / DRAWS, 0.02, DRAWS)


def test_a_look_that_could_not_tell_may_be_repeated_and_tells_nothing() -> None:
    """Where every look leaves it open, the answer is 'not sure', it is paid for, and the check is still offered."""
    bench = small_workshop(0).bench
    hidden = world_for(bench, 3)
    blind = HiddenTruth((), *(replace(each, unsure=1.0) for each in (hidden.first, hidden.world)))
    seat = ask(bench, start(Practice("x", "", bench.start, "made"), blind), "listen", 1)
    seat = ask(bench, seat, "listen", 1)
    assert [each.answer for each in seat.play.case_at().epochs[0].answers if isinstance(each, Answer)][-1] == "not_sure"
    assert seat.play.paid == pytest.approx(2 * 3.0)
    told = weigh(bench.knowledge, seat.play.case_at()).posterior
    plain = weigh(bench.knowledge, bench.start).posterior
    assert np.allclose(told.configurations, plain.configurations)
