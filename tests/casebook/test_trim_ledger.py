"""The ledger of trim codes: read with every code checked, compared, and written again.

That codes have a length and an alphabet, that each injector has its own and that it goes with the injector is common
practice, no source.
"""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import ABSENT, PRESENT, Case, TrimCode, dump_case, ledger_remarks, read_case, trim_verdicts
from diag.knowledge_base import Knowledge

OWN = {number: f"{number:X}123456789ABCDEF" for number in range(1, 10)}  # a code of each injector's own, 16 signs
ORDER = (1, 3, 4, 2)  # the firing order of the Ostrel 4


def ledger(stored: dict[int, str], parts: dict[int, str] | None = None, more: str = "", head: str = "") -> str:
    """A case of an Ostrel 4 with these codes stored and these on the parts."""
    printed = {number: OWN[number] for number in (1, 2, 3, 4)} if parts is None else parts
    lines = [f'  {number}: {{part: "{printed[number]}", unit: "{stored[number]}"{more}}}' for number in stored]
    return f"engine: ostrel_4\n{head}trim_codes:\n" + "\n".join(lines) + "\n"


def read(knowledge: Knowledge, text: str) -> Case:
    return read_case("case.yaml", knowledge, text)


def said(case: Case) -> dict[tuple[str, object], str]:
    return {(each.item, each.place): each.answer for each in case.epochs[-1].answers}


def remarks(case: Case, knowledge: Knowledge) -> list[tuple[str, tuple[int, ...]]]:
    return [(remark.kind, remark.cylinders) for remark in ledger_remarks(case, knowledge)]


def test_codes_that_agree_say_so(knowledge: Knowledge) -> None:
    case = read(knowledge, ledger({number: OWN[number] for number in (1, 2, 3, 4)}))
    assert {each.verdict for each in trim_verdicts(case, knowledge)} == {"agrees"}
    assert said(case) == {("code_mismatch", number): ABSENT for number in (1, 2, 3, 4)}
    assert remarks(case, knowledge) == []


def test_a_code_that_differs_from_all_is_told_apart_from_one_of_another(knowledge: Knowledge) -> None:
    """Differs: no other injector carries it. Of another: whose it is, is told."""
    case = read(knowledge, ledger({1: OWN[1], 2: OWN[9], 3: OWN[1], 4: OWN[4]}))
    verdicts = {each.cylinder: (each.verdict, each.of) for each in trim_verdicts(case, knowledge)}
    assert verdicts == {1: ("agrees", None), 2: ("differs", None), 3: ("of_another", 1), 4: ("agrees", None)}
    assert said(case)["code_belongs_elsewhere", 2] == ABSENT
    assert said(case)["code_belongs_elsewhere", 3] == PRESENT
    assert ("same_unit", (1, 3)) in remarks(case, knowledge)


def test_two_exchanged_codes_are_named(knowledge: Knowledge) -> None:
    case = read(knowledge, ledger({1: OWN[2], 2: OWN[1], 3: OWN[3], 4: OWN[4]}))
    assert remarks(case, knowledge) == [("exchanged", (1, 2))]


@pytest.mark.parametrize("written_so", [False, True])
def test_the_order_of_firing_is_seen(knowledge: Knowledge, written_so: bool) -> None:
    """Number k holds the code of the k-th to fire, or the code of k sits at the k-th to fire: no single code is then
    told wrong, but the order is."""
    pairs = [(place, number) for place, number in enumerate(ORDER, start=1)]
    stored = {number: OWN[place] for place, number in pairs} if written_so else {p: OWN[n] for p, n in pairs}
    case = read(knowledge, ledger(stored))
    assert remarks(case, knowledge) == [("firing_order", (2, 3, 4))]
    assert said(case) == {("codes_in_firing_order", None): PRESENT, ("code_mismatch", 1): ABSENT}


def test_no_code_stored(knowledge: Knowledge) -> None:
    case = read(knowledge, f"engine: ostrel_4\ntrim_codes:\n  2: {{part: '{OWN[2]}', unit: none}}\n")
    assert case.trim_codes == (TrimCode(2, OWN[2], ""),)
    assert said(case) == {("code_mismatch", 2): PRESENT, ("code_not_stored", 2): PRESENT}
    assert remarks(case, knowledge) == [("not_noted", (1, 3, 4))]


@pytest.mark.parametrize(
    ("more", "head"),
    [
        (f", part_before: '{OWN[9]}'", ""),
        (f", unit_before: '{OWN[9]}', part_before: '{OWN[8]}'", ""),
        (f", unit_before: '{OWN[9]}'", "history: [{did: replace_injector, cylinder: 2, ago: 1 months}]\n"),
    ],
)
def test_the_old_code_still_stored_after_a_new_injector(knowledge: Knowledge, more: str, head: str) -> None:
    """Stored is what the old injector carried, or what was stored before another one came in: it was not coded."""
    text = f"engine: ostrel_4\n{head}trim_codes:\n  2: {{part: '{OWN[2]}', unit: '{OWN[9]}'{more}}}\n"
    case = read(knowledge, text)
    assert [each.verdict for each in trim_verdicts(case, knowledge)] == ["old_code"]
    assert said(case) == {("code_mismatch", 2): PRESENT, ("code_not_stored", 2): PRESENT}
    assert ("unchanged_unit", (2,)) in remarks(case, knowledge)


