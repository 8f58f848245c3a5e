"""Fault codes with their state, with their status byte, and the word that there are no others."""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import (
    ABSENT,
    NOT_LOOKED,
    PRESENT,
    Case,
    CodeRead,
    codes_told,
    dump_case,
    read_case,
    with_codes,
)
from diag.knowledge_base import Knowledge

HEAD = "engine: ostrel_4\n"


def read(knowledge: Knowledge, text: str) -> Case:
    return read_case("case.yaml", knowledge, HEAD + text)


@pytest.mark.parametrize(
    ("entry", "answer", "state", "status"),
    [
        ("P0266", PRESENT, None, None),
        ("P0266 stored", PRESENT, "stored", None),
        ("P0266 present", PRESENT, "present", None),
        ("P0266 intermittent", PRESENT, "intermittent", None),
        ("P0266 pending", "pending", "pending", None),
        ("P0266 passed", ABSENT, "passed", None),
        ("P0266 not tested", NOT_LOOKED, "not_tested", None),
        ("P0266 0x2E", PRESENT, "intermittent", 0x2E),
        ("P0266 0xAF", PRESENT, "present", 0xAF),
        ("P0266 0x50", NOT_LOOKED, "not_tested", 0x50),
        ("{P0266: 0x04}", "pending", "pending", 0x04),
        ("{P0266: pending}", "pending", "pending", None),
        ("0x0266 pending", "pending", "pending", None),
    ],
)
def test_a_code_answers_by_its_state(
    knowledge: Knowledge, entry: str, answer: str, state: str | None, status: int | None
) -> None:
    """P0266 is the contribution code of cylinder 2 (SAE J2012): its state says how it answers."""
    (epoch,) = read(knowledge, f"codes: [{entry}]\n").epochs
    assert [(each.item, each.place, each.answer) for each in epoch.answers] == [("balance_code", 2, answer)]
    expected = () if state is None else (CodeRead("P0266", state, status),)  # type: ignore[arg-type]
    assert epoch.codes == expected


def test_what_is_typed_in_a_line_says_what_the_file_says(knowledge: Knowledge) -> None:
    """Codes, states and status bytes in one line give what the same entries of a file give."""
    entries = ("P0266 0x2E", "P0300 pending", "P0201 not tested", "P0272", "0x0269 passed")
    filed = read(knowledge, f"codes: [{', '.join(entries)}]\n").epochs[-1]
    for line in (" ".join(entries), ", ".join(entries).lower(), ";".join(reversed(entries))):
        told = with_codes(read(knowledge, ""), knowledge, (), codes_told(line)).epochs[-1]
        assert set(told.answers) == set(filed.answers)
        assert set(told.codes) == set(filed.codes)


def test_no_other_codes_answers_every_code_that_was_not_told(knowledge: Knowledge) -> None:
    """Each code of the knowledge at each of its places has one answer, and only what was told is present."""
    (epoch,) = read(knowledge, "codes: [P0266]\nother_codes: none\n").epochs
    codes = [name for name, finding in knowledge.findings.items() if finding.code is not None]
    told = {(each.item, each.place): each.answer for each in epoch.answers}
    assert {item for item, _ in told} == set(codes)
    assert len(told) == len(epoch.answers)
    assert [key for key, answer in told.items() if answer == PRESENT] == [("balance_code", 2)]
    assert {place for item, place in told if item == "circuit_code"} == {1, 2, 3, 4}


def test_a_makers_own_code_is_a_note_without_effect(knowledge: Knowledge) -> None:
    """Whatever its state; and it is not said twice when the case is written and read again."""
    case = read(knowledge, "codes: [P1234 pending]\nnote: from the tester\n")
    assert case.epochs[0].answers == ()
    assert case.note.splitlines() == ["from the tester", "Fault code P1234 is not in this knowledge and has no effect."]
    assert read_case("case.yaml", knowledge, dump_case(case)) == case


def test_codes_with_their_state_read_back(knowledge: Knowledge) -> None:
    text = (
        "codes: [P0266 0x2E, P0300 pending, P0201 not tested]\nother_codes: none\n"
        "tried: [{did: reseal, cylinder: 2, then: {codes: [P0266 0x50]}}]\n"
    )
    case = read(knowledge, text)
    assert case.epochs[1].codes == (CodeRead("P0266", "not_tested", 0x50),)
    again = dump_case(case)
    assert read_case("case.yaml", knowledge, again) == case
    assert dump_case(read_case("case.yaml", knowledge, again)) == again


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("codes: [P0266 0x1FF]\n", "2:9: the status byte 0x1ff is out of range; it lies between 0x00 and 0xFF"),
        ("codes: [{P0266: 256}]\n", "2:9: the status byte 0x100 is out of range; it lies between"),
        ("codes: [P0266 pendign]\n", "2:9: 'pendign' is no state of a fault code; did you mean 'pending'?"),
        ("codes: [P0299, P0209]\n", "2:16: P0209 belongs to cylinder 9, and there is no cylinder 9 in this engine; "),
        ("codes: [P0266x pending]\n", "2:9: 'P0266x pending' is not a fault code"),
        ("codes: [{P0266: pending, P0267: stored}]\n", "2:9: a mapping is not a fault code"),
        ("other_codes: some\n", "2:14: this is not 'some'; write 'other_codes: none', or leave it out"),
        ("codes: [P0266 passed, P0266 stored]\n", "2:23: two answers to one question: 'balance_code' of cylinder 2 is"),
    ],
)
def test_a_mistake_is_told_with_its_place(knowledge: Knowledge, text: str, complaint: str) -> None:
    with pytest.raises(CaseError) as error:
        read(knowledge, text)
    (told,) = [str(problem) for problem in error.value.problems]
    assert told.startswith(f"case.yaml:{complaint}"), told


def test_cylinder_nine_of_eight(knowledge: Knowledge) -> None:
    """P0287 is the contribution code of cylinder 9; a V8 has none."""
    with pytest.raises(CaseError, match=r"case.yaml:2:9: P0287 belongs to cylinder 9, .* cylinders 1 to 8"):
        read_case("case.yaml", knowledge, "engine: karrick_v8\ncodes: [P0287 stored]\n")
