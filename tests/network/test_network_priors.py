"""Chances before anything was found: life, work done, shared causes, the numbering of codes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import weibull_min

from diag.basics import DiagError
from diag.casebook import Answer, Case, Epoch, Work
from diag.inference import infer
from diag.knowledge_base import Engine, Knowledge, load_knowledge
from diag.network import build, component_states, weigh
from tests.network.tiny import COMPONENTS, REPAIRS, case_of, component, engine, repair, tiny_knowledge

WHOLE = load_knowledge()
LIFE = {
    "clock": "distance", "shape": 2.5, "scale": 400_000, "unnoticed": 20_000,
    "fails_as": {"weeping": 0.6, "blown": 0.4}, "scale_under": {"stress": {"harsh": 0.5}},
}  # fmt: skip


def with_seal(**more: object) -> Knowledge:
    """The small knowledge with another seal."""
    seal = component("cylinder", ["sound", "weeping", "blown"], **more)
    return tiny_knowledge(components={**COMPONENTS, "seal": seal})


def seal_prior(knowledge: Knowledge, case: Case, stress: str = "ordinary", cylinder: int = 1) -> list[float]:
    """Prior of a cylinder's seal under one stress."""
    network = build(knowledge, case)
    plate, index = network.component_at("seal", cylinder) or (0, 0)
    prior = network.model.plates[plate].components[index].prior
    row = list(network.configuration_states("stress", None)).index(["ordinary", "harsh"].index(stress))
    return list(prior[row if len(prior) > 1 else 0])


@pytest.mark.parametrize(("stress", "scale"), [("ordinary", 400_000.0), ("harsh", 200_000.0)])
@pytest.mark.parametrize("distance", [5_000.0, 120_000.0, 350_000.0])
def test_life_gives_the_chance_to_have_failed_unnoticed(distance: float, stress: str, scale: float) -> None:
    """One minus the ratio of scipy's Weibull survival now and 20,000 km ago, split by how it fails."""
    case = replace(case_of(engine(2), ([], [])), distance_km=distance)
    law = weibull_min(2.5, scale=scale)
    failed = 1 - law.sf(distance) / law.sf(max(distance - 20_000, 0))
    expected = [1 - failed, 0.6 * failed, 0.4 * failed]
    assert seal_prior(with_seal(life=LIFE), case, stress) == pytest.approx(expected, rel=1e-9)


def test_life_counts_from_the_renewal_told_in_history() -> None:
    """A seal renewed 30,000 km ago (long enough to have settled) is 30,000 km old, on its cylinder only."""
    history = [Work("reseal", 1, km_ago=30_000.0)]
    case = case_of(engine(2), ([], []), history=history)
    law = weibull_min(2.5, scale=400_000)
    young, old = (1 - law.sf(used) / law.sf(used - 20_000) for used in (30_000, 120_000))
    knowledge = with_seal(life=LIFE, fresh={"weeping": 0.5})
    assert seal_prior(knowledge, case)[0] == pytest.approx(1 - young, rel=1e-9)
    assert seal_prior(knowledge, case, cylinder=2)[0] == pytest.approx(1 - old, rel=1e-9)


@pytest.mark.parametrize(
    ("distance", "age", "work", "used"),
    [
        (50_000.0, 11.0, Work("reseal", 1, months_ago=66.0), 25_000.0),  # 12,000 a year would be older than the vehicle
        (400_000.0, 8.0, Work("reseal", 1, months_ago=24.0), 100_000.0),
        (50_000.0, None, Work("reseal", 1, months_ago=120.0), 50_000.0),  # at least ten years old, then
        (None, None, Work("reseal", 1, km_ago=200_000.0), 200_000.0),
    ],
)
def test_nothing_is_older_than_the_vehicle_it_is_on(
    distance: float | None, age: float | None, work: Work, used: float
) -> None:
    """What is not told of the date of work is in proportion to the vehicle's own distance and age."""
    case = replace(case_of(engine(2), ([], []), history=[work]), distance_km=distance, age_years=age)
    law = weibull_min(2.5, scale=400_000)
    failed = 1 - law.sf(used) / law.sf(used - 20_000)
    assert seal_prior(with_seal(life=LIFE), case)[0] == pytest.approx(1 - failed, rel=1e-9)