def test_a_new_injector_with_the_old_ones_code_is_odd(knowledge: Knowledge) -> None:
    head = "history: [{did: replace_injector, cylinder: 2, ago: 1 months}]\n"
    more = f", part_before: '{OWN[2]}'"
    text = f"engine: ostrel_4\n{head}trim_codes:\n  2: {{part: '{OWN[2]}', unit: '{OWN[2]}'{more}}}\n"
    assert ("unchanged_part", (2,)) in remarks(read(knowledge, text), knowledge)


def test_two_injectors_with_one_code_were_read_wrongly(knowledge: Knowledge) -> None:
    case = read(knowledge, ledger({1: OWN[1], 2: OWN[1]}, {1: OWN[1], 2: OWN[1]}))
    assert ("same_part", (1, 2)) in remarks(case, knowledge)


def test_what_was_told_by_hand_stands(knowledge: Knowledge) -> None:
    """A person's own answer to the same question is not overruled by the ledger."""
    text = ledger({2: OWN[2]}, head="findings: {code_mismatch: {2: not sure}}\n")
    assert said(read(knowledge, text)) == {("code_mismatch", 2): "not_sure"}


def test_spaces_dashes_and_small_letters_make_no_difference(knowledge: Knowledge) -> None:
    case = read(knowledge, f"engine: ostrel_4\ntrim_codes: {{2: {{part: '2123-4567 89ab-cdef', unit: {OWN[2]}}}}}\n")
    assert [each.verdict for each in trim_verdicts(case, knowledge)] == ["agrees"]


def test_a_ledger_reads_back(knowledge: Knowledge) -> None:
    text = (
        f"engine: ostrel_4\ntrim_codes:\n  1: {{part: '{OWN[1]}', unit: none}}\n"
        f"  3: {{part: not read, unit: '{OWN[3]}', part_before: '{OWN[7]}', unit_before: '{OWN[7]}'}}\n"
    )
    case = read(knowledge, text)
    assert read_case("case.yaml", knowledge, dump_case(case)) == case
    assert dump_case(read_case("case.yaml", knowledge, dump_case(case))) == dump_case(case)


@pytest.mark.parametrize(
    ("entry", "complaint"),
    [
        (
            "2: {part: 'O123456789ABCDEF'}",
            "2:24: 'O', character 1 of 'O123456789ABCDEF', does not occur in this engine's ",
        ),
        ("2: {unit: '0123456789ABCDEG'}", "2:24: 'G', character 16 of '0123456789ABCDEG', does not occur"),
        (
            "2: {unit: '0123456789ABCDE'}",
            "2:24: the trim code '0123456789ABCDE' has 15 characters; this engine's have 16",
        ),
        ("2: {unit: ''}", "2:24: this trim code is empty; write 'none' where"),
        ("2: {unit: 1234567890123456}", "2:24: the trim code '1234567890123456' is read as a number here; put it in "),
        ("9: {unit: none}", "2:14: there is no cylinder 9 in this engine; it has cylinders 1 to 4"),
        ("2: {onit: none}", "2:18: 'onit' is not known here; did you mean 'unit'?"),
        ("2: {unit: [a]}", "2:24: a list is no trim code"),
        ("2: none", "2:17: this should hold lines 'name: value', and is 'none'"),
    ],
)
def test_a_mistake_is_told_with_its_place(knowledge: Knowledge, entry: str, complaint: str) -> None:
    with pytest.raises(CaseError) as error:
        read(knowledge, f"engine: ostrel_4\ntrim_codes: {{{entry}}}\n")
    (told,) = [str(problem) for problem in error.value.problems]
    assert told.startswith(f"case.yaml:{complaint}"), told


def test_a_letter_taken_for_a_digit_is_guessed(knowledge: Knowledge) -> None:
    with pytest.raises(CaseError, match="is it '0'"):
        read(knowledge, "engine: ostrel_4\ntrim_codes: {2: {part: 'O123456789ABCDEF'}}\n")


def test_an_engine_whose_format_only_the_maker_knows_takes_any_code(knowledge: Knowledge) -> None:
    blank = knowledge.engines["ostrel_4"].model_copy(
        update={"trim_code": type(knowledge.engines["ostrel_4"].trim_code)()}
    )
    known = knowledge.model_copy(update={"engines": {"ostrel_4": blank}})
    case = read(known, "engine: ostrel_4\ntrim_codes: {2: {part: 'QZ7', unit: 'QZ7'}}\n")
    assert case.trim_codes == (TrimCode(2, "QZ7", "QZ7"),)
