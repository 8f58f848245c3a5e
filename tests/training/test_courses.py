"""A class in its folder: begun from studies, wishes, sets and closed cases; kept after every step; taken up again."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest

from diag.basics import CaseError, UsageError
from diag.decision import Job
from diag.knowledge_base import Knowledge, load_knowledge
from diag.training import (
    Bench,
    Course,
    Seat,
    Wish,
    ask,
    begin_class,
    case_named,
    class_of,
    decide,
    kept_classes,
    load_set,
    made,
    next_case,
    resume_class,
    save_set,
    sit_down,
    stepped,
    view_of,
    wish_from,
)

KEY = b"sixteen bytes or more"
NAMES = ("smell_under_the_bonnet", "ostrel_4#2", "ostrel_4#2,fault=seal,place=3", "no_power_uphill")
BEGUN = "2026-03-01T08:00:00+00:00"


@pytest.fixture(scope="module")
def known() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def cases(known: Knowledge) -> tuple[Seat, ...]:
    return tuple(case_named(known, name, KEY) for name in NAMES)


def ended(known: Knowledge, course: Course, trainee: str, number: int) -> Course:
    """A trainee who does nothing about a case."""
    course = sit_down(course, trainee, number, BEGUN)
    sat = course.sitting(trainee, number)
    assert sat is not None
    bench = Bench.of(known, course.cases[number - 1].play.practice)
    return stepped(course, sat, decide(bench, sat.journal.seat, [], "nothing"))


def test_a_case_by_its_name_is_the_one_that_its_wish_makes(known: Knowledge, cases: tuple[Seat, ...]) -> None:
    """With the same key; without a key the vehicle is another one each time."""
    wished = made(known, Wish("ostrel_4", fault="seal", place=3, faults=1), 2, KEY)
    assert (cases[2].play.practice, cases[2].hidden) == (wished.practice, wished.hidden)
    assert case_named(known, NAMES[0], KEY) == cases[0]
    assert case_named(known, NAMES[0]).hidden != case_named(known, NAMES[0]).hidden


@pytest.mark.parametrize(
    ("text", "wish", "number"),
    [
        ("ostrel_4#3", Wish("ostrel_4", faults=1), 3),
        (" velm_5 # 12 , fault = seal ", Wish("velm_5", fault="seal", faults=1), 12),
        ("velm_5#1,faults=0,complaint=rough_idle", Wish("velm_5", complaint="rough_idle"), 1),
        (
            "karrick_v6#1,fault=bank_circuit,state=loom,place=b,faults=2,history=yes,grade=4,misleading=much",
            Wish("karrick_v6", "bank_circuit", "loom", "B", 2, "", True, 4, "much"),
            1,
        ),
    ],
)
def test_a_wish_is_read_from_a_line(text: str, wish: Wish, number: int) -> None:
    assert wish_from(text) == (wish, number)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ostrel_4", "is no case made by a wish"),
        ("ostrel_4#x", "is no case made by a wish"),
        ("ostrel_4#1,seal", "says nothing of a wish"),
        ("ostrel_4#1,falt=seal", "did you mean 'fault'"),
        ("ostrel_4#1,faults=two", "is no whole number"),
        ("ostrel_4#1,history=perhaps", "neither yes nor no"),
        ("ostrel_4#1,misleading=somewhat", "little or much"),
    ],
)
def test_a_wish_that_says_nothing_is_refused(text: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        wish_from(text)


def test_a_name_that_is_no_case_is_refused(known: Knowledge, tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="no such file"):
        case_named(known, "smell_under_the_bonet")
    with pytest.raises(UsageError, match="is no case of the book"):
        case_named(known, "book:x")


def test_a_class_is_taken_up_again_as_it_was(known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path) -> None:
    """Whoever opens the folder again finds cases, seats and every step; nobody else may look into it."""
    course = begin_class(tmp_path / "class", cases, BEGUN)
    course = sit_down(course, "Ann", 1, BEGUN)
    sat = course.sitting("ann", 1)
    assert sat is not None
    bench = Bench.of(known, course.cases[0].play.practice)
    course = stepped(course, sat, ask(bench, sat.journal.seat, "look_into_wells", "A"))
    course = ended(known, course, "Ben", 2)
    again = resume_class(course.folder, known)
    assert again.cases == course.cases
    assert {s.path: (s.number, s.journal) for s in again.sittings} == {
        s.path: (s.number, s.journal) for s in course.sittings
    }
    assert (again.begun, again.trainees, again.unread) == (BEGUN, ("Ann", "Ben"), ())
    assert stat.S_IMODE(course.folder.stat().st_mode) == 0o700
    (kept,) = kept_classes(tmp_path)
    assert (kept.folder, kept.begun, kept.cases, kept.journals) == (course.folder, BEGUN, 4, 2)
    with pytest.raises(UsageError, match="a class lies in"):
        begin_class(course.folder, cases, BEGUN)


def test_a_course_goes_on_to_the_first_case_that_has_not_ended(
    known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path
) -> None:
    course = begin_class(tmp_path / "class", cases[:2], BEGUN)
    assert next_case(course, "Ann") == 1
    course = ended(known, course, "Ann", 1)
    assert (next_case(course, "Ann"), next_case(course, "Ben")) == (2, 1)
    course = ended(known, course, "Ann", 2)
    assert next_case(course, "Ann") is None
    with pytest.raises(UsageError, match="the course has 2"):
        sit_down(course, "Ann", 3, BEGUN)


def test_all_trainees_meet_the_same_vehicle_and_nobody_loses_a_seat(
    cases: tuple[Seat, ...], known: Knowledge, tmp_path: Path
) -> None:
    """Names that look alike as files stay apart; sitting down twice changes nothing."""
    course = begin_class(tmp_path / "class", cases[:2], BEGUN)
    for name in ("Ann B.", "Ann-B", "Çem", "Ann B."):
        course = sit_down(course, name, 1, BEGUN)
    course = sit_down(course, "Ann-B", 2, BEGUN)
    assert sorted(each.path.name for each in course.sittings) == [
        "ann-b-1.json", "ann-b_2-1.json", "ann-b_2-2.json", "çem-1.json",
    ]  # fmt: skip
    assert {each.journal.seat.hidden.first.seed for each in course.sittings if each.number == 1} == {
        cases[0].hidden.first.seed
    }
    with pytest.raises(UsageError, match="no name that a file can have"):
        sit_down(course, "!!", 1, BEGUN)


def test_a_set_is_kept_and_begins_another_class(known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path) -> None:
    """From a set, from a class, and from journals of a class that knew no sets; a played case comes back unplayed."""
    save_set(tmp_path / "set", cases, BEGUN)
    assert load_set(tmp_path / "set", known) == begin_class(tmp_path / "one", cases, BEGUN).cases
    course = ended(known, begin_class(tmp_path / "two", cases[:1], BEGUN), "Ann", 1)
    assert load_set(course.folder, known) == course.cases
    for path in (course.folder / "cases").iterdir():
        path.unlink()
    (course.folder / "cases").rmdir()
    assert load_set(course.folder, known) == course.cases
    assert resume_class(course.folder, known).sittings[0].number == 1
    with pytest.raises(UsageError, match="already there"):
        save_set(tmp_path / "set", cases, BEGUN)
    with pytest.raises(UsageError, match="holds no practice cases"):
        load_set(tmp_path / "nowhere", known)


def test_cases_of_one_number_and_two_wishes_are_told_apart(
    known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path
) -> None:
    """The second case of two wishes on one engine has one name; in a class each has its own line."""
    assert cases[1].play.practice.id == cases[2].play.practice.id
    course = begin_class(tmp_path / "class", cases[1:3], BEGUN)
    for number in (1, 2):
        course = ended(known, course, "Ann", number)
    assert len(class_of(known, course.folder).cases) == 2


def test_what_is_no_journal_is_named_and_the_rest_goes_on(
    known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path
) -> None:
    course = sit_down(begin_class(tmp_path / "class", cases[:1], BEGUN), "Ann", 1, BEGUN)
    (course.folder / "notes.json").write_text("{}", encoding="utf-8")
    again = resume_class(course.folder, known)
    assert again.trainees == ("Ann",)
    assert len(again.unread) == 1


def test_what_a_trainee_is_shown_of_a_course_holds_nothing_of_the_truth(
    known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path
) -> None:
    """The view is made without the seat's hidden half, whichever way the case came."""
    course = sit_down(begin_class(tmp_path / "class", cases, BEGUN), "Ann", 1, BEGUN)
    for seat in course.cases:
        shown = repr(view_of(Bench.of(known, seat.play.practice), seat.play))
        assert str(seat.hidden.first.seed) not in shown
        assert "TruthPart" not in shown
        assert "World(" not in shown
    written = json.loads((course.folder / "ann-1.json").read_text(encoding="utf-8"))
    assert str(written["hidden"]["first"]["seed"]) == str(course.cases[0].hidden.first.seed)


def test_a_plan_that_ends_a_case_is_the_trainees_own(known: Knowledge, cases: tuple[Seat, ...], tmp_path: Path) -> None:
    """Two trainees at one case do not move each other's seat."""
    course = begin_class(tmp_path / "class", cases[:1], BEGUN)
    for name in ("Ann", "Ben"):
        course = sit_down(course, name, 1, BEGUN)
    ann = course.sitting("Ann", 1)
    assert ann is not None
    bench = Bench.of(known, course.cases[0].play.practice)
    course = stepped(course, ann, decide(bench, ann.journal.seat, [Job("reseal", 2)], "a washer"))
    ben = resume_class(course.folder, known).sitting("Ben", 1)
    assert ben is not None
    assert not ben.journal.seat.play.events
