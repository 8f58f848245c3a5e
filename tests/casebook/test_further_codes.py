"""Further numbers of one circuit tell what its first tells: range, low, high, intermittent.

The numbers of the rail pressure sensor, the speed sensor and the camshaft sensor (P0190 to P0194, P0335 to P0339, P0340
to P0344) are those of SAE J2012, from memory.
"""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import Answer, Case, codes_told, read_case, with_codes
from diag.knowledge_base import Knowledge

HEAD = "engine: ostrel_4\ndistance: 200000 km\nage: 10 years\n"


def case_of(knowledge: Knowledge, rest: str) -> Case:
    return read_case("t.yaml", knowledge, HEAD + rest)


def of_sensor(case: Case) -> list[Answer]:
    return [each for each in case.epochs[-1].answers if each.item == "rail_sensor_code"]


@pytest.mark.parametrize(
    ("code", "item"),
    [
        *((f"P019{last}", "rail_sensor_code") for last in range(5)),
        *((f"P03{last}", "speed_sensor_code") for last in range(35, 40)),
        *((f"P03{last}", "position_sensor_code") for last in range(40, 45)),
    ],
)
def test_each_number_is_the_finding_and_no_other_code_is_not_its_absence(
    code: str, item: str, knowledge: Knowledge
) -> None:
    """With 'other_codes: none' a stored P0193 had made the sensor's own code absent."""
    case = case_of(knowledge, f"codes: [{code}]\nother_codes: none\n")
    assert [each for each in case.epochs[-1].answers if each.item == item] == [Answer(item, None, "present")]
    typed = with_codes(case_of(knowledge, ""), knowledge, [item], codes_told(code))
    assert typed.epochs[-1].answers == (Answer(item, None, "present"),)


@pytest.mark.parametrize(
    ("codes", "answer"),
    [
        ("P0193 pending, P0190", "present"),
        ("P0190, P0193 pending", "present"),
        ("P0192 passed, P0193 pending", "pending"),
        ("P0192 passed, P0193 not tested", "not_looked"),
        ("P0192 passed, P0193 passed", "absent"),
    ],
)
def test_of_several_the_one_counts_that_says_most(codes: str, answer: str, knowledge: Knowledge) -> None:
    """One that is stored is enough; absent only where all have passed."""
    assert of_sensor(case_of(knowledge, f"codes: [{codes}]\n")) == [Answer("rail_sensor_code", None, answer)]
    typed = with_codes(case_of(knowledge, ""), knowledge, ["rail_sensor_code"], codes_told(codes))
    assert [each.answer for each in of_sensor(typed)] == [answer]


def test_one_number_with_two_states_is_still_told(knowledge: Knowledge) -> None:
    with pytest.raises(CaseError, match="two answers to one question: 'rail_sensor_code'"):
        case_of(knowledge, "codes: [P0193 pending, P0193]\n")
