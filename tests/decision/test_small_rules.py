"""Rules that only speed or rare cases show: what is supposed, what is kept, bounds of a cure, shared faults, danger."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from msgspec.structs import replace

from diag.casebook import PRESENT, Answer, Case, DangerTold, Epoch, read_case
from diag.decision import Job, Reckoning, decide_repair, reckon, search
from diag.decision.answers import _heard, _places, prospects_of
from diag.decision.appraisal import _hearing, options_at, pool_of, setting_of
from diag.decision.binding import plan_of
from diag.decision.complaint import causes_of_complaint
from diag.decision.danger import Danger, nothing_safe, reason_against
from diag.decision.dominance import surviving
from diag.decision.ground import cells_of
from diag.decision.luck import Luck, later_seals
from diag.decision.objective import DANGER_THRESHOLD, LEAST_CURE_IN_DANGER
from diag.decision.parts import Part, part_chances, parts_of, what_if
from diag.decision.plans import _title
from diag.decision.search import all_plans, best_plan, cost_in_parts
from diag.decision.spread import spreads_of
from diag.decision.tariff import WEARING
from diag.decision.treatments import Workplace, _cure, _met, _upset_elsewhere, factor_spec, jobs_that_may_pay
from diag.decision.worlds import LocalWorlds, WorldTable, draw_worlds, world_table
from diag.inference import Posterior
from diag.knowledge_base import EngineLayout, load_knowledge, new_engine_text
from diag.network import build
from tests.decision.test_by_hand import FEES, HALF, site, treatment
from tests.decision.test_search import random_problem
from tests.decision.tiny import Figures, case_of, knowledge, network_of


@pytest.mark.parametrize(("chance", "supposed"), [(0.002, False), (0.004, True), (0.5, True)])
def test_only_what_is_not_hardly_possible_is_supposed_to_be_unsound(chance: float, supposed: bool) -> None:
    """From three in a thousand on a component is supposed unsound, nine to one, as likely in each way as before."""
    sure = np.ones((1, 3))
    parts = [Part(("part", 1), (0, 0), 3, True, (False,) * 3, sure, sure, 0.0)]
    states = np.array([[1.0 - chance, 0.75 * chance, 0.25 * chance]])
    known = Posterior(np.zeros(1), np.ones((1, 1)), ((states,),), ((),), "subtracting", 0.0)
    found = what_if(known, parts)
    assert len(found.log_evidence) == (2 if supposed else 1)
    assert found.components[0][0][0] == pytest.approx(states[0])
    if supposed:
        assert found.components[0][0][1] == pytest.approx([0.1, 0.675, 0.225])


def test_renewing_what_wears_is_thought_of_however_little_it_saves_now() -> None:
    """With nothing wrong and no come-back to pay only the jobs that renew a seal may pay: they save later visits."""
    known = knowledge(Figures(return_visit=0.0))
    case = case_of(known, {("chuff", 1): "absent", ("chuff", 2): "absent", ("shaking", None): "absent"})
    ready = reckon(known, case, network_of(known, case))
    tariff, parts = ready.bound.tariff, parts_of(ready.bound.tariff, ready.network)
    every = tariff.jobs()
    kept = jobs_that_may_pay(tariff, tuple(parts.values()), every, ready.posterior, 0.0)
    renewing = {job for job in every if any(key[0] == WEARING for key in tariff.renewed(job))}
    assert renewing and renewing <= set(kept) and set(kept) < set(every)


@pytest.mark.parametrize("first", [True, False])
def test_the_dearer_of_two_that_do_the_same_is_left_out_wherever_it_stands(first: bool) -> None:
    """A come-back of 200 makes it worth curing what may be wrong, by the cheaper of the two."""
    some = (treatment(40.0, False, 0.5), treatment(30.0, False, 0.5))
    fees = replace(FEES, come_back=200.0)
    found = surviving(site(treatment(0.0, False), *(some if first else some[::-1])), HALF, fees, 0.0, 0.0)
    assert found == ((0, 2) if first else (0, 1))


def test_of_two_that_cost_and_do_the_same_the_first_stays() -> None:
    some = (treatment(0.0, False), treatment(10.0, False, 0.5), treatment(10.0, False, 0.5))
    assert surviving(site(*some), HALF, replace(FEES, come_back=200.0), 0.0, 0.0) == (0, 1)


@pytest.mark.parametrize("last", [0.0, 0.9])
def test_the_search_without_a_table_finds_what_enumeration_finds(last: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Small problems have a table of all plans; here it is withheld, so that the bounds alone decide what is seen. What
    the last treatment of a site cures says nothing of what the best one does: it may be of no use."""
    monkeypatch.setattr(search, "MOST_PLANS", 0)
    for seed in range(24):
        problem = random_problem(seed, shape=(0.6, 2.5)[seed % 2])
        factors = [each.copy() for each in problem.belief.factors]
        for each in factors:
            each[-2] = last  # the row before the ideal
        problem = replace(problem, belief=replace(problem.belief, factors=tuple(factors)))
        totals = [cost_in_parts(problem, plan).total.amount for plan in all_plans(problem)]
        assert best_plan(problem).total == pytest.approx(min(totals), abs=1e-7), seed


