"""What the word of whether work helped leaves open is said: it had been dropped without a word."""

from __future__ import annotations

import pytest

from diag.casebook import read_case
from diag.knowledge_base import load_knowledge
from diag.network import build

KNOWLEDGE = load_knowledge()
DID = "'reseal the injector', helped: "
NOTHING_FOLLOWS = "nothing follows from that, for no symptom of the vehicle had been told to be there"


def notes_of(findings: str, tried: str) -> list[str]:
    """The notes on helped work of a case with these findings, and this after a new seal on cylinder 2."""
    text = (
        f"engine: ostrel_4\ndistance: 200000 km\nage: 10 years\nfindings: {{{findings}}}\n"
        f"tried: [{{did: reseal, cylinder: 2, {tried}}}]\n"
    )
    return [note for note in build(KNOWLEDGE, read_case("t.yaml", KNOWLEDGE, text)).notes if "helped" in note]


@pytest.mark.parametrize("word", ["no", "yes"])
def test_a_word_from_which_nothing_follows(word: str) -> None:
    """Only a finding of one cylinder was told, of which the word says nothing."""
    assert notes_of("chuff: {2: present}", f"helped: {word}") == [
        f"{DID}{word}: {NOTHING_FOLLOWS}; tell what was found after it."
    ]
    assert notes_of("chuff: {2: present}", f"helped: {word}, then: {{findings: {{chuff: {{2: absent}}}}}}") == []


def test_a_symptom_that_was_left_out_where_others_were_told() -> None:
    """Findings told after the work stand in the word's place, so that the rough idle was forgotten."""
    then = "helped: no, then: {findings: {tar: {2: absent}}}"
    assert notes_of("rough_idle: present, fumes under load: present, tar: {2: present}", then) == [
        f"{DID}no: what was told after it counts, and that leaves out 'rough idle' and 'smell of exhaust or fumes at "
        "the engine, under load'; tell that too."
    ]


@pytest.mark.parametrize(("word", "said"), [("yes", "present"), ("no", "absent")])
def test_a_word_against_what_was_told(word: str, said: str) -> None:
    then = f"helped: {word}, then: {{findings: {{rough_idle: {said}}}}}"
    assert notes_of("rough_idle: present", then) == [
        f"{DID}{word}, but 'rough idle' was told otherwise after it; what was told counts, not the word."
    ]


@pytest.mark.parametrize(
    "tried",
    [
        "helped: no",
        "helped: partly",
        "helped: for a while",
        "helped: yes, then: {findings: {rough_idle: absent}}",
        "helped: partly, then: {findings: {rough_idle: present}}",
        "ago: 3 days",
    ],
)
def test_nothing_is_said_where_nothing_is_left_open(tried: str) -> None:
    assert notes_of("rough_idle: present", tried) == []
