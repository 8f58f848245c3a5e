"""The spread of the options: drawn worlds against the exact posterior and the sum over worlds, drawn money against the
objective, and what a percentile and a cure must obey."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from msgspec import structs
from scipy.stats import binom, norm

from diag.basics import Place
from diag.casebook import read_case
from diag.decision import Job, PlanOption, Reckoning, RepairDecision, decide_repair, reckon
from diag.decision.complaint import causes_of_complaint, complaint_of
from diag.decision.parts import part_chances
from diag.decision.spread import OptionSpread, _percentiles, for_the_workshop, spreads_of
from diag.decision.worlds import draw_worlds, world_table
from diag.knowledge_base import load_knowledge
from diag.network import build
from tests.decision.reference import slow_of
from tests.decision.tiny import Figures, case_of, knowledge, network_of

Told = dict[tuple[str, Place], str]
TOLD: Told = {("shaking", None): "present", ("chuff", 1): "present", ("spray", 1): "present"}
FAULTY = Figures(injector_bad=0.2, pump_worn=0.2)


def ready_of(
    told: Told = TOLD, figures: Figures = FAULTY, banks: dict[str, tuple[int, ...]] | None = None
) -> Reckoning:
    known = knowledge(figures, banks)
    case = case_of(known, told, figures.distance)
    return reckon(known, case, network_of(known, case))


@cache
def usual(draws: int = 20_000) -> tuple[Reckoning, RepairDecision, dict[str, OptionSpread]]:
    ready = ready_of()
    decision = decide_repair(ready)
    return ready, decision, spreads_of(ready, decision, draws)


def test_worlds_are_drawn_as_often_as_they_are_probable() -> None:
    """Joint states of a seal, its neighbour, an injector and the pump, drawn 40,000 times, against the sum over all
    worlds: within 4.5 standard errors each."""
    ready = ready_of()
    slow = slow_of(ready.knowledge, ready.case, ready.network)
    count = 40_000
    worlds = draw_worlds(world_table(ready.bound, ready.network, ready.posterior), count, seed=3)
    keys = [("seal", 1), ("seal", 2), ("injector", 1), ("pump", None)]
    drawn = np.stack([worlds.states[key] for key in keys])
    truth = np.stack([slow.state(*key) for key in keys])
    for state in np.unique(truth, axis=1).T:
        p = float(slow.chance[(truth == state[:, None]).all(axis=0)].sum())
        often = int((drawn == state[:, None]).all(axis=0).sum())
        assert abs(often - count * p) < 4.5 * np.sqrt(max(count * p * (1 - p), 1.0)), (state, p)


def test_levels_and_configurations_are_drawn_jointly_with_the_worlds() -> None:
    """How hard it blows, given the seal, and the stress that all seals share: as in the sum over all worlds."""
    ready = ready_of()
    slow = slow_of(ready.knowledge, ready.case, ready.network)
    count = 40_000
    worlds = draw_worlds(world_table(ready.bound, ready.network, ready.posterior), count, seed=5)
    stress = ready.network.configuration_states("stress", None)[worlds.configuration]
    levels = slow.worlds.columns[("axis", *slow.network.severity_at("blow", 1))]
    for state in range(3):
        for level in range(3):
            for harsh in (0, 1):
                here = (slow.state("seal", 1) == state) & (levels == level) & (slow.state("stress", None) == harsh)
                p = float(slow.chance[here].sum())
                mine = (worlds.states["seal", 1] == state) & (worlds.levels["blow", 1] == level) & (stress == harsh)
                assert abs(int(mine.sum()) - count * p) < 4.5 * np.sqrt(max(count * p * (1 - p), 1.0))


def test_the_worlds_left_out_are_measured() -> None:
    """The tiny workshop has so few states that hardly anything is left out, and the marginals are the posterior's."""
    ready = ready_of()
    table = world_table(ready.bound, ready.network, ready.posterior)
    assert 0.0 <= table.left_out < 1e-4
    plain = np.ones(len(ready.network.model.configurations))
    assert table.expectation([np.ones(len(plate.values)) for plate in table.plates], plain) == pytest.approx(1.0)
    for site in ready.bound.sites:
        for part in site.parts:
            if part.spot is not None and part.fault:
                states = [plate.states.get(part.key, np.zeros(len(plate.values))) for plate in table.plates]
                factors = [(each == 0) * 1.0 for each in states]
                exact = float(part_chances(part, ready.posterior)[0, 0])
                assert table.expectation(factors, plain) == pytest.approx(exact, abs=2 * table.left_out + 1e-9)


