"""Playing: what is paid, what is refused, what a trainee may see, and that nothing is changed in place."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import pytest
from msgspec import Struct

from diag.basics import UsageError
from diag.casebook import Answer
from diag.decision import Job, check_cost
from diag.knowledge_base import Knowledge, load_knowledge
from diag.report import practice_state_sheet, sheet_json
from diag.training import (
    Asked,
    Belief,
    Believed,
    Bench,
    Decided,
    Fitted,
    HiddenTruth,
    Practice,
    Seat,
    TraineeView,
    ask,
    believe,
    decide,
    fit,
    start,
    studies,
    study_named,
    view_of,
)
from tests.training.showing import small_workshop, world_for


@pytest.fixture(scope="module")
def small() -> tuple[Bench, Seat]:
    bench = small_workshop(0).bench
    return bench, start(Practice("x", "", bench.start, "made"), world_for(bench, 4))


def test_a_check_costs_what_the_decision_says_and_opens_what_it_says(seated: tuple[Bench, Seat]) -> None:
    """No risk on looking into wells: what is paid is the cost of the check, and the covers stand open after it."""
    bench, seat = seated
    after = ask(bench, seat, "look_into_wells", "A")
    event = after.play.events[-1]
    assert isinstance(event, Asked)
    cost = check_cost(bench.ready(bench.start), "look_into_wells", "A")
    assert (event.cost, event.minutes, event.opens) == (cost.total, cost.minutes, cost.opens)
    assert after.play.case_at().open_access == cost.opens
    assert seat.play.events == ()
    again = check_cost(bench.ready(after.play.case_at()), "compare_code", "A")
    assert again.opens == ()


def test_what_breaks_on_the_way_is_paid_as_often_as_the_risk_says(shipped: Knowledge) -> None:
    """A return joint breaks at 4 % of the return flow measurements (10 % by the other judgement, which the knowledge
    lays together): on average what is paid is what was expected."""
    practice, hidden = study_named(
        shipped, "cranks_long_after_the_weekend", studies()["cranks_long_after_the_weekend"], 5
    )
    bench, paid, expected, broken = Bench.of(shipped, practice), 0.0, 0.0, 0
    for seed in range(400):
        world = replace(hidden.world, seed=seed)
        event = ask(bench, start(practice, replace(hidden, world=world)), "return_flow_idle", None).play.events[-1]
        assert isinstance(event, Asked)
        paid, expected, broken = paid + event.cost, expected + event.expected, broken + len(event.broken)
    assert 4 <= broken <= 60
    assert paid == pytest.approx(expected, rel=0.05)


def test_the_same_question_gives_everybody_the_same_answer(seated: tuple[Bench, Seat]) -> None:
    bench, seat = seated
    early = ask(bench, seat, "look_into_wells", "A").play.events[-1]
    late = ask(bench, ask(bench, seat, "read_injector_codes", None), "look_into_wells", "A").play.events[-1]
    assert isinstance(early, Asked)
    assert isinstance(late, Asked)
    assert early.found == late.found


def test_after_work_the_complaint_is_looked_at_again_and_access_is_closed(seated: tuple[Bench, Seat]) -> None:
    bench, seat = seated
    after = fit(bench, ask(bench, seat, "look_into_wells", "A"), [Job("replace_filter", None)])
    event = after.play.events[-1]
    assert isinstance(event, Fitted)
    assert event.helped == "no"  # a new filter does nothing for a blown seal
    assert {each.item for each in event.found} == {"fumes", "chuff_somewhere"}
    assert after.play.case_at().open_access == ()
    assert len(after.play.case_at().epochs) == 2


def test_a_new_injector_brings_its_code(seated: tuple[Bench, Seat]) -> None:
    bench, seat = seated
    event = fit(bench, seat, [Job("replace_injector", 2), Job("reseal", 2)]).play.events[-1]
    assert isinstance(event, Fitted)
    assert event.jobs == (Job("replace_injector", 2), Job("write_code", 2))
    # opening, the work, the code (30) and the finish (20): the day for the part is money and no workshop time
    tariff = bench.tariff
    opening = sum(tariff.opening_minutes(key) for key in tariff.job_opens(Job("replace_injector", 2)))
    assert event.minutes == pytest.approx(opening + tariff.job_minutes(Job("replace_injector", 2)) + 30 + 20)


def test_what_safety_forbids_is_not_done_and_costs_nothing(shipped: Knowledge) -> None:
    """With an injector that may be stuck open no check runs the engine: it is refused, marked, and not paid."""
    name = "knocks_and_smokes_grey"
    practice, hidden = study_named(shipped, name, studies()[name], 5)
    bench = Bench.of(shipped, practice)
    after = ask(bench, start(practice, hidden), "cut_out", None)
    event = after.play.events[-1]
    assert isinstance(event, Asked)
    assert "danger" in event.refused
    assert (event.cost, event.minutes, event.found) == (0.0, 0.0, ())
    assert after.play.case_at() == bench.start


def test_what_cannot_be_done_anyway_is_not_called_unsafe(shipped: Knowledge) -> None:
    """The workshop has no way to cut an injector out, danger or not: that is said, and nothing is noted."""
    name = "knocks_and_smokes_grey"
    practice, hidden = study_named(shipped, name, studies()[name], 5)
    practice = replace(practice, start=replace(practice.start, cannot=("cut_out",)))
    with pytest.raises(UsageError, match="not possible here"):
        ask(Bench.of(shipped, practice), start(practice, hidden), "cut_out", None)


def test_what_must_be_opened_for_a_check_may_be_forbidden_too(shipped: Knowledge, tmp_path: Path) -> None:
    """In a workshop whose covers come off with the starter turning, a stuck injector forbids to look below them."""
    overlay = tmp_path / "own.yaml"
    overlay.write_text("steps:\n  covers_off: {hazards: [moving parts]}\n", encoding="utf-8")
    known, name = load_knowledge(overlays=[overlay]), "knocks_and_smokes_grey"
    for knowledge, refused in ((known, True), (shipped, False)):
        practice, hidden = study_named(knowledge, name, studies()[name], 5)
        event = ask(Bench.of(knowledge, practice), start(practice, hidden), "look_into_wells", "A").play.events[-1]
        assert isinstance(event, Asked)
        assert bool(event.refused) == refused


@pytest.mark.parametrize(
    ("check", "place", "words"),
    [
        ("look_into_well", "A", "did you mean 'look_into_wells'"),
        ("look_into_wells", 2, "bank"),
        ("listen_at_cylinder", None, "cylinder's number"),
        ("piezo_capacitance", 2, "cannot be done here"),
    ],
)
def test_a_check_that_makes_no_sense_is_refused(
    seated: tuple[Bench, Seat], check: str, place: object, words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        ask(*seated, check, place)  # type: ignore[arg-type]


def test_what_was_told_is_not_told_again(seated: tuple[Bench, Seat]) -> None:
    bench, seat = seated
    after = ask(bench, seat, "read_stored_codes", None)
    if all(each.answer != "not_sure" for each in after.play.case_at().epochs[0].answers):
        with pytest.raises(UsageError, match="nothing that is not known"):
            ask(bench, after, "read_stored_codes", None)


@pytest.mark.parametrize(
    ("belief", "words"),
    [
        (Belief("seel", 2, 0.5), "did you mean 'seal'"),
        (Belief("seal", 7, 0.5), "seal: there is no cylinder 7 in this engine; it has cylinders 1 to 4"),
        (Belief("seal", None, 0.5), "seal: it needs a cylinder's number"),
        (Belief("mounts", 2, 0.5), "mounts: it is of the whole vehicle"),
        (Belief("seal", 2, 1.5), "between 0 and 100 %"),
        (Belief("seal_stress", None, 0.5), "no fault"),
    ],
)
def test_a_belief_that_makes_no_sense_is_refused(seated: tuple[Bench, Seat], belief: Belief, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        believe(*seated, [belief])


def test_a_belief_in_what_the_only_bank_shares_needs_no_letter(seated: tuple[Bench, Seat]) -> None:
    """On the page no bank is offered where there is one alone."""
    said = believe(*seated, [Belief("bank_circuit", None, 0.4)]).play.events[-1]
    assert said == Believed((Belief("bank_circuit", "A", 0.4),))


@pytest.mark.parametrize("other", [Job("swap_injectors", 4), Job("reseal", 2), None])
def test_an_exchange_is_refused_and_led_to_its_check(seated: tuple[Bench, Seat], other: Job | None) -> None:
    """Beside the seal that it renews, too, it had been left out without a word."""
    bench, seat = seated
    jobs = [Job("swap_injectors", 2), *([other] if other is not None else [])]
    for step in (lambda: fit(bench, seat, jobs), lambda: decide(bench, seat, jobs, "")):
        with pytest.raises(UsageError, match=r"mends nothing, .* for the check 'swap_injectors' instead"):
            step()


def test_an_ended_case_goes_no_further(small: tuple[Bench, Seat]) -> None:
    bench, seat = small
    ended = decide(bench, seat, [], "we watch it")
    assert ended.play.events[-1] == Decided((), "we watch it")
    for step in (lambda: ask(bench, ended, "gauge", None), lambda: decide(bench, ended, [], "")):
        with pytest.raises(UsageError, match="has ended"):
            step()


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ([Job("refer", None), Job("reseal", 2)], "a plan of its own"),
        ([Job("refer", None), Job("stop_driving", None)], "a plan of its own"),
        ([Job("refer_cylinder", 2)], "ends no practice case"),
    ],
)
def test_a_way_out_goes_with_no_other_work(seated: tuple[Bench, Seat], plan: list[Job], words: str) -> None:
    """Such a plan was taken, and then the case could not be looked back at."""
    with pytest.raises(UsageError, match=words):
        decide(*seated, plan, "")


def hidden_words(value: object) -> set[str]:
    """Names of all records inside a value."""
    found = {type(value).__name__}
    if is_dataclass(value) or isinstance(value, Struct):
        names = value.__struct_fields__ if isinstance(value, Struct) else [field.name for field in fields(value)]
        for name in names:
            found |= hidden_words(getattr(value, name))
    elif isinstance(value, tuple | list):
        for each in value:
            found |= hidden_words(each)
    elif isinstance(value, dict):
        for key, each in value.items():
            found |= hidden_words(key) | hidden_words(each)
    return found


def test_what_a_trainee_sees_is_made_without_the_truth(seated: tuple[Bench, Seat]) -> None:
    """The view takes the play alone: another vehicle behind the same answers gives the very same view, sheet and JSON;
    and there is no record of the hidden side in it."""
    bench, seat = seated
    played = ask(bench, ask(bench, seat, "look_into_wells", "A"), "read_injector_codes", None)
    view = view_of(bench, played.play)
    other = Seat(played.play, HiddenTruth((), replace(seat.hidden.first, seed=1), replace(seat.hidden.first, seed=1)))
    assert view_of(bench, other.play) == view
    assert not hidden_words(view) & {"HiddenTruth", "World", "TruthPart", "Notes", "Seat", "Choice", "Moment"}
    assert isinstance(view, TraineeView)
    text = sheet_json(practice_state_sheet(bench.knowledge, view))
    assert "hidden" not in text
    assert "truth" not in text
    assert seat.play.practice.id not in text
    assert "grade" not in json.loads(text)
    for note in (seat.hidden.notes.learn, seat.hidden.notes.misleads, *seat.hidden.notes.ask):
        assert note not in text


def test_answers_before_any_work_are_as_they_were_written(shipped: Knowledge) -> None:
    """The study with the old tar answers as its file says, whatever the seed."""
    name = "tar_on_the_quiet_cylinder"
    for seed in (1, 2):
        practice, hidden = study_named(shipped, name, studies()[name], seed)
        event = ask(Bench.of(shipped, practice), start(practice, hidden), "look_into_wells", "A").play.events[-1]
        assert isinstance(event, Asked)
        tar = {each.place: each.answer for each in event.found if isinstance(each, Answer) and each.item == "tar"}
        assert tar == {1: "present", 2: "absent", 3: "absent", 4: "absent"}
