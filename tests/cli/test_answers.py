"""What a typed line means in a session."""

from __future__ import annotations

import pytest

from diag.basics import Place, UsageError
from diag.casebook import Case, Question, check_questions, demo_cases, load_case
from diag.cli.talk_answers import Order, Word, read_order, with_told
from diag.knowledge_base import Knowledge, load_knowledge

ALL = (1, 2, 3, 4)


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def case(knowledge: Knowledge) -> Case:
    return load_case(demo_cases()["one_blown_seal"], knowledge)


def _measured(case: Case, item: str) -> dict[Place, float]:
    return {each.place: each.value for each in case.epochs[-1].measured if each.item == item}


def _answers(case: Case, item: str) -> dict[Place, str]:
    return {each.place: each.answer for each in case.epochs[-1].answers if each.item == item}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("2", {1: "absent", 2: "present", 3: "absent", 4: "absent"}),
        ("2 3", {1: "absent", 2: "present", 3: "present", 4: "absent"}),
        ("2, 3", {1: "absent", 2: "present", 3: "present", 4: "absent"}),
        ("none", dict.fromkeys(ALL, "absent")),
        ("no", dict.fromkeys(ALL, "absent")),
        ("all", dict.fromkeys(ALL, "present")),
        ("not sure", dict.fromkeys(ALL, "not_sure")),
        ("2 yes, 3 not sure", {2: "present", 3: "not_sure"}),
        ("2 yes, rest no", {1: "absent", 2: "present", 3: "absent", 4: "absent"}),
        ("2: a bit, rest not looked", {1: "not_looked", 2: "a_bit", 3: "not_looked", 4: "not_looked"}),
    ],
)
def test_one_line_answers_for_all_cylinders(
    case: Case, knowledge: Knowledge, line: str, said: dict[Place, str]
) -> None:
    after = with_told(case, knowledge, Question("bubbles", ALL), line)
    assert _answers(after, "bubbles") == said


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("yes", "present"),
        ("y", "present"),
        ("n", "absent"),
        ("not s", "not_sure"),
        ("a bit", "a_bit"),
        ("?", "not_sure"),
    ],
)
def test_beginnings_of_words_are_answers(case: Case, knowledge: Knowledge, line: str, said: str) -> None:
    after = with_told(case, knowledge, Question("hard_start", (None,)), line)
    assert _answers(after, "hard_start") == {None: said}


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("yes", "which of 1, 2, 3 and 4"),
        ("7", "'7' is no answer here"),
        ("2 perhaps so", "'perhaps so' is no answer here"),
        ("2 yes, ninth no", "'ninth no' names no place"),
        ("", "'' is no answer here"),
    ],
)
def test_a_line_that_says_nothing_is_refused_with_what_would_do(
    case: Case, knowledge: Knowledge, line: str, complaint: str
) -> None:
    with pytest.raises(UsageError, match=complaint):
        with_told(case, knowledge, Question("bubbles", ALL), line)


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("1, 2, 3, 4 mL/min", {1: 1.0, 2: 2.0, 3: 3.0, 4: 4.0}),
        ("2: 60 mL/min", {2: 60.0}),
        ("2: 60, 3: 0.06 L/min", {2: 60_000.0, 3: 60.0}),
        ("1; 2; 3; 4", {1: 1.0, 2: 2.0, 3: 3.0, 4: 4.0}),
    ],
)
def test_one_line_gives_the_readings_of_all_cylinders(
    case: Case, knowledge: Knowledge, line: str, values: dict[int, float]
) -> None:
    if "0.06 L/min" in line:
        with pytest.raises(UsageError, match="not plausible"):  # the last unit holds for all: 60 L/min cannot be
            with_told(case, knowledge, Question("return_flow", ALL), line)
        return
    after = with_told(case, knowledge, Question("return_flow", ALL), line)
    assert {each.place: each.value for each in after.epochs[-1].measured if each.item == "return_flow"} == values


def test_too_few_numbers_are_refused(case: Case, knowledge: Knowledge) -> None:
    with pytest.raises(UsageError, match="4 numbers are needed, of 1, 2, 3 and 4, and here are 2"):
        with_told(case, knowledge, Question("return_flow", ALL), "1, 2 mL/min")


# Numbering of SAE J2012 / ISO 15031-6: contribution P0263 for cylinder 1 and three more for each next, misfire P0300+k.
def test_codes_are_told_all_at_once_and_those_not_read_are_absent(case: Case, knowledge: Knowledge) -> None:
    codes = ("balance_code", "misfire_code")
    after = with_told(case, knowledge, Question("", (None,), codes=codes), "P0266 p0303")
    assert _answers(after, "balance_code") == {1: "absent", 2: "present", 3: "absent", 4: "absent"}
    assert _answers(after, "misfire_code") == {1: "absent", 2: "absent", 3: "present", 4: "absent"}


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("P1FFF", "no code that this knowledge uses"),
        ("hello", "no fault code"),
        ("P0308", "P0308 is a code of cylinder 8, and this engine has 4"),
        ("", "write the codes that are stored"),
    ],
)
def test_codes_that_cannot_be_are_refused(case: Case, knowledge: Knowledge, line: str, complaint: str) -> None:
    with pytest.raises(UsageError, match=complaint):
        with_told(case, knowledge, Question("", (None,), codes=("misfire_code",)), line)


@pytest.mark.parametrize(
    ("line", "order"),
    [
        ("undo", Order(Word.UNDO)),
        ("  Save my case.yaml ", Order(Word.SAVE, "my case.yaml")),
        ("tell chuff under load", Order(Word.TELL, "chuff under load")),
        ("done", Order(Word.DONE)),
        ("no", None),
        ("done it", None),
        ("", None),
    ],
)
def test_words_of_command_are_told_from_answers(line: str, order: Order | None) -> None:
    assert read_order(line) == order


def test_what_is_answered_already_is_not_asked_again(case: Case, knowledge: Knowledge) -> None:
    asked = check_questions(knowledge, knowledge.checks["look_into_wells"], None, case)
    assert [question.places for question in asked if question.item == "tar"] == [(4,)]


def test_every_check_of_the_knowledge_asks_for_all_that_it_brings(knowledge: Knowledge, case: Case) -> None:
    for name, check in knowledge.checks.items():
        place = {"cylinder": 4, "bank": "A", "vehicle": None}[check.covers]
        questions = check_questions(knowledge, check, place, case)
        asked = {item for question in questions for item in (question.codes or (question.item,))}
        told = {each.item for each in case.epochs[0].answers}
        assert {each.item for each in check.yields} - told <= asked, name


@pytest.mark.parametrize("line", ["0.06 L/min, 50 mL/min, 0.055 L/min, 0.05 L/min", "0.06 L/min, 0.05, 0.055, 0.05"])
def test_one_unit_holds_for_all_numbers_wherever_it_stands(case: Case, knowledge: Knowledge, line: str) -> None:
    """A number behind the one that has the unit had been taken in the reading's own: 0.05 mL/min beside 60."""
    after = with_told(case, knowledge, Question("return_flow", ALL), line)
    assert _measured(after, "return_flow") == pytest.approx({1: 60.0, 2: 50.0, 3: 55.0, 4: 50.0})


def test_a_number_without_a_unit_beside_several_units_is_refused(case: Case, knowledge: Knowledge) -> None:
    with pytest.raises(UsageError, match=r"'0\.05' stands beside L/min and mL/min; write each number with its unit"):
        with_told(case, knowledge, Question("return_flow", ALL), "0.06 L/min, 0.05, 55 mL/min, 50 mL/min")