@pytest.mark.parametrize("banks", [None, {"A": (1, 2), "B": (3, 4)}], ids=["inline", "V"])
@pytest.mark.parametrize("shape", [0.8, 2.5])
def test_drawn_money_averages_to_the_objective(banks: dict[str, tuple[int, ...]] | None, shape: float) -> None:
    """The objective equals simulated money within the simulation's error, for every option, ways out included; the
    invoice, too. 20,000 draws of 4 cases, 4.5 standard errors for about 60 comparisons."""
    ready = ready_of(figures=replace(FAULTY, shape=shape), banks=banks)
    decision = decide_repair(ready)
    found = spreads_of(ready, decision, 20_000)
    assert len(found) == len(decision.options)
    for option in decision.options:
        spread = found[option.name]
        allowance = spread.left_out * spread.total.high + 1e-6
        assert abs(spread.total.mean - option.total.amount) < 4.5 * spread.total.mean_error + allowance, option.title
        assert abs(spread.invoice.mean - option.invoice.amount) < 4.5 * spread.invoice.mean_error + allowance


def test_percentiles_rise_and_the_bad_luck_total_lies_above_the_mean_of_a_long_tail() -> None:
    for spread in usual()[2].values():
        for money in (spread.invoice, spread.total):
            assert money.low <= money.middle <= money.high
        assert spread.total.low >= 0.0
        assert spread.invoice.high <= spread.total.high + 1e-9


def test_the_bad_luck_invoice_of_one_seal_is_the_exact_percentile() -> None:
    """One job with one risk: the invoice is either with it or without it, and its chance is the mean over levels."""
    ready, decision, found = usual()
    option = next(each for each in decision.options if each.jobs == (Job("reseal", 1),))
    plate, axis = ready.network.severity_at("blow", 1)
    chance = float(ready.posterior.axes[plate][axis][0] @ np.array([0.02, 0.1, 0.3]))
    sure = option.invoice.amount - chance * 120.0  # two hours at 60 an hour
    assert chance > 0.1
    assert found[option.name].invoice.low == pytest.approx(sure)
    assert found[option.name].invoice.high == pytest.approx(sure + 120.0)


def test_percentiles_of_known_numbers() -> None:
    """10,000 normal values: the 90th percentile within four of its stated errors; the error that of the order statistic
    (normal approximation: sqrt(pq/n)/density, Kendall & Stuart, from memory) within 20 %."""
    values = np.random.default_rng(2).normal(size=10_000)
    found = _percentiles(values)
    wanted = np.sqrt(0.09 / 10_000) / norm.pdf(norm.ppf(0.9))
    assert abs(found.high - norm.ppf(0.9)) < 4 * found.high_error
    assert found.high_error == pytest.approx(wanted, rel=0.2)
    assert abs(found.mean) < 4 * found.mean_error
    assert binom.cdf(9_000, 10_000, 0.9) == pytest.approx(0.5, abs=0.02)  # the rank is the middle of its law


def test_the_same_case_gives_the_same_numbers() -> None:
    """The seed is fixed."""
    ready, decision, _ = usual()
    assert spreads_of(ready, decision, 500) == spreads_of(ready, decision, 500)
    other = spreads_of(ready, decision, 500, seed=1)
    assert other != spreads_of(ready, decision, 500)


def test_not_driving_on_costs_nothing_where_nothing_is_wrong() -> None:
    """Danger is likely, and yet in some worlds all is sound: to let it stand then costs neither work nor damage."""
    figures = replace(FAULTY, scale=3e7, injector_bad=0.15, pump_worn=0.01)
    ready = ready_of({("spray", 1): "present"}, figures)
    decision = decide_repair(ready)
    standing = spreads_of(ready, decision, 2_000)["stop_driving"]
    assert (standing.total.low, standing.invoice.low, standing.invoice.high) == (0.0, 0.0, 0.0)
    assert standing.total.high > 0.0


