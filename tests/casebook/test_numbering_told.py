"""`numbering:` in a case file: what somebody has found out about how the control unit counts the cylinders."""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import case_schema, dump_case, numbering_words, read_case
from diag.knowledge_base import load_knowledge

KNOWLEDGE = load_knowledge()
TOLD = {
    "confirmed": "by_cylinder",
    "by cylinder": "by_cylinder",
    "by firing order": "by_firing_order",
    "by_firing_order": "by_firing_order",
    "from other end": "from_other_end",
    "banks exchanged": "banks_exchanged",
}


@pytest.mark.parametrize("word", TOLD)
def test_a_known_numbering_is_read_and_written_back(word: str) -> None:
    case = read_case("case.yaml", KNOWLEDGE, f"engine: karrick_v6\nnumbering: {word}\n")
    assert case.numbering == TOLD[word]
    assert read_case("again.yaml", KNOWLEDGE, dump_case(case)) == case


def test_left_out_nobody_knows() -> None:
    case = read_case("case.yaml", KNOWLEDGE, "engine: karrick_v6\n")
    assert case.numbering is None
    assert "numbering" not in dump_case(case)


@pytest.mark.parametrize("word", ["by firing ordr", "3", "pair exchanged", "[by cylinder]"])
def test_what_is_no_numbering_is_told_with_its_place(word: str) -> None:
    """An exchanged pair is nothing that one knows: whoever knows of it writes each value at its own cylinder."""
    with pytest.raises(CaseError, match=r"case\.yaml:2:12: .* is no numbering of the cylinders"):
        read_case("case.yaml", KNOWLEDGE, f"engine: karrick_v6\nnumbering: {word}\n")


def test_the_schema_knows_the_words() -> None:
    schema = case_schema(KNOWLEDGE)
    properties = schema["properties"]
    assert isinstance(properties, dict)
    told = properties["numbering"]
    assert isinstance(told, dict)
    assert told["enum"] == list(numbering_words(KNOWLEDGE))
