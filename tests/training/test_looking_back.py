"""The page that looks back: its lines say one thing, and name the step that they mean."""

from __future__ import annotations

import pytest

from diag.decision import Job
from diag.knowledge_base import Knowledge
from diag.report import Items, debrief_blocks, debrief_sheet
from diag.training import Belief, Bench, Seat, ask, believe, debrief, decide, moment_of, start, studies, study_named


def begun(shipped: Knowledge, name: str) -> tuple[Bench, Seat]:
    practice, hidden = study_named(shipped, name, studies()[name], 5)
    return Bench.of(shipped, practice), start(practice, hidden)


def test_what_was_said_is_named_after_the_step_that_it_came_after(shipped: Knowledge) -> None:
    """Said before anything, after the first step (twice), and after the second: the steps as they are counted above."""
    bench, seat = begun(shipped, "smell_under_the_bonnet")
    said = [Belief("seal", 2, 0.5)]
    seat = ask(bench, believe(bench, seat, said), "look_into_wells", "A")
    other = [Belief("clamp", 2, 0.2)]
    seat = ask(bench, believe(bench, believe(bench, seat, said), other), "read_injector_codes", None)
    ended = decide(bench, believe(bench, seat, said), [Job("reseal", 2)], "")
    sheet = debrief_sheet(shipped, ended, debrief(bench, ended, 0), "", 0)
    assert [each.after for each in sheet.beliefs] == [0, 1, 1, 2]
    assert [each.number for each in sheet.steps] == [1, 2, 3]


def test_what_put_off_a_check_that_safety_asks_for_is_not_called_the_best(shipped: Knowledge) -> None:
    """With a knock that may be a stuck injector the oil is looked at first; to read codes before that costs nothing."""
    bench, seat = begun(shipped, "knocks_and_smokes_grey")
    ended = decide(bench, ask(bench, seat, "read_injector_codes", None), [Job("refer", None)], "")
    sheet = debrief_sheet(shipped, ended, debrief(bench, ended, 0), "", 0)
    assert sheet.steps[0].put_off
    assert sheet.steps[0].regret < 0.5
    lines = next(each.items for each in debrief_blocks(sheet) if isinstance(each, Items) and "Step 1" in each.label)
    assert any("left for later" in line for line in lines)
    assert not any("was the best choice" in line for line in lines)
    assert any("Best then: " in line and "oil" in line for line in lines)


def test_to_let_it_stand_is_looked_back_at_without_danger_too(shipped: Knowledge) -> None:
    """Nobody advises it there. It costs what 'nothing now' does, less the damage that driving on does."""
    bench, seat = begun(shipped, "smell_under_the_bonnet")
    stands, left = (debrief(bench, decide(bench, seat, jobs, ""), 2) for jobs in ([Job("stop_driving", None)], []))
    nothing = next(each for each in moment_of(bench, bench.start).decision.options if not each.jobs)
    assert stands.steps[0].chosen.value == pytest.approx(left.steps[0].chosen.value - nothing.breakdown.damage)
    assert stands.steps[0].regret > 0
