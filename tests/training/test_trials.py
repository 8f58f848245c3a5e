"""Parts fitted for a trial: what reaches nothing of the complaint, what is looked at after it, what was so then."""

from __future__ import annotations

import pytest

from diag.basics import UsageError
from diag.casebook import Answer
from diag.decision import Job
from diag.knowledge_base import Knowledge
from diag.training import (
    Asked,
    Belief,
    Bench,
    Seat,
    ask,
    believe,
    choice_of,
    debrief,
    decide,
    fit,
    moment_of,
    start,
    studies,
    study_named,
)

SENSOR = Job("replace_rail_sensor", None)


def test_a_trial_of_what_reaches_nothing_of_the_complaint_costs_itself(seated: tuple[Bench, Seat]) -> None:
    """A rail sensor cannot end a chuff, so the complaint stays for certain and the best is what it was before: the
    trial costs its invoice more. The case can be looked back at."""
    bench, seat = seated
    moment = moment_of(bench, bench.start, ahead=False)
    fitted = fit(bench, seat, [SENSOR])
    trial = choice_of(bench, moment, fitted.play.events[0])
    assert trial is not None
    assert trial.value == pytest.approx(trial.cost + moment.value, abs=1.0)  # a sensor that was bad is worth little
    looked = debrief(bench, decide(bench, fitted, [Job("reseal", 2)], ""), 0)
    assert looked.steps[0].chosen.kind == "trial"
    assert looked.steps[0].regret == pytest.approx(trial.cost, rel=0.05)


def test_nothing_cannot_be_fitted(seated: tuple[Bench, Seat]) -> None:
    with pytest.raises(UsageError, match="no work"):
        fit(*seated, [])


def tar_seen(seat: Seat) -> dict[object, str]:
    """What the last look into the wells said of tar, by cylinder."""
    event = seat.play.events[-1]
    assert isinstance(event, Asked)
    return {each.place: each.answer for each in event.found if isinstance(each, Answer) and each.item == "tar"}


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_what_was_written_stays_so_until_work_reaches_it(shipped: Knowledge, seed: int) -> None:
    """Old tar lies at cylinder 1, as the study says. New mounts do not take it away, whatever the vehicle that was
    drawn would show; to look again had contradicted the first look, and nothing more could be asked. A cylinder that
    was opened is as the vehicle has it."""
    name = "tar_on_the_quiet_cylinder"
    practice, hidden = study_named(shipped, name, studies()[name], seed)
    bench = Bench.of(shipped, practice)
    seat = ask(bench, start(practice, hidden), "look_into_wells", "A")
    first = tar_seen(seat)
    seat = ask(bench, fit(bench, seat, [Job("replace_mounts", None)]), "look_into_wells", "A")
    assert tar_seen(seat) == first
    seat = ask(bench, fit(bench, seat, [Job("reseal", 3)]), "look_into_wells", "A")
    assert {place: said for place, said in tar_seen(seat).items() if place != 3} == {
        1: "present",
        2: "absent",
        4: "absent",
    }
    looked = debrief(bench, decide(bench, seat, [Job("reseal", 1)], ""), 0)
    assert len(looked.steps) == 6


def test_what_was_said_is_scored_by_the_vehicle_of_that_time(seated: tuple[Bench, Seat]) -> None:
    """Seal 2 blew until it was renewed; that it was renewed once more later makes it no worse in between."""
    bench, seat = seated
    said = [Belief("seal", 2, 0.1)]
    seat = believe(bench, seat, said)
    seat = believe(bench, fit(bench, seat, [Job("reseal", 2)]), said)
    assert seat.hidden.world.states["seal", 2] == 0
    seat = believe(bench, fit(bench, seat, [Job("reseal", 2)]), said)
    assert seat.hidden.world.since["seal", 2] == 2
    looked = debrief(bench, decide(bench, seat, [], ""), 0)
    assert [each.true for each in looked.beliefs] == [True, False, False]


def test_the_best_check_is_told_on_the_vehicle_of_that_time(seated: tuple[Bench, Seat]) -> None:
    """What it would have told before seal 2 was renewed, and after."""
    bench, seat = seated
    seat = fit(bench, fit(bench, seat, [SENSOR]), [Job("reseal", 2)])
    looked = debrief(bench, decide(bench, seat, [], ""), 0)
    before, between = looked.steps[0], looked.steps[1]
    assert before.best.check == between.best.check == "listen_cold_and_loaded"
    assert before.would_tell == between.would_tell
    assert any(isinstance(each, Answer) and each.answer == "present" for each in between.would_tell)
