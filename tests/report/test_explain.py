"""What `diag know explain` says: nothing is told by its name alone, and its numbers stand with their units."""

from __future__ import annotations

import pytest

from diag.knowledge_base import load_knowledge
from diag.report import KINDS, item_blocks, item_sheet, render
from diag.report.explain import entries
from diag.report.words import KIND_OF_ENTRY

KNOWLEDGE = load_knowledge()
SELF_EXPLAINING = ("cautions", "sources")  # their text is all there is

SAID = [
    ("clamp", "in vehicles in use: loose 0.072 %"),
    ("clamp", "just renewed: loose 1 % (or, by another judgement, 2 %)"),
    ("seal", "63 in 100 have failed by 600,000 (or, by another judgement, 285,000) km"),
    ("trim_code", "code_numbering by_firing_order: not_written 1 %, wrong_cylinder 85 %"),
    ("a_bit", "2.5 times likelier where the finding is there than where it is not"),
    ("unlikely", "4 times likelier where the finding is not there than where it is"),
    ("maybe", "nothing: as likely where the finding is there as where it is not"),
    ("clamp_bolt", "7 EUR, new each time"),
    ("ostrel_4", "clamp bolt: 11 N·m, then 75 degrees"),
    ("ostrel_4", "valid for no real one"),
    ("velm_5", "return joint: maker's value ____"),
    ("correction", "its error is 0.15 mg/stroke"),
]  # fmt: skip


@pytest.mark.parametrize(("item", "said"), SAID, ids=[f"{item}: {said[:30]}" for item, said in SAID])
def test_numbers_are_told_with_their_units_and_both_judgements(item: str, said: str) -> None:
    assert said in " ".join(render(item_blocks(item_sheet(KNOWLEDGE, item)), 200).split())


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_of_every_entry_can_be_printed(kind: str) -> None:
    for item in entries(KNOWLEDGE, kind):
        sheet = item_sheet(KNOWLEDGE, item)
        assert f"({item}, {KIND_OF_ENTRY[sheet.kind]})" in " ".join(render(item_blocks(sheet), 200).split())


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in SELF_EXPLAINING])
def test_every_entry_is_explained_by_more_than_its_name(kind: str) -> None:
    for item in entries(KNOWLEDGE, kind):
        sheet = item_sheet(KNOWLEDGE, item)  # an id that several kinds have is explained as the first of them
        assert sheet.sections or sheet.kind != kind, item


@pytest.mark.parametrize(
    ("code", "numbers"),
    [
        ("rail_sensor_code", "Fault code: P0190, P0191, P0192, P0193, P0194"),
        ("circuit_code", "Fault code: P0201 for cylinder 1 to P0212 for cylinder 12"),
        ("trim_data_code", "Fault code: P268C for cylinder 1 to P2697 for cylinder 12"),
    ],
)
def test_a_code_is_explained_with_its_numbers(code: str, numbers: str) -> None:
    """The numbers are those of SAE J2012, from memory."""
    assert numbers in " ".join(render(item_blocks(item_sheet(KNOWLEDGE, code)), 200).split())


@pytest.mark.parametrize("kind", KINDS)
def test_an_id_that_several_kinds_have_is_explained_as_each_of_them(kind: str) -> None:
    """By its kind and id; the entry of that id alone names the others, so that none is out of reach."""
    for item in entries(KNOWLEDGE, kind):
        sheet = item_sheet(KNOWLEDGE, f"{kind}.{item}")
        assert (sheet.kind, sheet.id) == (kind, item)
        assert sheet.name == entries(KNOWLEDGE, kind)[item][0]
        alone = item_sheet(KNOWLEDGE, item)
        if alone.kind != kind:
            assert any(f"{kind}.{item}" in section.lines for section in alone.sections), item