def test_least_and_most_of_a_cure_hold_for_every_configuration() -> None:
    """A new part is sound with 0.9 or 0.5, as a shared cause has it: the bounds are these, for each state now."""
    fresh, disturbed = np.array([[0.9, 0.1], [0.5, 0.5]]), np.array([[1.0, 0.0], [0.8, 0.2]])
    part = Part(("part", 1), (0, 0), 2, True, (False, False), fresh, disturbed, 0.0)
    workplace = Workplace(cast(Any, None), (part,), (), {}, np.array([0.75, 0.25]))
    for effect, least, most in (
        ("renewed", [0.5, 0.5], [0.9, 0.9]),
        ("disturbed", [0.8, 0.0], [1.0, 0.0]),
        ("left", [1.0, 0.0], [1.0, 0.0]),
    ):
        found = _met(workplace, part, cast(Any, effect))
        assert found.least == pytest.approx(least) and found.most == pytest.approx(most)
        every = np.atleast_2d(_cure(part, cast(Any, effect)))
        assert np.all(found.least <= every) and np.all(every <= found.most)


def shared_case() -> Reckoning:
    """A shipped engine that runs rough, so that a bank's circuit may be behind it; a new one would often be bad."""
    known = load_knowledge()
    circuit = known.components["bank_circuit"]
    fresh = {"loom": circuit.fresh["loom"].model_copy(update={"value": 0.3})}
    components = {**known.components, "bank_circuit": circuit.model_copy(update={"fresh": fresh})}
    known = known.model_copy(update={"components": components})
    told = tuple(Answer(name, None, "present") for name in ("rough_idle", "misfire_felt"))
    case = Case("x", known.engines["ostrel_4"], "ostrel_4", 190_000.0, 10.0, epochs=(Epoch((), told),))
    return reckon(known, case, build(known, case))


def test_what_is_left_of_a_shared_fault_is_mended_at_the_return_visit() -> None:
    """Doing nothing costs, at each site of shared faults, the sum over its parts of P(unsound) x mending."""
    ready = shared_case()
    sites = [each for each in ready.bound.sites if any(part.spot is None and part.fault for part in each.parts)]
    assert sites
    for index, each in enumerate(ready.bound.sites):
        nothing, features = each.site.treatments[0], ready.problem.belief.features[index][0]
        assert not nothing.jobs
        expected = sum(
            part.mending * (1.0 - part_chances(part, ready.posterior)[0, 0]) for part in each.parts if part.fault
        )
        assert nothing.mending @ features == pytest.approx(expected, abs=1e-6)