def test_curing_the_complaint_is_no_less_likely_than_curing_everything() -> None:
    """Whatever was complained of is a part of all that may be wrong; with everything suspected they are one chance."""
    _, decision, found = usual()
    for option in decision.options:
        assert found[option.name].cures_complaint >= option.cures - 1e-4


def test_only_what_could_be_behind_the_complaint_counts() -> None:
    """Chuffing on 1 comes of how hard it blows there, so of that seal alone; shaking of seals, injectors and pump."""
    known = knowledge()
    case = case_of(known, {("chuff", 1): "present", ("whine", None): "absent"})
    assert complaint_of(known, case) == (("chuff", 1),)
    assert causes_of_complaint(known, case) == {("seal", 1)}
    shaking = case_of(known, {("shaking", None): "present"})
    assert causes_of_complaint(known, shaking) == {
        *((each, n) for each in ("seal", "injector") for n in (1, 2)), ("pump", None)
    }  # fmt: skip


def test_the_chance_of_curing_the_complaint_is_that_of_its_components() -> None:
    """Complaint: chuffing on 1. Resealing 1 cures it by the chance that a new seal is sound, whatever else is wrong;
    doing nothing by the chance that it was sound."""
    ready = ready_of({("chuff", 1): "present"}, FAULTY)
    decision = decide_repair(ready)
    found = spreads_of(ready, decision, 200)
    by_jobs = {frozenset(option.jobs): option.name for option in decision.options}
    assert found[by_jobs[frozenset({Job("reseal", 1)})]].cures_complaint == pytest.approx(1 - FAULTY.fresh, abs=1e-4)
    slow = slow_of(ready.knowledge, ready.case, ready.network)
    sound = float(slow.chance[slow.state("seal", 1) == 0].sum())
    assert found["nothing"].cures_complaint == pytest.approx(sound, abs=1e-4)


def test_without_a_complaint_the_cure_is_of_everything() -> None:
    ready = ready_of({("chuff", 1): "absent"})
    decision = decide_repair(ready)
    for option in decision.options:
        if all(job.repair not in ("refer", "stop_driving") for job in option.jobs):
            found = spreads_of(ready, decision, 100)[option.name]
            assert found.cures_complaint == pytest.approx(option.cures, abs=1e-4), option.title


def test_a_soft_yes_is_a_complaint_and_a_soft_no_is_none() -> None:
    answers = {
        "a_bit": {"name": "a bit", "ratio": 2.5, "basis": {"source": "elicited"}},
        "hardly": {"name": "hardly", "ratio": 0.4, "basis": {"source": "elicited"}},
    }
    plain = knowledge()
    known = type(plain).model_validate(plain.model_dump() | {"answers": answers})
    case = case_of(known, {("chuff", 1): "a_bit", ("chuff", 2): "hardly"})
    assert complaint_of(known, case) == (("chuff", 1),)


def test_the_workshops_own_side_stands_apart() -> None:
    """Its figures change no total and no advice; more work has more to guarantee and a larger margin."""
    plain = knowledge(FAULTY)
    own = {"guarantee_share": 1.0, "goodwill_share": 0.5, "lost_trust": 100.0, "margin": 0.25}
    prices = plain.prices.model_dump() | {"own_side": own, "terms": {"guarantee_months": 24, "guarantee_km": 40_000}}
    known = type(plain).model_validate(plain.model_dump() | {"prices": prices})
    case = case_of(known, TOLD, FAULTY.distance)
    decisions = [decide_repair(reckon(each, case, network_of(each, case))) for each in (plain, known)]
    assert [o.total for o in decisions[0].options] == [o.total for o in decisions[1].options]
    found = spreads_of(reckon(known, case, network_of(known, case)), decisions[1], 4_000)
    by_jobs = {frozenset(option.jobs): option for option in decisions[1].options}
    one = by_jobs[frozenset({Job("reseal", 1)})]
    both = by_jobs[frozenset({Job("reseal", 1), Job("reseal", 2)})]
    assert found[both.name].side.guarantee > found[one.name].side.guarantee > 0.0
    assert found[one.name].side.margin == pytest.approx(0.25 * one.invoice.amount)
    assert found["nothing"].side.cost == 0.0
    half_of_the_diagnosis = 0.5 * 30.0  # half an hour at 60
    not_cured = 1 - found[one.name].cures_complaint
    assert found[one.name].side.goodwill == pytest.approx(not_cured * (half_of_the_diagnosis + 100), rel=1e-9)


