"""Scores: against the exact optimum, never below zero, apart from luck, and in the order that people would give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diag.basics import UsageError
from diag.casebook import PRESENT, Answer
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.laboratory import RepairStep
from diag.training import (
    PLAYERS,
    Asked,
    Belief,
    BeliefScore,
    Bench,
    HiddenTruth,
    Practice,
    Seat,
    as_good,
    ask,
    believe,
    choice_of,
    debrief,
    decide,
    fit,
    moment_of,
    play_out,
    player_named,
    regret_of,
    review,
    share_as_good,
    start,
    studies,
    study_named,
)
from diag.training.classes import calibration
from tests.support.effort import LONG
from tests.training.showing import (
    SHORT,
    WORKSHOPS,
    Table,
    mean,
    played,
    shipped_bench,
    shipped_cases,
    small_table,
    small_workshop,
    summed,
    world_for,
)

CASES = 200 if LONG else 24


@pytest.fixture(scope="module")
def table() -> Table:
    return small_table(CASES, 1)


def seat_of(bench: Bench, hidden: HiddenTruth) -> Seat:
    return start(Practice("x", "", bench.start, "made"), hidden)


def test_players_who_reason_better_score_less_regret(table: Table) -> None:
    """Full look-ahead, one step, chance over cost and cheapest first (within two standard errors of each other on these
    small workshops), at random: by the score that ships, and by backward induction."""
    for values in (table.regret, table.exact):
        scores = {name: mean(table.row(values, name)) for name in PLAYERS}
        assert scores["looking ahead"][0] <= scores["one step"][0] + 1e-9
        assert scores["one step"][0] <= scores["looking ahead"][0] + 5.0
        for rule in ("chance over cost", "likeliest first", "cheapest first"):
            assert scores["one step"][0] + 50.0 < scores[rule][0]
            assert scores[rule][0] < scores["at random"][0]
        both = table.row(values, "cheapest first") - table.row(values, "chance over cost")
        assert both.mean() > -2.0 * both.std(ddof=1) / np.sqrt(len(both)) - 10.0


def test_regret_is_never_negative(table: Table) -> None:
    """Before it is held at 0: no choice that anybody made is better than the best of its moment."""
    assert table.lowest >= -1e-6
    assert table.exact.min() >= -1e-6


def test_summed_regret_is_what_the_choices_cost_on_simulated_vehicles(table: Table) -> None:
    """Total less the exact optimum less the exact regrets has mean zero for every player, within 4.5 standard errors:
    the telescoping identity, with the value of every choice by backward induction and the money by simulation."""
    for name in PLAYERS:
        off = table.row(table.total, name) - table.optimum - table.row(table.exact, name)
        middle, error = mean(off)
        assert abs(middle) < 4.5 * error, name


def test_the_score_that_ships_is_what_backward_induction_says(table: Table) -> None:
    """Two checks ahead against all that can be told: the mean regret of every player is right within 8 %, or 6 EUR."""
    for name in PLAYERS:
        scored, exact = mean(table.row(table.regret, name))[0], mean(table.row(table.exact, name))[0]
        assert abs(scored - exact) <= max(0.08 * exact, 6.0), name


def test_scored_regret_is_the_extra_cost_over_the_best_player(table: Table) -> None:
    """On the same vehicles, within 4.5 standard errors and the 8 % above."""
    first = table.row(table.total, "looking ahead")
    for name in PLAYERS[1:]:
        off = table.row(table.total, name) - first - table.row(table.regret, name)
        middle, error = mean(off)
        assert abs(middle) < 4.5 * error + 0.08 * mean(table.row(table.regret, name))[0] + 6.0, name


@pytest.mark.skipif(not LONG, reason="an hour of playing: DIAG_TESTS=long, or the module showing with --shipped")
def test_summed_regret_is_what_the_choices_cost_on_a_shipped_engine() -> None:
    """What a case comes to is what was expected at the start and the regrets, within 4.5 standard errors over the
    vehicles. A player who follows the advice comes out no dearer; a little cheaper, as the score looks two checks ahead
    and whoever asks again after each looks further."""
    found = shipped_cases(shipped_bench(load_knowledge(), "ostrel_3", "rough_idle"), SHORT, 100, 0, None)
    assert found.lowest >= -1e-6
    for name in SHORT:
        left, error = mean(found.row(found.total, name) - found.expected - found.row(found.regret, name))
        assert left < 4.5 * error, name
        gain = 0.15 * float(found.expected.mean()) if name in ("looking ahead", "one step") else 0.0
        assert left > -4.5 * error - gain, name


def test_a_score_depends_on_what_was_known_and_not_on_the_vehicle() -> None:
    """The same choices on the same answers score the same, whatever stands behind them."""
    bench = small_workshop(0).bench
    one, two = world_for(bench, 1), world_for(bench, 2)
    assert one.world.states != two.world.states
    seat = play_out(bench, Practice("x", "", bench.start, "made"), one, player_named(bench, "cheapest first"))
    other = replace(seat, hidden=two)
    for number in range(len(seat.play.events)):
        mine, theirs = review(bench, seat, number, 0), review(bench, other, number, 0)
        assert mine is not None
        assert theirs is not None
        assert (mine.regret, mine.as_good, mine.unsafe, mine.known) == (
            theirs.regret,
            theirs.as_good,
            theirs.unsafe,
            theirs.known,
        )


def test_the_same_ways_under_another_draw_of_noise_score_the_same_in_expectation() -> None:
    """Rules of thumb on two lots of vehicles with other noise: mean scores agree within 4.5 standard errors, while what
    the cases come to varies much more."""
    small = small_workshop(1)
    names = ("chance over cost", "at random")
    count = max(CASES // 2, 16)
    one, two = (played(small.bench, small.exact, names, count, seed) for seed in (71, 72))
    for name in names:
        (a, ea), (b, eb) = mean(one.row(one.regret, name)), mean(two.row(two.regret, name))
        assert abs(a - b) < 4.5 * np.hypot(ea, eb), name
        assert one.row(one.regret, name).std() < one.row(one.total, name).std()


def test_what_a_case_came_to_is_expected_regretted_or_luck() -> None:
    """The three parts add up to the money, and luck is no part of the score."""
    bench = small_workshop(2).bench
    seat = play_out(
        bench, Practice("x", "", bench.start, "made"), world_for(bench, 8), player_named(bench, "at random", 5)
    )
    found = debrief(bench, seat, 0)
    assert found.outcome.total == pytest.approx(found.expected + found.all_regret + found.luck)
    assert found.expected_total == pytest.approx(found.expected + found.all_regret)
    assert found.all_regret == pytest.approx(summed(bench, seat, None)[0])
    assert found.outcome.least <= found.outcome.total + 1e-6
    assert found.regret <= found.all_regret + 1e-9
    assert found.minutes_regret == pytest.approx(found.regret / bench.tariff.rate_per_minute)


def test_traces_are_ordered_as_a_test_of_troubleshooting_orders_them() -> None:
    """Conner, Poirier, Ulrich & Bridges (NPRDC-TN-91-12, 1991) weigh: solved first, then wrong replacements, then time,
    then illogical and needless checks. Here: the right repair after the telling check; with a needless check; with a
    wrong part; and the wrong part only."""
    bench = small_workshop(0).bench
    solver = player_named(bench, "looking ahead")

    def finished(seat: Seat) -> Seat:
        """Played on as is best."""
        while not seat.play.ended:
            case = seat.play.case_at()
            step = solver.step(bench.desk(case), case, seat.play.paid)
            done = isinstance(step, RepairStep)
            seat = decide(bench, seat, step.jobs, "") if done else ask(bench, seat, step.check, step.place)
        return seat

    for number in range(4):
        best = finished(seat_of(bench, world_for(bench, number)))
        before = replace(best, play=replace(best.play, events=best.play.events[:-1]))
        choices = moment_of(bench, before.play.case_at()).choices
        worst = max((each for each in choices if each.kind == "check"), key=lambda each: each.value)
        wrong = [
            job
            for job in (Job("replace_pump", None), Job("replace_injector", 2), Job("replace_injector", 1))
            if job not in best.play.events[-1].jobs
        ]
        traces = (
            best,
            finished(ask(bench, before, worst.check, worst.place)),
            finished(fit(bench, before, wrong[:1])),
            decide(bench, before, wrong[:1], ""),
        )
        scores = [debrief(bench, each, 0).all_regret for each in traces]
        assert scores[0] == pytest.approx(0.0, abs=1e-9)
        assert scores[0] < scores[1] < scores[2] < scores[3], number


def test_a_choice_within_the_doubt_of_the_numbers_counts_as_equally_good() -> None:
    """The best choice is as good in every draw; a much worse one in hardly any; unsafe ones never count."""
    bench = small_workshop(0).bench
    moment = moment_of(bench, bench.start)
    best = next(each for each in moment.choices if not each.unsafe)
    worst = max((each for each in moment.choices if not each.unsafe), key=lambda each: each.value)
    assert share_as_good(bench, moment, best, 4) == 1.0
    assert as_good(bench, moment, best)
    assert regret_of(moment, worst) > 100.0
    assert share_as_good(bench, moment, worst, 4) <= 0.25
    assert not as_good(bench, moment, replace(best, unsafe="it burns"))


def test_a_needless_check_costs_itself_and_no_more() -> None:
    """What only delays the best check is not blamed for what that check is still going to save."""
    bench = small_workshop(0).bench
    moment = moment_of(bench, bench.start)
    seat = ask(bench, seat_of(bench, world_for(bench, 2)), "gauge", None)
    event = seat.play.events[0]
    assert isinstance(event, Asked)
    chosen = choice_of(bench, moment, event)
    assert chosen is not None
    assert 0.0 <= regret_of(moment, chosen) <= event.expected + 1e-9


def test_needless_checks_count_however_unsure_the_worth_of_the_best_is(shipped: Knowledge) -> None:
    """A check that tells nothing is dearer by its own cost, whatever the best check after it is worth: neither the
    error of that worth, nor draws in which it is worth nothing, make the other as good."""
    practice, hidden = study_named(shipped, "no_power_uphill", studies()["no_power_uphill"], 3)
    bench = Bench.of(shipped, practice)
    seat = start(practice, hidden)
    for check in ("look_at_oil", "cold_start_watch", "relative_compression_test", "glow_test"):
        seat = ask(bench, seat, check, None)
    number = 1
    moment, event = moment_of(bench, seat.play.case_at(number)), seat.play.events[number]
    chosen = choice_of(bench, moment, event)
    assert chosen is not None and isinstance(event, Asked)
    assert regret_of(moment, chosen) <= 2 * moment.first.error, "else this could not go wrong"
    assert regret_of(moment, chosen) == pytest.approx(event.expected)
    for draws in (0, 8):
        ended = debrief(bench, decide(bench, seat, moment.decision.best.jobs, ""), draws)
        counted = [(each.scored, each.chosen.cost) for each in ended.steps if isinstance(each.event, Asked)]
        assert len(counted) == 4
        for scored, cost in counted:
            assert scored == pytest.approx(cost)


def test_a_trial_is_priced_with_what_it_tells() -> None:
    """Fitting a part and trying costs its invoice and leaves the best of what follows: never more than the same work
    as the last word with nothing looked at afterwards, but for closing up and the second finish."""
    bench = Bench(*_with_symptom())
    seat = start(Practice("x", "", bench.start, "made"), world_for(bench, 3))
    moment = moment_of(bench, bench.start)
    trial = choice_of(bench, moment, fit(bench, seat, [Job("replace_injector", 1)]).play.events[0])
    plan = choice_of(bench, moment, decide(bench, seat, [Job("replace_injector", 1)], "").play.events[0])
    assert trial is not None
    assert plan is not None
    assert trial.value <= plan.value + 1e-6
    assert trial.cost == pytest.approx(plan.cost)


def _with_symptom() -> tuple[object, object]:
    """The small workshop with its shaking told as a symptom, which is what a trial looks at again."""
    bench = small_workshop(0).bench
    findings = dict(bench.knowledge.findings)
    findings["shaking"] = findings["shaking"].model_copy(update={"kind": "symptom"})
    return bench.knowledge.model_copy(update={"findings": findings}), bench.start


def test_brier_and_murphy_on_what_trainees_said() -> None:
    """Brier (1950): 0.19 over both classes is 0.095 here; Murphy's (1973) parts of five statements of 0.1 (1 so), four
    of 0.5 (2) and six of 0.8 (5), computed from his formula: 0.0037778 - 0.0733333 + 0.2488889."""

    def scores(said: list[float], so: list[int]) -> list[BeliefScore]:
        return [BeliefScore(1, "seal", 1, p, 0.5, bool(y), 0.0, 0.0, 0.0) for p, y in zip(said, so, strict=True)]

    rain = calibration(scores([0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1], [0, 1, 1, 1, 0, 0, 0, 0, 0, 0]))
    assert rain is not None
    assert 2 * rain.brier == pytest.approx(0.19, abs=1e-12)
    said = [0.1] * 5 + [0.5] * 4 + [0.8] * 6
    found = calibration(scores(said, [1, 0, 0, 0, 0, 1, 1, 0, 0, 1, 1, 1, 1, 1, 0]))
    assert found is not None
    parts = (found.parts.reliability, found.parts.resolution, found.parts.uncertainty)
    assert parts == pytest.approx((0.0037778, 0.0733333, 0.2488889), abs=1e-7)
    assert found.lean == pytest.approx(np.mean(said) - 8 / 15)


def test_who_says_what_the_findings_give_loses_nothing_to_them() -> None:
    """`off` is the expected loss in Brier's score beyond the model's own: zero for the model's chance, and
    (said - model)^2 for any other, whatever the truth."""
    bench = small_workshop(0).bench
    seat = seat_of(bench, world_for(bench, 6))
    moment = moment_of(bench, bench.start)
    ready = bench.ready(moment.case)
    spot = ready.network.component_at("pump", None)
    assert spot is not None
    chance = 1.0 - float(ready.posterior.components[spot[0]][spot[1]][0, 0])
    for said in (chance, 0.9):
        told = decide(bench, believe(bench, seat, [Belief("pump", None, said)]), [], "")
        score = debrief(bench, told, 0).beliefs[0]
        assert score.model == pytest.approx(chance)
        assert score.off == pytest.approx((said - chance) ** 2)
        assert score.brier == pytest.approx((said - float(score.true)) ** 2)


def test_what_is_said_again_before_the_next_step_corrects_what_was_said() -> None:
    """A slip of the keyboard is not held against anybody, and one thing said often counts once; after a step it is a
    new statement."""
    bench = small_workshop(0).bench
    seat = believe(
        bench, seat_of(bench, world_for(bench, 6)), [Belief("pump", None, 0.008), Belief("injector", 1, 0.3)]
    )
    for said in (0.8, 0.7):
        seat = believe(bench, seat, [Belief("pump", None, said)])
    seat = believe(bench, ask(bench, seat, "gauge", None), [Belief("pump", None, 0.2)])
    looked = debrief(bench, decide(bench, seat, [], ""), 0)
    assert [(each.component, each.said) for each in looked.beliefs] == [("injector", 0.3), ("pump", 0.7), ("pump", 0.2)]


def test_a_running_case_has_no_debrief() -> None:
    bench = small_workshop(0).bench
    with pytest.raises(UsageError, match="has not ended"):
        debrief(bench, seat_of(bench, world_for(bench, 6)))


def test_small_workshops_differ() -> None:
    """Four workshops, four optima: what is shown on them is not shown on one twice."""
    values = {round(small_workshop(number).exact.value(), 2) for number in range(len(WORKSHOPS))}
    assert len(values) == len(WORKSHOPS)
    assert all(Answer("shaking", None, PRESENT) in small_workshop(n).bench.start.epochs[0].answers for n in range(4))
