"""What was told that is dangerous: softly, by a number, and until it is told to be gone."""

from __future__ import annotations

import pytest

from diag.casebook import Case, DangerTold, dangers_told, read_case
from diag.knowledge_base import Knowledge, load_knowledge


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


def _case(knowledge: Knowledge, told: str, then: str = "") -> Case:
    after = f"tried:\n  - {{did: reseal, cylinder: 2, then: {{{then}}}}}\n" if then else ""
    return read_case("case.yaml", knowledge, f"engine: ostrel_4\n{told}\n{after}")


# how it is told, and whether it stands as a danger
ANSWERS = [
    ("present", True),
    ("clearly", True),
    ("likely", True),
    ("think so", True),
    ("a bit", True),
    ("maybe", False),
    ("not sure", False),
    ("not looked at", False),
    ("hardly", False),
    ("think not", False),
    ("clearly not", False),
    ("absent", False),
]


@pytest.mark.parametrize(("answer", "there"), ANSWERS)
@pytest.mark.parametrize("finding", ["cabin_smell", "fuel_drips", "knock"])
def test_whatever_says_more_yes_than_no_is_a_danger(
    knowledge: Knowledge, finding: str, answer: str, there: bool
) -> None:
    """'Clearly, no doubt' warns no less than 'present', and exhaust gas in the cabin at times is exhaust gas there."""
    told = dangers_told(knowledge, _case(knowledge, f"findings: {{{finding}: {answer}}}"))
    assert [each.item for each in told] == ([finding] if there else [])


@pytest.mark.parametrize(
    ("later", "there"),
    [
        ("absent", False),
        ("clearly not", False),
        ("not looked at", True),
        ("not sure", True),
        ("hardly", True),
        ("think not", True),
    ],
)
def test_a_danger_stays_until_it_is_told_to_be_gone(knowledge: Knowledge, later: str, there: bool) -> None:
    told = _case(knowledge, "findings: {fuel_drips: present}", f"findings: {{fuel_drips: {later}}}")
    assert bool(dangers_told(knowledge, told)) is there


def test_what_only_got_better_is_still_there(knowledge: Knowledge) -> None:
    text = "engine: ostrel_4\nfindings: {cabin_smell: present}\ntried: [{did: reseal, cylinder: 2, helped: better}]\n"
    case = read_case("case.yaml", knowledge, text)
    assert [each.item for each in dangers_told(knowledge, case)] == ["cabin_smell"]


@pytest.mark.parametrize(
    ("reading", "there"),
    [("80 ppm", True), ("above 30 ppm", True), ("25 ppm", False), ("below 80 ppm", False), ("0 ppm", False)],
)
def test_carbon_monoxide_in_the_cabin_is_a_danger_by_its_number(
    knowledge: Knowledge, reading: str, there: bool
) -> None:
    """The engines that ship say 25 ppm; common practice, no source."""
    told = dangers_told(knowledge, _case(knowledge, f"readings: {{cabin_co: {reading}}}"))
    assert told == ((DangerTold("cabin_co", above=25.0),) if there else ())
    assert all(each.cautions(knowledge) == ("cabin_gas",) for each in told)


@pytest.mark.parametrize(("limit", "there"), [(50.0, False), (10.0, True), (None, True)])
def test_the_engines_limit_comes_first_and_a_blank_one_warns_all_the_same(
    knowledge: Knowledge, limit: float | None, there: bool
) -> None:
    engine = knowledge.engines["ostrel_4"]
    own = engine.limits["cabin_co"].model_copy(update={"value": limit})
    engines = {"ostrel_4": engine.model_copy(update={"limits": engine.limits | {"cabin_co": own}})}
    changed = knowledge.model_copy(update={"engines": engines})
    assert bool(dangers_told(changed, _case(changed, "readings: {cabin_co: 40 ppm}"))) is there


def test_a_later_reading_stands_for_an_earlier_one(knowledge: Knowledge) -> None:
    case = _case(knowledge, "readings: {cabin_co: 80 ppm}", "readings: {cabin_co: 2 ppm}")
    assert dangers_told(knowledge, case) == ()