def test_a_shared_fault_behind_the_complaint_counts_for_its_cure() -> None:
    """Doing nothing leaves the complaint cured where nothing behind it is wrong, shared faults included: as often as in
    20,000 drawn worlds, within five standard errors."""
    ready = shared_case()
    behind = causes_of_complaint(ready.knowledge, ready.case)
    parts = [part for each in ready.bound.sites for part in each.parts if part.fault and part.key in behind]
    assert any(part.spot is None for part in parts)
    found = spreads_of(ready, decide_repair(ready), 100)["nothing"].cures_complaint
    worlds = draw_worlds(world_table(ready.bound, ready.network, ready.posterior), 20_000, seed=5)
    sound = [
        np.asarray(part.columns)[worlds.configuration] == 0 if part.spot is None else worlds.states[part.key] == 0
        for part in parts
    ]
    often = float(np.all(sound, axis=0).mean())
    assert abs(found - often) < 5.0 * np.sqrt(often * (1.0 - often) / 20_000) + 1e-4


@pytest.mark.parametrize(
    ("useful", "chances", "unsafe"),
    [
        ((0, 1), (0.5, 0.05), False),
        ((0, 1), (0.5, 0.3, 0.0), True),
        ((0,), (0.05,), False),
        ((0, 2), (0.5, 0, 0.5), True),
    ],
)
def test_nothing_is_safe_where_all_that_is_useful_leaves_the_danger(
    useful: tuple[int, ...], chances: tuple[float, ...], unsafe: bool
) -> None:
    """At one site of two; a dangerous state may be left with at most 10 %."""
    posterior = Posterior(np.zeros(1), np.ones((1, 1)), (), (), "subtracting", 0.0)
    feature = SimpleNamespace(kind="configuration")

    def at(useful: tuple[int, ...], chances: tuple[float, ...]) -> Any:
        return SimpleNamespace(useful=useful, danger=[np.array([each]) for each in chances], features=(feature,))

    bound = cast(Any, SimpleNamespace(sites=[at((0,), (0.0,)), at(useful, chances)]))
    assert nothing_safe(bound, posterior) is unsafe


def test_the_states_that_are_marked_as_a_worn_seal_are_as_likely_as_it_is() -> None:
    """At every cylinder, beside other components that may be unsound there."""
    known = knowledge(Figures(injector_bad=0.3))
    case = case_of(known, {("chuff", 1): "present", ("spray", 2): "present"})
    ready = reckon(known, case, network_of(known, case))
    worn = 0
    for bound, features in zip(ready.bound.sites, ready.problem.belief.features, strict=True):
        if bound.site.wear is not None:
            seal = next(part for part in bound.parts if part.key[0] == WEARING)
            unsound = 1.0 - part_chances(seal, ready.posterior)[0, 0]
            assert float(features[0] @ bound.site.wear.unsound) == pytest.approx(unsound)
            worn += 1
    assert worn == 2


def test_worlds_are_drawn_where_a_term_has_become_impossible() -> None:
    """Two plates, three terms, the last of which only the first local world of the first plate has: the pairs come as
    often as their chances ask for, within five standard errors."""
    one = np.array([[0.2, 0.5, 1.0], [0.8, 0.5, 0.0]])
    two = np.array([[0.9, 0.1, 0.5], [0.1, 0.9, 0.5]])
    weights = np.array([0.5, 0.3, 0.2])
    plates = tuple(
        LocalWorlds({(name, 1): np.array([0, 1])}, {}, values, values.sum(axis=0))
        for name, values in (("one", one), ("two", two))
    )
    count = 40_000
    worlds = draw_worlds(WorldTable(weights, np.zeros(3, dtype=np.int64), plates, 0.0, False), count, seed=2)
    drawn = np.stack([worlds.states["one", 1], worlds.states["two", 1]])
    for pair in ((0, 0), (0, 1), (1, 0), (1, 1)):
        p = float((weights * one[pair[0]] * two[pair[1]]).sum())
        often = int((drawn == np.array(pair)[:, None]).all(axis=0).sum())
        assert abs(often - count * p) < 5.0 * np.sqrt(count * p * (1 - p)), pair


