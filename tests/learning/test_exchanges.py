"""What an exchange of injectors showed teaches of them what it should."""

from __future__ import annotations

import pytest

from diag.casebook import Case, read_case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import learnables
from tests.learning.test_contributions import by_counts, by_ratio, counted, index_of, slope
from tests.support.effort import LONG

BEGUN = """
title: weak cylinder
engine: ostrel_3
distance: 150000 km
age: 9 years
numbering: confirmed
findings: {rough_idle: present, weak_cutout: {2: present, 3: absent}}
tried:
"""
SWAP = "  - {did: swap_injectors, cylinder: 2, with: 3, fault: moved}\n"
WAYS = {
    "moved": SWAP,
    "stayed": SWAP.replace("moved", "stayed"),
    "there and back": SWAP + SWAP,
}
if LONG:
    WAYS["then renewed"] = SWAP + "  - {did: replace_injector, cylinder: 3, helped: yes}\n"


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def told(knowledge: Knowledge, way: str) -> Case:
    return read_case("case.yaml", knowledge, BEGUN + WAYS[way])


FIGURES = (
    ("components", "injector", "chance", "electrical"),
    ("components", "injector", "given", "fuel_debris", "debris", "restricted"),
    ("components", "trim_code", "chance", "not_written"),
)


@pytest.mark.parametrize("way", WAYS)
def test_what_was_moved_is_counted_once_wherever_it_has_been(knowledge: Knowledge, way: str) -> None:
    """d - p n is the slope of what was told, by the chances of an injector and its code; by its life likewise."""
    case = told(knowledge, way)
    index, counts = index_of(knowledge), counted(knowledge, [case])
    values = {each.path: each.value for each in learnables(knowledge)}
    for path in FIGURES:
        score = counts.true[0, index[path]] - values[path] * counts.used[0, index[path]]
        assert score == pytest.approx(by_ratio(knowledge, [case], path), rel=1e-3, abs=1e-5), path
    scale = ("components", "injector", "life", "scale")
    known = by_counts(knowledge, counts, scale, values[scale])
    assert known == pytest.approx(slope(knowledge, [case], scale, values[scale]), rel=1e-3, abs=1e-12)


def test_a_fault_that_moved_speaks_against_injectors_and_one_that_stayed_does_not(knowledge: Knowledge) -> None:
    path, scores = FIGURES[0], {}
    value = next(each.value for each in learnables(knowledge) if each.path == path)
    for way in ("moved", "stayed"):
        counts, at = counted(knowledge, [told(knowledge, way)]), index_of(knowledge)[path]
        scores[way] = counts.true[0, at] - value * counts.used[0, at]
    assert scores["moved"] > 0.3 > 0.01 > scores["stayed"]
