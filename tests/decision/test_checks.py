"""The worth of checks, against the sum over all worlds and all answers, and the rules that stand above money."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import Place
from diag.casebook import read_case, with_check_open
from diag.decision import CheckRanking, RankedCheck, Reckoning, advise, advise_on, decide_repair, rank_checks, reckon
from diag.decision.appraisal import setting_of
from diag.decision.pool import candidates, neighbours
from diag.decision.search import policy_of
from diag.decision.worth import functionals_of
from diag.knowledge_base import Yield, load_knowledge
from diag.network import build
from tests.decision.reference import Slow, expected, heard, later, slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

Told = dict[tuple[str, Place], str]
SHAKING: Told = {("shaking", None): "present"}
FIGURES = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=500.0)


def ranked(told: Told, figures: Figures = FIGURES, **more: object) -> tuple[CheckRanking, Reckoning, Slow]:
    known = knowledge(figures)
    case = case_of(known, told, figures.distance, **more)
    network = network_of(known, case)
    ready = reckon(known, case, network)
    return rank_checks(ready, decide_repair(ready), share=1.0), ready, slow_of(known, case, network)


def check_at(ranking: CheckRanking, name: str, place: Place) -> RankedCheck:
    return next(each for each in ranking.checks if (each.check, each.place) == (name, place))


def slow_cost(
    ready: Reckoning, slow: Slow, plan: tuple[int, ...], chance: np.ndarray, opened: frozenset[tuple[str, str]]
) -> float:
    """A plan's cost jointly with an event, the way of acting later as it stands now."""
    jobs = [job for site, choice in zip(ready.problem.sites, plan, strict=True) for job in site.treatments[choice].jobs]
    parts = expected(slow, jobs, chance, opened)
    (way,) = policy_of(ready.problem, plan)
    return sum(parts.values()) + later(slow, jobs, way, chance)


def slow_worth(
    ready: Reckoning, slow: Slow, outcomes: list[np.ndarray], sites: list[int], opened: frozenset[tuple[str, str]]
) -> float:
    """Worth by its definition: least expected cost now, less that after each answer, over the pool's plans."""
    setting = setting_of(ready, decide_repair(ready), 1.0)
    bases = setting.bases if len(sites) == 1 else setting.bases[:2]
    every = [range(len(site.treatments)) for site in ready.problem.sites]
    plans = dict.fromkeys([*setting.bases, *neighbours(setting.bases[:2], sites, every)])
    fine = [
        p
        for p in plans
        if p in bases or p in setting.bases or all(c in s for c, s in zip(p, setting.allowed, strict=True))
    ]
    now = min(slow_cost(ready, slow, plan, slow.chance, opened) for plan in fine)
    return now - sum(min(slow_cost(ready, slow, plan, chance, opened) for plan in fine) for chance in outcomes)


def outcomes_of(slow: Slow, *questions: tuple[str, Place]) -> list[np.ndarray]:
    """`[world]` chances jointly with every joint answer to some questions."""
    tables = []
    for item, place in questions:
        found = slow.network.outcomes(item, place, None)
        assert found is not None
        tables.append(heard(slow, found.evidence) / slow.chance)
    return [slow.chance * np.prod(chosen, axis=0) for chosen in product(*tables)]


def sites_of(ready: Reckoning, *places: Place) -> list[int]:
    return [n for n, site in enumerate(ready.bound.plain) if site.place in places]


ONE_BLOWS: Told = {("chuff", 1): "present"}
YOUNG = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=150.0, distance=60_000.0)  # near the turn


@pytest.mark.parametrize(
    ("check", "place", "item", "told", "figures"),
    [
        ("listen", 2, "chuff", SHAKING, FIGURES),
        ("listen", 2, "chuff", ONE_BLOWS, YOUNG),
        ("probe", 2, "spray", SHAKING, FIGURES),
        ("probe", 1, "spray", ONE_BLOWS, YOUNG),
        ("probe", 2, "spray", ONE_BLOWS, YOUNG),
    ],
)
def test_worth_of_a_cylinder_check(check: str, place: int, item: str, told: Told, figures: Figures) -> None:
    """One answer about one cylinder: the exact worth is the sum over worlds and answers."""
    ranking, ready, slow = ranked(told, figures)
    found = check_at(ranking, check, place)
    wanted = slow_worth(ready, slow, outcomes_of(slow, (item, place)), sites_of(ready, place), frozenset(found.opens))
    assert found.worth.amount == pytest.approx(wanted, rel=1e-7, abs=1e-7)
    assert found.error == 0.0
    assert figures is FIGURES or wanted > 1.0