def by_hand(disturbed: list[list[float]], mending: float = 100.0) -> Part:
    """A part of a plate that is certainly sound and that other work may upset, as a shared cause has it."""
    table = np.array(disturbed)
    return Part(("part", 1), (0, 0), 2, True, (False, False), np.ones((1, 2)) / 2, table, mending)


@pytest.mark.parametrize(("money", "kept"), [(25.0, True), (46.0, False)])
def test_a_job_may_pay_by_what_other_work_upsets_at_worst(money: float, kept: bool) -> None:
    """Sound now, upset with 0.1 or 0.3, mending 100, come-back 50: it saves at most 0.3 x 150 = 45."""
    part = by_hand([[0.9, 0.1], [0.7, 0.3]])
    known = Posterior(np.zeros(1), np.ones((1, 1)), ((np.array([[1.0, 0.0]]),),), ((),), "subtracting", 0.0)
    tariff = SimpleNamespace(renewed=lambda job: {part.key}, job_money=lambda job: SimpleNamespace(total=money))
    job = Job("mend", 1)
    assert jobs_that_may_pay(cast(Any, tariff), (part,), (job,), known, 50.0) == ((job,) if kept else ())


def test_what_work_upsets_at_another_site_is_mended_and_not_cured() -> None:
    """Two jobs each upset a part elsewhere with at most 0.3 (mending 100): fine with 0.49, and 60 to mend."""
    part = by_hand([[0.9, 0.1], [0.7, 0.3]])
    tariff = SimpleNamespace(disturbed=lambda job: frozenset({part.key, ("own", 1)}))
    own = Part(("own", 1), (0, 1), 2, True, (False, False), np.ones((1, 2)), np.zeros((1, 2)), 1e6)
    workplace = Workplace(cast(Any, tariff), (own,), (), {part.key: part, own.key: own}, np.ones(1))
    assert _upset_elsewhere(workplace, (Job("one", 1), Job("two", 1))) == pytest.approx((0.49, 60.0))
    assert _upset_elsewhere(workplace, ()) == (1.0, 0.0)


def test_a_factor_of_cured_holds_each_part_that_may_not_be() -> None:
    """Parts of plates by plate and place where they are not 1, those of the configuration multiplied."""
    plain, sure = by_hand([[1.0, 0.0]]), by_hand([[1.0, 0.0]])
    shared = Part(("shared", None), None, 2, True, (False, False), np.ones((1, 2)), np.ones((1, 2)), 0.0, (0, 1, 1))
    cure, config = np.array([[1.0, 0.25]]), np.array([1.0, 0.5, 0.5])
    found = factor_spec((plain, replace(sure, spot=(1, 0)), shared, shared), (cure, np.ones((1, 2)), config, config))
    assert found.plates == {0: {0: pytest.approx(cure)}}
    assert found.configurations == pytest.approx(config**2)


MUCH, LITTLE, ENOUGH = DANGER_THRESHOLD + 1e-9, DANGER_THRESHOLD - 1e-9, LEAST_CURE_IN_DANGER