def test_for_the_workshop_that_comes_first_which_leaves_it_least_to_bear() -> None:
    """Of what mends and is not barred; what it earns does not count, and no option is lost."""
    ready, decision, spreads = usual()
    found = for_the_workshop(ready.knowledge, decision, spreads)
    assert {option.name for option in found.options} == {option.name for option in decision.options}
    assert [option.name for option in found.options if option.best] == [found.best.name]

    def mends(option: PlanOption) -> bool:
        return any(ready.knowledge.repairs[job.repair].kind == "mend" for job in option.jobs)

    fine = [option for option in decision.options if mends(option) and not option.barred]
    assert found.best.name in {option.name for option in fine}
    assert spreads[found.best.name].side.cost == min(spreads[option.name].side.cost for option in fine)
    barred = structs.replace(
        decision, options=tuple(replace(o, barred="no" if mends(o) else "") for o in decision.options)
    )
    assert not mends(for_the_workshop(ready.knowledge, barred, spreads).best)


def upsetting(figures: Figures = FAULTY) -> Reckoning:
    """The tiny workshop, in which work on an injector may upset the pump, which is of the vehicle."""
    known = knowledge(figures)
    repairs = dict(known.repairs)
    for name in ("reseal", "replace_injector"):
        repairs[name] = repairs[name].model_copy(update={"disturbs": (*repairs[name].disturbs, "pump")})
    pump = known.components["pump"].model_copy(update={"disturbed": {"bad": known.components["pipe"].disturbed["bad"]}})
    made = known.model_copy(update={"repairs": repairs, "components": {**known.components, "pump": pump}})
    case = case_of(made, TOLD, figures.distance)
    return reckon(made, case, network_of(made, case))


def test_what_work_upsets_elsewhere_is_drawn_as_the_objective_has_it() -> None:
    """A job on a cylinder upsets a part of the vehicle with one chance in five: the money averages to the objective;
    the workshop bears it; and the complaint is cured so much less often, for the pump may be behind it."""
    figures = replace(FAULTY, upset=0.2)
    ready, plain = upsetting(figures), ready_of(figures=figures)
    decision = decide_repair(ready)
    found = spreads_of(ready, decision, 20_000)
    for option in decision.options:
        spread = found[option.name]
        allowance = spread.left_out * spread.total.high + 1e-6
        assert abs(spread.total.mean - option.total.amount) < 4.5 * spread.total.mean_error + allowance, option.title
    assert ("pump", None) in causes_of_complaint(ready.knowledge, ready.case)
    before = decide_repair(plain)
    was = spreads_of(plain, before, 20_000)
    named = {option.jobs: option.name for option in before.options}
    both = [option for option in decision.options if option.jobs in named and len(option.jobs) == 1]
    seals = [option for option in both if option.jobs[0].repair == "reseal"]
    assert seals
    for option in seals:
        less = found[option.name].cures_complaint / was[named[option.jobs]].cures_complaint
        assert less == pytest.approx(0.8, abs=0.01)
        assert found[option.name].side.guarantee > was[named[option.jobs]].side.guarantee