@pytest.mark.parametrize(("told", "figures"), [(SHAKING, FIGURES), (ONE_BLOWS, YOUNG)], ids=["shaking", "one blows"])
def test_worth_of_a_check_of_a_bank(told: Told, figures: Figures) -> None:
    """Both cylinders of a bank answered at once: all joint answers are enumerated, and the worth is exact."""
    ranking, ready, slow = ranked(told, figures)
    found = check_at(ranking, "look", "A")
    outcomes = outcomes_of(slow, ("tar", 1), ("tar", 2))
    wanted = slow_worth(ready, slow, outcomes, sites_of(ready, 1, 2), frozenset(found.opens))
    assert found.worth.amount == pytest.approx(wanted, rel=1e-7, abs=1e-7)
    assert found.error == 0.0
    assert not found.at_least or wanted < 1e-6  # joint answers that cannot pay by their bound are not reckoned
    assert figures is FIGURES or wanted > 1.0


@pytest.mark.parametrize(("check", "item"), [("gauge", "whine"), ("drive", "shaking")])
def test_worth_of_a_check_of_the_vehicle(check: str, item: str) -> None:
    """An answer about a shared component, and about a severity of the vehicle that nothing was told of."""
    told: Told = SHAKING if check == "gauge" else {("chuff", 1): "present"}
    ranking, ready, slow = ranked(told)
    found = check_at(ranking, check, None)
    assert check == "drive" or found.worth.amount > 1.0
    sites = [n for n, site in enumerate(ready.bound.plain) if "pump" in site.name]
    if check == "drive":
        sites = list(range(len(ready.bound.plain)))
    wanted = slow_worth(ready, slow, outcomes_of(slow, (item, None)), sites, frozenset())
    if check == "gauge":
        assert found.worth.amount == pytest.approx(wanted, rel=1e-7, abs=1e-7)
    else:  # cylinders are then treated only as may be best now: no more than with all of them
        assert 0.0 <= found.worth.amount <= wanted + 1e-7


def test_cost_of_plans_beside_an_answer_sums_to_their_cost() -> None:
    """Over all answers, the cost of staying with the best plan is the total of the decision, but for what is alike."""
    _, ready, slow = ranked(SHAKING)
    setting = setting_of(ready, decide_repair(ready), 1.0)
    pool = candidates(setting.catalogue, setting.bases)
    totals = [slow_cost(ready, slow, plan, slow.chance, frozenset()) for plan in setting.bases]
    split = functionals_of(setting.catalogue, pool, setting.ground, None, setting.ratios)
    costs = split.combine @ (split.gradient @ setting.ground.weights)
    assert costs - costs[0] == pytest.approx(np.array(totals) - totals[0], rel=1e-9, abs=1e-7)


def test_a_check_that_cannot_change_the_plan_is_worth_exactly_nothing() -> None:
    """An answer as likely with as without the fault is not even listed; one that changes no plan is worth exactly 0."""
    ranking, _, _ = ranked({("chuff", 1): "present", ("tar", 1): "present"}, Figures(return_visit=2_000.0, refer=1e6))
    assert "chat" not in {each.check for each in ranking.checks}
    assert any(each.worth.amount == 0.0 for each in ranking.checks)


@settings(max_examples=6, deadline=None)
@given(
    told=st.fixed_dictionaries(
        {("shaking", None): st.sampled_from(["present", "absent"])},
        optional={("tar", 1): st.sampled_from(["present", "absent"]), ("spray", 2): st.just("present")},
    ),
    stress=st.sampled_from([0.0, 0.3]),
)
def test_no_worth_is_negative_and_none_beats_perfect_information(told: Told, stress: float) -> None:
    """0 <= worth of an answer <= worth of knowing the hidden thing that it speaks of (Raiffa 1968)."""
    ranking, ready, slow = ranked(told, Figures(stress=stress, refer=1e6, injector_bad=0.1, return_visit=400.0))
    assert all(each.worth.amount >= 0.0 for each in ranking.checks)
    for each in ranking.checks:
        if each.check in ("listen", "gauge"):
            component = each.check == "gauge"
            spot = (
                slow.network.component_at("pump", None)
                if component
                else slow.network.severity_at("blow", int(each.place or 0))
            )
            assert spot is not None
            hidden = slow.worlds.columns[("component" if component else "axis", *spot)]
            known = [slow.chance * (hidden == level) for level in range(int(hidden.max()) + 1)]
            sites = [
                n
                for n, site in enumerate(ready.bound.plain)
                if (component and "pump" in site.name) or (site.place == each.place and not component)
            ]
            assert each.worth.amount <= slow_worth(ready, slow, known, sites, frozenset(each.opens)) + 1e-7


def test_net_is_worth_less_cost_and_cost_is_the_sum_of_its_parts() -> None:
    """A check's money adds up: parts of its cost, less what its open access saves the plan."""
    ranking, _, _ = ranked(SHAKING)
    for each in ranking.checks:
        parts = sum(amount.amount for amount in each.amounts.values())
        assert each.cost.amount == pytest.approx(parts - each.credit.amount, abs=1e-9)
        assert each.net.amount == pytest.approx(each.worth.amount - each.cost.amount, abs=1e-9)
        assert each.credit.amount >= -1e-9


