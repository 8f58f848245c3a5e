"""Parts fitted for a trial: what reaches nothing of the complaint, what is looked at after it, what was so then."""

from __future__ import annotations

import pytest

from diag.basics import UsageError
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.training import (
    Bench,
    Seat,
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


@pytest.fixture(scope="module")
def shipped() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def seated(shipped: Knowledge) -> tuple[Bench, Seat]:
    """The easiest study, begun: it smells of exhaust and chuffs, and seal 2 blows."""
    practice, hidden = study_named(shipped, "smell_under_the_bonnet", studies()["smell_under_the_bonnet"], 5)
    return Bench.of(shipped, practice), start(practice, hidden)


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