@pytest.mark.parametrize(
    ("every", "behind", "gone", "barred"),
    [
        (ENOUGH, LITTLE, 0.0, False),  # half of everything, and the danger is improbable
        (ENOUGH - 1e-9, LITTLE, 0.9, True),  # what is improbable is no answer to it
        (0.0, MUCH, ENOUGH, False),  # half of the danger alone
        (0.0, 0.9, ENOUGH - 1e-9, True),
        (0.9, 0.9, ENOUGH - 1e-9, True),  # half of everything, but the danger is left
        (ENOUGH, 0.5, 0.81, False),
    ],
)
def test_a_plan_that_mends_just_enough_is_not_barred(every: float, behind: float, gone: float, barred: bool) -> None:
    """Something dangerous was found, and this plan leaves no dangerous state. `every`: share of all that may be wrong
    that it mends; `behind`: chance that something is behind the danger, and of it `gone` is the share it mends."""
    known = load_knowledge()
    finding = next(name for name, each in known.findings.items() if each.danger)
    treatments = (SimpleNamespace(jobs=()), SimpleNamespace(jobs=(Job("reseal", 1),)))
    works = SimpleNamespace(treatments=treatments)
    bound = SimpleNamespace(plain=(works,), sites=(SimpleNamespace(danger=[np.zeros(1)] * 2, site=works),))
    left = 1.0 - behind
    factors = np.array([1.0, 1.0, 0.0, every, left, left + behind * gone, 1.0]).reshape(-1, 1, 1)
    belief = SimpleNamespace(features=[np.ones((1, 1))], factors=(factors,), weights=np.ones((1, 1)))
    danger = Danger((DangerTold(finding, PRESENT),), (), ())
    told = reason_against(known, danger, cast(Any, bound), cast(Any, belief), (1,))
    assert bool(told) is barred


def test_only_the_code_is_an_option_where_injectors_have_codes_alone() -> None:
    """The shipped knowledge knows trim codes; the tiny workshop has none, and no such option."""
    ready = shared_case()
    names = {option.name for option in decide_repair(ready).options}
    assert "code" in names
    tiny = knowledge()
    case = case_of(tiny, {("chuff", 1): "present"})
    assert "code" not in {option.name for option in decide_repair(reckon(tiny, case, network_of(tiny, case))).options}


def test_a_title_does_not_name_what_only_follows() -> None:
    """What has to be done after a job is part of it, and the job itself is named."""
    ready = shared_case()
    tariff, repairs = ready.bound.tariff, ready.knowledge.repairs
    seen = 0
    for index, each in enumerate(ready.problem.sites):
        for choice, some in enumerate(each.treatments):
            following = {follower for job in some.jobs for follower in tariff.with_followers(job)[1:]}
            plan = tuple(choice if index == other else 0 for other in range(len(ready.problem.sites)))
            title = _title(ready, plan)
            assert all((repairs[job.repair].name in title) is (job not in following) for job in some.jobs), title
            seen += len(following)
    assert seen


def test_a_title_names_cylinders_as_they_are_numbered(tmp_path: Path) -> None:
    """Of twelve cylinders 2 comes before 10, told in any order."""
    known, file = load_knowledge(), tmp_path / "twelve.yaml"
    file.write_text(new_engine_text(known, EngineLayout("twelve", "Twelve", 12, "V", "solenoid")), encoding="utf-8")
    text = f"title: t\nengine: {file}\ndistance: 240000 km\nage: 12 years\nfindings: {{fumes: present}}\n"
    case = read_case(str(tmp_path / "case.yaml"), known, text)
    ready = reckon(known, case, build(known, case), also=[[Job("reseal", cylinder)] for cylinder in (2, 10, 11)])
    plan = plan_of(ready.bound, [Job("reseal", cylinder) for cylinder in (11, 10, 2)])
    assert plan is not None
    assert _title(ready, plan).endswith("(2, 10, 11)")