def test_dismantling_used_again_is_not_charged_twice() -> None:
    """Where the best plan opens the injectors anyway, a check behind the same access costs its own minutes alone."""
    told: Told = {("chuff", 1): "present", ("tar", 1): "present"}
    ranking, _, _ = ranked(told)
    probe = check_at(ranking, "probe", 1)
    assert probe.amounts["access"].amount == pytest.approx(80.0)
    assert probe.credit.amount == pytest.approx(80.0)
    assert probe.cost.amount == pytest.approx(20.0)


def test_what_stands_open_is_put_together_for_a_running_check() -> None:
    """With the injectors bare the engine cannot run: a running check pays for closing and opening again."""
    closed, _, _ = ranked({("chuff", 1): "present"})
    opened, _, _ = ranked({("chuff", 1): "present"}, open_access=(("bare", "A"),))
    assert check_at(closed, "drive", None).amounts["reassembly"].amount == 0.0
    assert check_at(opened, "drive", None).amounts["reassembly"].amount == pytest.approx(60.0)
    assert check_at(opened, "probe", 1).amounts["access"].amount == 0.0


@pytest.mark.parametrize("engine", ["ostrel_4", "karrick_v6"])
def test_no_check_cranks_or_runs_the_engine_with_a_pressure_pipe_off(engine: str) -> None:
    """Fuel would come out of an open pipe at either (common practice, no source); a check that is made with the pipes
    off and the outlet closed is done as it stands."""
    knowledge = load_knowledge()
    bank = next(iter(knowledge.engines[engine].banks))
    told = f"engine: {engine}\nfindings: {{hard_start: present, rough_idle: present}}\n"
    for text, bare in ((told, ()), (f"{told}open: [injectors {bank}]\n", (("injectors", bank),))):
        case = read_case(Path("case.yaml"), knowledge, text)
        lines = {each.check: each for each in advise_on(reckon(knowledge, case, build(knowledge, case))).checks.checks}
        minutes = knowledge.engines[engine].access_minutes["injectors"][bank] if bare else 0.0
        rate = lines["road_test"].amounts["labour"].amount / knowledge.checks["road_test"].minutes.value
        for check in ("relative_compression_test", "rail_pressure_while_cranking", "road_test", "cold_start_watch"):
            assert lines[check].closes == bare
            assert lines[check].amounts["reassembly"].amount == pytest.approx(rate * minutes)
        assert lines["pump_alone_test"].closes == lines["look_into_wells"].closes == ()
        after = with_check_open(case, knowledge, knowledge.checks["rail_pressure_while_cranking"], None)
        assert after.open_access == ()


def test_what_cannot_be_done_is_said_and_not_ranked() -> None:
    """A check told impossible is barred with its reason."""
    ranking, _, _ = ranked(SHAKING, cannot=("probe",))
    assert [(each.check, each.why) for each in ranking.barred] == [("probe", "not possible here, as told")]
    assert "probe" not in {each.check for each in ranking.checks}


def test_safety_comes_first_by_rule() -> None:
    """With a finding of danger present, checks that speak of danger stand first whatever they are worth."""
    known = knowledge(FIGURES)
    checks = {**known.checks, "jet": known.checks["probe"].model_copy(update={"yields": (Yield(item="fuel_jet"),)})}
    known = known.model_copy(update={"checks": checks})
    case = case_of(known, {("fuel_jet", 1): "present"})
    advice = advise(known, case, network_of(known, case))
    assert advice.checks.checks[0].check == "jet"
    assert advice.checks.checks[0].safety
    assert advice.check is advice.checks.checks[0]


def test_stop_checking_when_no_check_is_worth_its_cost() -> None:
    """Everything points to one seal, and labour is dear: repair now."""
    known = knowledge(Figures(injector_bad=0.001, pump_worn=0.001, refer=1e6))
    told: Told = {("chuff", 1): "present", ("tar", 1): "present", ("spray", 1): "absent", ("spray", 2): "absent"}
    told |= {("chuff", 2): "absent", ("tar", 2): "absent", ("whine", None): "absent"}
    case = case_of(known, told)
    advice = advise(known, case, network_of(known, case))
    assert advice.checks.stop
    assert advice.stop
    assert advice.check is None
    assert {job.place for job in advice.repair.best.jobs} >= {1}


def test_unlikely_configurations_may_be_left_out_and_it_is_said() -> None:
    """Keeping 60 % of the posterior leaves the rarer stress out, and the ranking says how much that is."""
    known = knowledge(FIGURES)
    case = case_of(known, SHAKING)
    ready = reckon(known, case, network_of(known, case))
    decision = decide_repair(ready)
    assert rank_checks(ready, decision, share=1.0).left_out == pytest.approx(0.0, abs=1e-12)
    assert 0.1 < rank_checks(ready, decision, share=0.6).left_out < 0.4
