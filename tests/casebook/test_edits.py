"""Changes to a case leave the old case as it was, and accept and refuse what a case file does."""

from __future__ import annotations

import pytest

from diag.basics import UsageError
from diag.casebook import (
    Answer,
    Case,
    Work,
    answer_of,
    dump_case,
    read_case,
    with_access,
    with_answer,
    with_helped,
    with_measured,
    with_work,
    without_answer,
)
from diag.knowledge_base import Knowledge


@pytest.fixture
def case(knowledge: Knowledge) -> Case:
    return read_case("case.yaml", knowledge, "engine: ostrel_4\nfindings: {rough_idle: present, chuff: {2: present}}\n")


def test_an_answer_is_added_and_the_old_case_stays(case: Case, knowledge: Knowledge) -> None:
    """Undoing is keeping the case that was."""
    after = with_answer(case, knowledge, "tar", 2, "A bit", "cold")
    assert after.epochs[0].answers[-1] == Answer("tar", 2, "a_bit", "cold")
    assert len(case.epochs[0].answers) == 2


def test_a_new_answer_replaces_the_old_one(case: Case, knowledge: Knowledge) -> None:
    """One question has one answer in one epoch; the change of mind stands last."""
    after = with_answer(case, knowledge, "rough_idle", None, "no")
    assert after.epochs[0].answers == (Answer("chuff", 2, "present"), Answer("rough_idle", None, "absent"))
    assert without_answer(after, "rough_idle", None).epochs[0].answers == (Answer("chuff", 2, "present"),)


def test_readings_stand_beside_each_other(case: Case, knowledge: Knowledge) -> None:
    """Repeats shrink the instrument's error; a bare number is in the unit that was asked for."""
    after = with_measured(case, knowledge, "rail_pressure_cranking", None, "18 MPa")
    after = with_measured(after, knowledge, "rail_pressure_cranking", None, "above 190")
    assert [(each.value, each.unit, each.censored) for each in after.epochs[0].measured] == [
        (180, "bar", ""),
        (190, "bar", "above"),
    ]
    assert without_answer(after, "rail_pressure_cranking", None).epochs[0].measured == ()


def test_work_begins_an_epoch(case: Case, knowledge: Knowledge) -> None:
    """What was open is shut again; 'no' brings the vehicle's symptoms back, not those of a cylinder."""
    opened = with_access(case, [("covers", "A"), ("covers", "A")])
    assert opened.open_access == (("covers", "A"),)
    after = with_work(opened, knowledge, [Work("reseal", 2), Work("replace_filter")])
    assert after.open_access == ()
    assert after.epochs[1].answers == ()
    told = with_helped(after, knowledge, "no")
    assert told.epochs[1].answers == (Answer("rough_idle", None, "present"),)
    assert {work.helped for work in told.epochs[1].work} == {"no"}
    assert with_work(case, knowledge, [Work("reseal", 2, helped="yes")]).epochs[1].answers == (
        Answer("rough_idle", None, "absent"),
    )


def test_what_was_answered_since_stands(case: Case, knowledge: Knowledge) -> None:
    """A word on whether it helped does not overwrite what somebody looked at."""
    after = with_answer(with_work(case, knowledge, [Work("reseal", 2)]), knowledge, "rough_idle", None, "not sure")
    assert with_helped(after, knowledge, "no").epochs[1].answers == (Answer("rough_idle", None, "not_sure"),)


def test_the_latest_answer_counts(case: Case, knowledge: Knowledge) -> None:
    """Answers of earlier epochs are found, later ones win."""
    after = with_answer(with_work(case, knowledge, [Work("reseal", 2)]), knowledge, "chuff", 2, "no")
    assert answer_of(after, "chuff", 2) == Answer("chuff", 2, "absent")
    assert answer_of(after, "rough_idle", None) == Answer("rough_idle", None, "present")
    assert answer_of(after, "chuff", 2, "cold") is None