def test_an_exchange_before_the_case_takes_along_what_was_done_before_it() -> None:
    """1 had a new injector, then 1 and 2 were exchanged, then 2 and 3: the new one stands on 3, that of 3 on 2."""
    injector = component("cylinder", ["sound", "weak"], chance={"weak": 0.25}, fresh={"weak": 0.08})
    swap = repair("cylinder", ["seal"], moves=["injector"])
    knowledge = tiny_knowledge(components={**COMPONENTS, "injector": injector}, repairs={**REPAIRS, "swap": swap})
    told = [
        Work("swap", 2, months_ago=1.0, other=3), Work("new_injector", 1, months_ago=3.0),
        Work("swap", 1, months_ago=2.0, other=2),
    ]  # fmt: skip
    for later, weak in (([], [0.25, 0.25, 0.08]), ([Work("new_injector", 3, months_ago=0.5)], [0.25, 0.25, 0.08]),
                        ([Work("new_injector", 2, months_ago=1.0)], [0.25, 0.08, 0.08])):  # fmt: skip
        network = build(knowledge, case_of(engine(3), ([], []), history=[*told, *later]))
        states = component_states(network, infer(network.model, network.evidence))
        assert [states["injector", n][1] for n in (1, 2, 3)] == pytest.approx(weak)


@pytest.mark.parametrize(("months", "fresh"), [(1.0, True), (6.0, True), (6.5, False)])
def test_work_that_has_not_settled_has_the_chances_of_new_parts(months: float, fresh: bool) -> None:
    """Six months is what `settles_months` says where nothing else is said; the same from kilometres (12,000 a year)."""
    knowledge = with_seal(chance={"weeping": 0.1, "blown": 0.05}, fresh={"blown": 0.3})
    expected = [0.7, 0.0, 0.3] if fresh else [0.85, 0.1, 0.05]
    for work in (Work("reseal", 1, months_ago=months), Work("reseal", 1, km_ago=months * 1000)):
        assert seal_prior(knowledge, case_of(engine(2), ([], []), history=[work])) == pytest.approx(expected)


def test_disturbing_never_lowers_a_chance_and_only_where_a_table_is() -> None:
    """New injectors disturb the seal beside: the larger chance of each state stands."""
    case = case_of(engine(2), ([], []), history=[Work("new_injector", 1, months_ago=1.0)])
    chance = {"weeping": 0.1, "blown": 0.05}
    assert seal_prior(with_seal(chance=chance, disturbed={"weeping": 0.3}), case) == pytest.approx([0.65, 0.3, 0.05])
    assert seal_prior(with_seal(chance=chance), case) == pytest.approx([0.85, 0.1, 0.05])


def test_two_sound_tables_that_come_to_more_than_one_together_share_it() -> None:
    """Each is a distribution; the larger chance of each state is none any more. Up to 1 nothing changes."""
    case = case_of(engine(2), ([], []), history=[Work("new_injector", 1, months_ago=1.0)])
    chance = {"weeping": 0.1, "blown": 0.6}
    just = seal_prior(with_seal(chance=chance, disturbed={"weeping": 0.4}), case)
    more = seal_prior(with_seal(chance=chance, disturbed={"weeping": 0.9}), case)
    assert just == pytest.approx([0.0, 0.4, 0.6])
    assert more == pytest.approx([0.0, 0.6, 0.4])
    with pytest.raises(DiagError, match="more than 1"):
        seal_prior(with_seal(chance={"weeping": 0.5, "blown": 0.6}, disturbed={"weeping": 0.4}), case)


def test_given_stands_in_the_place_of_chance() -> None:
    """Under harsh stress the seal of the small knowledge has its own chances."""
    case = case_of(engine(2), ([], []))
    assert seal_prior(tiny_knowledge(), case) == pytest.approx([0.7, 0.2, 0.1])
    assert seal_prior(tiny_knowledge(), case, "harsh") == pytest.approx([0.35, 0.3, 0.35])


def test_chances_of_more_than_one_are_an_error_that_says_where() -> None:
    """Chances and life together may come to more than 1 only in wrong knowledge."""
    knowledge = with_seal(chance={"weeping": 0.8, "blown": 0.7})
    with pytest.raises(DiagError, match=r"'seal' of cylinder 1 come to 1\.5, which is more than 1"):
        build(knowledge, case_of(engine(2), ([], [])))


def test_unknown_distance_and_age_are_assumed_and_said() -> None:
    """Nobody told: 150,000 km and 10 years; one told: the other follows from the kilometres of a year."""
    case = case_of(engine(2), ([], []))
    none = build(tiny_knowledge(), replace(case, distance_km=None, age_years=None))
    assert none.notes == (
        "The distance is not known; 150,000 km is assumed.",
        "The age is not known; 10 years is assumed.",
    )
    old = build(tiny_knowledge(), replace(case, distance_km=None, age_years=5.0))
    assert old.notes == ("The distance is not known; 60,000 km is assumed.",)
    assert build(tiny_knowledge(), case).notes == ()