def test_guarantee_work_is_what_the_work_brought_about_and_what_fails_while_the_workshop_stands_for_it() -> None:
    """With a longer guarantee it is more, never less; without one it is what the work itself upset."""
    ready = ready_of(figures=replace(FAULTY, shape=0.8, scale=60_000.0, horizon=60.0))
    decision, shares = decide_repair(ready), []
    for months in (None, 12.0, 48.0):
        prices = ready.knowledge.prices
        terms = prices.terms.model_copy(update={"guarantee_months": months, "guarantee_km": None})
        known = ready.knowledge.model_copy(update={"prices": prices.model_copy(update={"terms": terms})})
        found = spreads_of(replace(ready, knowledge=known), decision, 2_000)
        option = next(each for each in decision.options if any(job.repair == "reseal" for job in each.jobs))
        shares.append(found[option.name].side.guarantee)
    assert 0.0 < shares[0] < shares[1] < shares[2]


def test_the_workshop_bears_what_its_work_made_unsound_and_not_what_was_so_before() -> None:
    """By hand, without later failures: mending the new seal times its chance of being bad, and mending the pipe times
    the chance that it was sound and was upset; within five standard errors of 40,000 draws."""
    figures = replace(FAULTY, upset=0.3)
    ready = ready_of({**TOLD, ("shaking", None): "absent"}, figures)
    terms = ready.knowledge.prices.terms.model_copy(update={"guarantee_months": None})
    prices = ready.knowledge.prices.model_copy(update={"terms": terms})
    ready = replace(ready, knowledge=ready.knowledge.model_copy(update={"prices": prices}))
    decision, draws = decide_repair(ready), 40_000
    option = next(each for each in decision.options if each.jobs == (Job("reseal", 1),))
    parts = {part.key: part for site in ready.bound.sites for part in site.parts}
    seal, pipe = parts["seal", 1], parts["pipe", 1]
    of_configurations = ready.posterior.configurations[0]
    bad = float(of_configurations @ np.broadcast_to(1.0 - seal.fresh[:, 0], of_configurations.shape))
    chances = np.array([bad, figures.upset * float(part_chances(pipe, ready.posterior)[0, 0])])
    money = np.array([seal.mending, pipe.mending])
    error = float(np.sqrt(((money**2) * chances * (1 - chances)).sum() / draws)) + float(money.sum()) * 0.02
    share = ready.knowledge.prices.own_side.guarantee_share.value
    borne = spreads_of(ready, decision, draws)[option.name].side.guarantee / share
    assert borne == pytest.approx(float(money @ chances), abs=5 * error)


def test_a_specialist_that_mends_what_is_unsound_spares_that_at_the_return() -> None:
    """A way out that renews the pump: the drawn money of it averages to the objective, too."""
    known = knowledge(FAULTY)
    refer = known.repairs["refer"].model_copy(update={"renews": ("pump",)})
    known = known.model_copy(update={"repairs": {**known.repairs, "refer": refer}})
    case = case_of(known, {**TOLD, ("whine", None): "present"}, FAULTY.distance)
    ready = reckon(known, case, network_of(known, case))
    decision = decide_repair(ready)
    option = next(each for each in decision.options if each.name == "refer")
    found = spreads_of(ready, decision, 20_000)[option.name]
    plain = reckon(knowledge(FAULTY), case, network_of(knowledge(FAULTY), case))
    without = next(each for each in decide_repair(plain).options if each.name == "refer")
    assert option.total.amount < without.total.amount - 50.0
    assert found.total.mean == pytest.approx(option.total.amount, abs=4.5 * found.total.mean_error + 0.5)


@pytest.mark.parametrize("engine", ["ostrel_4", "karrick_v8"])
def test_where_nothing_was_complained_of_every_option_cures_what_its_plan_cures(engine: str) -> None:
    """With the knowledge that ships, in which some faults are of the configuration: both are the chance that nothing
    at all is left."""
    known = load_knowledge()
    case = read_case("t.yaml", known, f"title: t\nengine: {engine}\ndistance: 160000 km\nage: 9 years\n")
    ready = reckon(known, case, build(known, case))
    assert not causes_of_complaint(known, case)
    decision = decide_repair(ready)
    found = spreads_of(ready, decision, 50)
    assert max(option.cures for option in decision.options) > 0.5
    for option in decision.options:
        spread = found[option.name]
        assert spread.cures_complaint == pytest.approx(option.cures, abs=spread.left_out + 1e-6), option.title
