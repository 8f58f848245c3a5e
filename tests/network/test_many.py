"""Cases weighed at once come to what each of them comes to alone."""

from __future__ import annotations

import numpy as np
import pytest

from diag.casebook import ABSENT, NOT_SURE, PRESENT, Answer, Case, Epoch, Measured, Work
from diag.knowledge_base import load_knowledge
from diag.network import agreement, component_states, cylinder_chances, sort_of, weigh, weigh_many

KNOWLEDGE = load_knowledge()


def case(engine: str, km: float, years: float, *told: Answer | Measured) -> Case:
    """A case with nothing tried."""
    answers = tuple(each for each in told if isinstance(each, Answer))
    measured = tuple(each for each in told if isinstance(each, Measured))
    return Case("", KNOWLEDGE.engines[engine], engine, km, years, epochs=(Epoch((), answers, measured),))


def chuffing(km: float, years: float, cylinder: int, tar: str, *more: Answer) -> Case:
    """One that chuffs, tar looked for on a cylinder, a code of the pressure told either way."""
    return case(
        "ostrel_4",
        km,
        years,
        Answer("fumes", None, PRESENT),
        Answer("hard_start", None, PRESENT),
        Answer("chuff", cylinder, PRESENT, "cold"),
        Answer("tar", cylinder, tar),
        Measured("rail_pressure_cranking", None, 180.0 + km / 1e4, "bar"),
        *more,
    )


ALIKE = (
    chuffing(90_000, 5, 2, PRESENT),
    chuffing(187_000, 11, 3, ABSENT),
    chuffing(240_000, 15, 1, NOT_SURE, Answer("chuff", 4, ABSENT)),
    chuffing(187_000, 2, 2, ABSENT, Answer("chuff", 2, ABSENT, "warm")),
)


def test_each_case_of_a_batch_is_what_it_is_alone() -> None:
    """Chances of every state, of every cylinder, the conflict and its flag, to rounding."""
    many = weigh_many(KNOWLEDGE, ALIKE)
    for number, each in enumerate(ALIKE):
        alone = weigh(KNOWLEDGE, each)
        agreed = agreement(alone.network, alone.posterior, rarity=False)
        for key, chances in component_states(alone.network, alone.posterior).items():
            assert many.states[key][number] == pytest.approx(chances, abs=1e-9)
        for cylinder, chance in cylinder_chances(alone.network, alone.posterior).items():
            assert many.cylinders[cylinder][number] == pytest.approx(chance, abs=1e-9)
        assert many.conflict[number] == pytest.approx(agreed.conflict, abs=1e-9)
        assert bool(many.contradicts[number]) == agreed.contradicts
    assert not np.all(many.conflict == many.conflict[0])


def test_a_contradiction_is_flagged_in_its_own_case_alone() -> None:
    """Blown loudly by one sign, sound by three others, beside a case in which all agree (as `agreement` says)."""
    signs = [name for name, known in KNOWLEDGE.findings.items() if known.shows == "blow_by"][:4]
    for_it = [Answer(name, 2, PRESENT) for name in signs]
    torn = [Answer(name, 2, PRESENT if number < 2 else ABSENT) for number, name in enumerate(signs)]
    cases = [case("ostrel_4", 120_000, 8, *for_it), case("ostrel_4", 120_000, 8, *torn)]
    many = weigh_many(KNOWLEDGE, cases)
    alone = [weigh(KNOWLEDGE, each) for each in cases]
    expected = [agreement(each.network, each.posterior, rarity=False).contradicts for each in alone]
    assert many.contradicts.tolist() == expected
    assert expected == [False, True]


def test_cases_of_one_sort_differ_in_age_and_places() -> None:
    """Where nothing told follows from another thing told; where it does, only cases of one age are of one sort."""
    apart = [
        case("ostrel_4", km, 9, Answer("hard_start", None, PRESENT), Answer("tar", 2, PRESENT)) for km in (9e4, 2e5)
    ]
    assert sort_of(KNOWLEDGE, apart[0]) == sort_of(KNOWLEDGE, apart[1])
    assert len({sort_of(KNOWLEDGE, each) for each in ALIKE}) == len(ALIKE)


def test_what_needs_its_own_network_is_weighed_alone() -> None:
    """Corrections share a shift that is laid out for each case; so is work that was done."""
    told = case("ostrel_4", 1e5, 8, Measured("correction", 1, 0.4, "mg/stroke"))
    assert sort_of(KNOWLEDGE, told) is None
    done = Case("", told.engine, "ostrel_4", history=(Work("reseal", 2, km_ago=5_000),))
    assert sort_of(KNOWLEDGE, done) is None