def test_a_guarantee_covers_new_seals_that_fail_early_and_no_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the money for later seals: nothing without work now, all seals new and always covered no more than all of it
    less the visits, and more the longer it lasts."""
    known = knowledge(Figures(scale=60_000.0))
    case = case_of(known, {("chuff", 1): "present"})
    ready = reckon(known, case, network_of(known, case))
    table = world_table(ready.bound, ready.network, ready.posterior)
    luck = Luck(ready, table, draw_worlds(table, 2_000, seed=1), 1)
    policy = tuple("alone" for _ in ready.problem.later.banks)
    sums = []
    for months in (0.0, 12.0, 36.0):
        monkeypatch.setattr("diag.decision.luck._guarantee_months", lambda luck, months=months: months)
        money, covered = later_seals(luck, {1, 2}, policy)
        assert np.all(covered >= 0.0) and np.all(covered <= money + 1e-9)
        sums.append(float(covered.sum()))
        assert later_seals(luck, set(), policy)[1].max() == 0.0
    assert sums[0] == 0.0 and 0.0 < sums[1] < sums[2]


def test_the_chances_of_what_is_heard_are_those_of_the_posterior() -> None:
    """Cells of each thing that a check tells of sum to what the configurations kept hold."""
    ready = shared_case()
    setting = setting_of(ready, decide_repair(ready), 1.0)
    tariff = ready.bound.tariff
    seen = set()
    for name, check in ready.knowledge.checks.items():
        for place in tariff.places(check.covers)[:1]:
            for heard in prospects_of(tariff, ready.network, name, (place,), {})[0].heard:
                kind = (heard.hidden.kind, heard.hidden.plate is None)
                if kind in seen:
                    continue
                seen.add(kind)
                plates = {heard.hidden.plate} - {None}
                pool = pool_of(setting, cast(Any, plates))
                options = {plate: options_at(setting, pool, plate) for plate in range(len(setting.ground.options))}
                cells = cells_of(setting.ground, (heard.hidden,), options)[heard.hidden]
                assert _hearing(setting, heard, cells).chance.sum() == pytest.approx(1.0, abs=1e-4), heard.hidden
    assert len(seen) > 1


def test_a_check_tells_what_any_of_its_answers_tells() -> None:
    """It asks after exactly those items of which some answer is likelier in one state of what it shows than in another,
    though other answers may be as likely in all."""
    ready = shared_case()
    tariff, network = ready.bound.tariff, ready.network
    for name, check in ready.knowledge.checks.items():
        for place in tariff.places(check.covers):
            items = prospects_of(tariff, network, name, (place,), {})[0].items
            expected = {}
            for each in check.yields:
                for where in _places(ready.knowledge, tariff, each.item, check, place):
                    outcomes = network.outcomes(each.item, where, each.under)
                    heard = None if outcomes is None else _heard(outcomes.evidence, outcomes.names)
                    if heard is not None and any(np.ptp(answer) > 1e-12 for answer in heard.table):
                        expected[each.item, where] = None
            assert items == tuple(expected), name


def test_one_answer_that_tells_nothing_does_not_silence_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three answers one is as likely in both states of the pump."""
    known = knowledge()
    case = case_of(known, {("shaking", None): "present"})
    ready = reckon(known, case, network_of(known, case))
    (asked,) = prospects_of(ready.bound.tariff, ready.network, "gauge", (None,), {})
    (heard,) = asked.heard
    three = replace(heard, table=np.array([[0.5, 0.5], [0.1, 0.4], [0.4, 0.1]]), names=("no", "a bit", "yes"))
    monkeypatch.setattr("diag.decision.answers._heard", lambda evidence, names: three)
    (again,) = prospects_of(ready.bound.tariff, ready.network, "gauge", (None,), {})
    assert again.items == asked.items == (("whine", None),)


def test_for_the_whole_vehicle_cylinders_are_treated_as_may_be_best_now_and_the_rest_in_any_way() -> None:
    ready = shared_case()
    setting = setting_of(ready, decide_repair(ready), 1.0)
    sites = ready.bound.sites
    expected = dict.fromkeys(setting.bases)
    otherwise = [
        (*base[:site], choice, *base[site + 1 :])
        for base in setting.bases[:2]
        for site, bound in enumerate(sites)
        for choice in range(len(bound.site.treatments))
    ]
    for plan in otherwise:
        if all(
            choice in some and (each.site.wear is None or choice in each.useful)
            for choice, each, some in zip(plan, sites, setting.allowed, strict=True)
        ):
            expected[plan] = None
    assert any(set(some) - set(each.useful) for each, some in zip(sites, setting.allowed, strict=True))
    assert {plan for plan in pool_of(setting, set()).plans if plan is not None} == set(expected)