def test_the_same_law_says_what_is_still_to_come() -> None:
    """The life of a component as it stands: kilometres since renewal, scale by configuration."""
    network = build(with_seal(life=LIFE), case_of(engine(2), ([], []), ([Work("reseal", 1)], [])))
    old, new = network.life("seal", 2), network.life("seal", 1)
    assert old is not None and new is not None
    assert (old.clock, old.shape, old.used, new.used) == ("distance", 2.5, 120_000.0, 0.0)
    harsh = network.configuration_states("stress", None)
    np.testing.assert_allclose(old.scale, np.where(harsh, 200_000.0, 400_000.0))
    law = weibull_min(2.5, scale=400_000)
    survives = math.exp((120_000 / 4e5) ** 2.5 - (160_000 / 4e5) ** 2.5)
    assert survives == pytest.approx(law.sf(160_000) / law.sf(120_000))
    assert network.life("injector", 1) is None


def test_work_that_only_disturbs_makes_nothing_young() -> None:
    """The seal beside a new injector is as old as before, in its life and in its years."""
    knowledge = with_seal(life=LIFE, disturbed={"weeping": 0.1})
    network = build(knowledge, case_of(engine(2), ([], []), *[([Work("new_injector", 1)], [])] * 2))
    lives = [network.life("seal", cylinder) for cylinder in (1, 2)]
    assert [life.used for life in lives if life is not None] == [120_000.0, 120_000.0]
    assert [network.years_in_use("seal", cylinder) for cylinder in (1, 2)] == [10.0, 10.0]


def test_what_comes_only_after_work_is_sound_before_it() -> None:
    """A seal that can be unsound only once it was worked on: work of the case makes it so afterwards, not before."""
    chance, case = {"weeping": 0.2}, case_of(engine(2), ([], []), ([Work("reseal", 1)], []))
    network = build(with_seal(chance=chance, fresh=chance, only_after=("reseal",)), case)
    plate, versions = network.targets.components["seal", 1]
    before, after = (network.model.plates[plate].components[index].prior[0] for index in versions)
    assert list(before) == [1.0, 0.0, 0.0]
    assert list(after) == [0.8, 0.2, 0.0]


# ---- the numbering of codes ----------------------------------------------------------------------------------------


def four(history: list[Work], *later: Epoch) -> Case:
    """A case of the four-cylinder engine of the demonstration (its firing order is not 1-2-3-4)."""
    known: Engine = WHOLE.engines["ostrel_4"]
    return Case("a test", known, "ostrel_4", 150_000.0, 9.0, tuple(history), (Epoch(), *later))


def numberings(case: Case) -> int:
    """How many ways of numbering the network tells apart."""
    return len(set(build(WHOLE, case).configuration_states("code_numbering", None)))


def test_numbering_is_a_question_only_where_a_code_could_have_landed_elsewhere() -> None:
    """Nothing written: no question. Written anywhere, also at 1 which fires first: counted from the other end it has
    landed elsewhere. In line there is no other bank, and a pair is exchanged only where something was read."""
    assert numberings(four([])) == 1
    for cylinder in (1, 2):
        assert numberings(four([Work("write_code", cylinder, months_ago=3.0)])) == 3
        assert numberings(four([Work("replace_injector", cylinder, months_ago=40.0)])) == 3
        assert numberings(four([], Epoch((Work("write_code", cylinder),)))) == 3


def test_a_wrong_cylinder_is_likely_only_where_written_and_moved() -> None:
    """By firing order, the code of a cylinder that was written is most likely wrong; the others keep their chances."""
    order = WHOLE.engines["ostrel_4"].firing_order
    moved = next(n for n in range(1, 5) if order.index(n) + 1 != n)
    network = build(WHOLE, four([Work("write_code", moved, months_ago=3.0), Work("write_code", 1, months_ago=3.0)]))
    by_order = list(network.configuration_states("code_numbering", None)).index(1)
    table = WHOLE.components["trim_code"].given["code_numbering"]["by_firing_order"]
    wrong = list(WHOLE.components["trim_code"].states).index("wrong_cylinder")
    for cylinder in range(1, 5):
        plate, index = network.component_at("trim_code", cylinder) or (0, 0)
        prior = network.model.plates[plate].components[index].prior
        chance = prior[by_order if len(prior) > 1 else 0][wrong]
        if cylinder == moved:
            assert chance == pytest.approx(table["wrong_cylinder"].value)
        else:
            assert chance < 0.1


def test_an_uncoded_injector_is_the_first_thought_after_new_injectors() -> None:
    """A new injector on a cylinder, rough idle since: its trim code stands above its seal and the injector itself."""
    case = four([Work("replace_injector", 3, months_ago=1.0)])
    case = replace(case, epochs=(Epoch((), (Answer("rough_idle", None, "present"),)),))
    weighed = weigh(WHOLE, case)
    sound = {key: chances[0] for key, chances in component_states(weighed.network, weighed.posterior).items()}
    cylinder_parts = {key: p for key, p in sound.items() if isinstance(key[1], int)}
    assert min(cylinder_parts, key=lambda key: cylinder_parts[key]) == ("trim_code", 3)
