"""Soft answers of the shipped knowledge, held against Good's decibans.

Good (1985), after Turing, from memory: a deciban is about the least change in weight of evidence that people feel.
Jeffreys (Theory of Probability, appendix B, from memory) calls evidence beyond 100 to 1, 20 decibans, decisive.
"""

from __future__ import annotations

import pytest

from diag.evidence import answer_ratio, decibans
from diag.knowledge_base import load_knowledge

KNOWLEDGE = load_knowledge()
OPPOSITES = [("clearly", "clearly_not"), ("likely", "unlikely"), ("a_bit", "hardly"), ("think_so", "think_not")]
NOTHING = ("maybe", "could_not_tell")
WEIGHTS = {name: decibans(answer.ratio.value) for name, answer in KNOWLEDGE.answers.items()}


@pytest.mark.parametrize("name", WEIGHTS)
def test_no_soft_answer_is_decisive_and_none_is_beneath_notice(name: str) -> None:
    assert abs(WEIGHTS[name]) < 20
    assert (WEIGHTS[name] == 0) == (name in NOTHING)
    assert name in NOTHING or abs(WEIGHTS[name]) >= 1


@pytest.mark.parametrize(("one", "other"), OPPOSITES)
def test_for_and_against_of_one_kind_weigh_the_same(one: str, other: str) -> None:
    assert WEIGHTS[one] == pytest.approx(-WEIGHTS[other], abs=0.01)


def test_surer_words_weigh_more() -> None:
    """'a bit' < 'think so' < 'likely' < 'clearly', each by something that can be felt but for the middle two."""
    ordered = [WEIGHTS[name] for name in ("could_not_tell", "a_bit", "think_so", "likely", "clearly")]
    assert ordered == sorted(ordered)
    assert ordered[-1] - ordered[-2] >= 1


@pytest.mark.parametrize("name", KNOWLEDGE.answers)
def test_each_says_where_its_strength_comes_from(name: str) -> None:
    """Nothing judged passes for counted, and its ratio is what the reasoner takes."""
    assert KNOWLEDGE.answers[name].basis.source in ("elicited", "common practice", "published", "learned")
    assert answer_ratio(name, KNOWLEDGE) == KNOWLEDGE.answers[name].ratio.value