def test_a_changed_case_can_be_saved(case: Case, knowledge: Knowledge) -> None:
    """A session resumes where it stopped."""
    after = with_work(
        with_measured(case, knowledge, "correction", 2, "2.9"), knowledge, [Work("reseal", 2, helped="no")]
    )
    after = with_answer(after, knowledge, "bubbles", 2, "not looked at", "cold")
    assert read_case("case.yaml", knowledge, dump_case(after)) == after


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("chufff", 2, "yes"), "there is no finding 'chufff'; did you mean 'chuff'?"),
        (("chuff", 9, "yes"), "chuff of cylinder 9: there is no cylinder 9 in this engine; it has cylinders 1 to 4"),
        (("chuff", None, "yes"), "chuff of the vehicle: it needs a cylinder's number; the engine has cylinders 1 to 4"),
        (
            ("chuff", True, "yes"),
            "chuff of cylinder True: it needs a cylinder's number; the engine has cylinders 1 to 4",
        ),
        (("rough_idle", 2, "yes"), "rough_idle of cylinder 2: it is of the whole vehicle, not of cylinder 2; leave "),
        (("bank_silent", "B", "yes"), "bank_silent of bank B: there is no bank 'B' in this engine; it can be A"),
        (("bank_silent", 1, "yes"), "bank_silent of cylinder 1: it needs a bank's letter; it can be A"),
        (("chuff", 2, "yess"), "'yess' is no answer; did you mean 'yes'?"),
        (("chuff", 2, "yes", "loads"), "there is no condition 'loads'; did you mean 'load'?"),
    ],
)
def test_answers_that_make_no_sense(
    case: Case, knowledge: Knowledge, arguments: tuple[object, ...], message: str
) -> None:
    """The message says what would be right."""
    with pytest.raises(UsageError) as error:
        with_answer(case, knowledge, *arguments)  # type: ignore[arg-type]  # wrong on purpose
    assert str(error.value).startswith(message)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("chuff", 2, "1 bar"), "there is no reading 'chuff'"),
        (("correction", 2, "much"), "'much' is not a number with a unit; write for example"),
        (("correction", 2, "2 bar"), "'bar' cannot be turned into 'mg/stroke'; it can be mg/stroke or mm3/stroke"),
        (
            ("correction", 2, "99"),
            "'99' is not plausible for idle correction of the cylinder; it lies between -15 and 15",
        ),
    ],
)
def test_readings_that_make_no_sense(
    case: Case, knowledge: Knowledge, arguments: tuple[object, ...], message: str
) -> None:
    """The message says what would be right."""
    with pytest.raises(UsageError) as error:
        with_measured(case, knowledge, *arguments)  # type: ignore[arg-type]  # wrong on purpose
    assert str(error.value).startswith(message)


def test_work_that_makes_no_sense(case: Case, knowledge: Knowledge) -> None:
    """Unknown repairs, wrong places, nothing done."""
    with pytest.raises(UsageError, match=r"there is no repair 'resael'; did you mean 'reseal'\?"):
        with_work(case, knowledge, [Work("resael", 2)])
    with pytest.raises(UsageError, match="reseal: it needs a cylinder's number"):
        with_work(case, knowledge, [Work("reseal")])
    with pytest.raises(UsageError, match="name at least one repair"):
        with_work(case, knowledge, [])
    with pytest.raises(UsageError, match="nothing was tried yet"):
        with_helped(case, knowledge, "no")


SWAP = "did: swap_injectors, cylinder: 2, with: 3"


@pytest.mark.parametrize(
    ("fault", "at_two", "at_three", "vehicle"),
    [("moved", "absent", "present", "present"), ("stayed", "present", "absent", "present"),
     ("gone", "absent", "absent", "absent")],
)  # fmt: skip
def test_the_fault_moved_says_where_it_is_found_now(
    knowledge: Knowledge, fault: str, at_two: str, at_three: str, vehicle: str
) -> None:
    """Of the findings that an injector can cause, and of the vehicle's symptoms; chuffing stays out of it."""
    told = "engine: ostrel_4\nfindings: {rough_idle: present, weak_cutout: {2: present}, chuff: {2: present}}\n"
    case = read_case("case.yaml", knowledge, f"{told}tried: [{{{SWAP}, fault: {fault}}}]\n")
    now = {(each.item, each.place): each.answer for each in case.epochs[-1].answers}
    assert now == {("weak_cutout", 2): at_two, ("weak_cutout", 3): at_three, ("rough_idle", None): vehicle}
    assert case.epochs[-1].work[0].places == (2, 3)


def test_two_cylinders_of_a_swap_are_said_in_either_way(knowledge: Knowledge) -> None:
    other = SWAP.replace("cylinder: 2, with: 3", "cylinder: [2, 3]")
    one, two = (read_case("case.yaml", knowledge, f"engine: ostrel_4\ntried: [{{{line}}}]\n") for line in (SWAP, other))
    assert one == two


def test_what_was_left_undone_is_told_by_id_or_in_words(knowledge: Knowledge) -> None:
    lines = ("but: [old_washer, old bolt]", "but: [old washer used again, old_bolt]")
    one, two = (
        read_case("case.yaml", knowledge, f"engine: ostrel_4\nhistory: [{{did: reseal, cylinder: 2, {line}}}]\n")
        for line in lines
    )
    assert one == two
    assert one.history[0].but == ("old_washer", "old_bolt")
    assert read_case("case.yaml", knowledge, dump_case(one)) == one
