"""Injectors exchanged between two takings of the corrections, return flows read before: every world, by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from diag.casebook import Case, Epoch, Measured, Work, read_case
from diag.inference import infer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import build, building, component_states, weigh
from tests.network.tiny import component, engine, repair, severity, tiny_knowledge

JUDGED = {"source": "elicited"}
MIDDLES, WIDTHS, ERROR = np.array([0.0, 2.5]), np.array([0.7, 1.1]), 0.2
RETURNS, APART, TOGETHER = np.array([18.0, 40.0]), 0.35, 0.2
WEAK, SHOWS = 0.25, 0.8


def workshop(exact: bool = True) -> Knowledge:
    """Injectors that give even or under; an exchange that moves them and nothing else."""
    basis = {"basis": JUDGED}
    correction = {
        "name": "correction", "ask": "?", "plain": "it", "shows": "giving", "unit": "mg/stroke",
        "spread": {
            "even": {"middle": MIDDLES[0], "width": WIDTHS[0]}, "under": {"middle": MIDDLES[1], "width": WIDTHS[1]},
        },
        "instrument_error": ERROR, "lowest": -20, "highest": 20, "decimals": 3,
        "shift": {"kind": "sum zero", "ordinary": 0.8, **basis}, **basis,
    }  # fmt: skip
    width = float(np.hypot(APART, TOGETHER))
    returns = {
        "name": "returns", "ask": "?", "plain": "it", "shows": "injector", "unit": "mL/min",
        "spread": {
            "sound": {"shape": "log-normal", "middle": RETURNS[0], "width": width},
            "weak": {"shape": "log-normal", "middle": RETURNS[1], "width": width},
        },
        "instrument_error": 1e-4 if exact else 2.0, "lowest": 0, "highest": 500, "decimals": 3,
        "shift": {"kind": "common factor", "width": TOGETHER, "ordinary": 0.9, **basis}, **basis,
    }  # fmt: skip
    return tiny_knowledge(
        components={
            "injector": component("cylinder", ["sound", "weak"], chance={"weak": WEAK}, fresh={"weak": 0.08}),
            "seal": component("cylinder", ["sound", "blown"], chance={"blown": 0.1}, fresh={"blown": 0.05}),
        },
        severities={
            "giving": severity("cylinder", ["even", "under"], {"injector": {"weak": {"under": SHOWS}}}),
            "leaking": severity("cylinder", ["dry", "wet"], {"seal": {"blown": {"wet": 0.6}}}),
        },
        findings={},
        readings={"correction": correction, "returns": returns},
        repairs={
            "swap": repair("cylinder", ["seal"], moves=["injector"]),
            "new_injector": repair("cylinder", ["injector", "seal"]),
        },
    )


def case_of(*epochs: Epoch) -> Case:
    """Three cylinders."""
    return Case("a test", engine(3), "test", 120_000.0, 10.0, (), epochs)


def shown(item: str, unit: str, values: dict[int, float]) -> tuple[Measured, ...]:
    return tuple(Measured(item, cylinder, value, unit) for cylinder, value in values.items())


BEFORE = {1: 2.4, 2: -1.35, 3: -1.0}
AFTER = {1: -1.2, 2: 1.9, 3: -0.75}
FLOWS = {1: 31.0, 2: 17.5, 3: 20.0}


def exchanged(flows: dict[int, float]) -> Case:
    """Corrections, with returns or without; 1 and 2 exchanged; corrections."""
    first = Epoch((), (), (*shown("correction", "mg/stroke", BEFORE), *shown("returns", "mL/min", flows)))
    return case_of(first, Epoch((Work("swap", 1, other=2),), (), shown("correction", "mg/stroke", AFTER)))


def by_hand(flows: dict[int, float]) -> np.ndarray:
    """Chance of each injector to be weak, where it stands now: the sum over all worlds, everything normal.

    Contrasts within each taking are free of the shift; a cylinder keeps its place in the law of a level. The logarithms
    of the returns are normal with what all share (that of the instrument is nothing beside it).
    """
    free = np.array([[1.0, 0.0, -1.0], [0.0, 1.0, -1.0]])
    contrast = np.kron(np.eye(2), free)
    seen = contrast @ np.array([*BEFORE.values(), *AFTER.values()])
    total, weak = 0.0, np.zeros(3)
    for world in itertools.product(range(3), repeat=3):  # of each injector: sound, weak and even, weak and under
        under = np.array([each == 2 for each in world], dtype=int)
        levels = np.array([under, under[[1, 0, 2]]])
        loading = np.zeros((6, 6))
        for taking, cylinder in itertools.product(range(2), range(3)):
            level = levels[taking, cylinder]
            loading[3 * taking + cylinder, 2 * cylinder + level] = WIDTHS[level]
        covariance = contrast @ (loading @ loading.T + ERROR**2 * np.eye(6)) @ contrast.T
        chance = stats.multivariate_normal.pdf(seen, contrast @ MIDDLES[levels].ravel(), covariance)
        ill = np.array([each > 0 for each in world], dtype=int)
        chance *= np.prod([(1 - WEAK, WEAK * (1 - SHOWS), WEAK * SHOWS)[each] for each in world])
        if flows:
            logs = np.log([flows[cylinder] for cylinder in (1, 2, 3)])
            covariance = APART**2 * np.eye(3) + TOGETHER**2
            chance *= stats.multivariate_normal.pdf(logs, np.log(RETURNS[ill]), covariance)
        total += chance
        weak += chance * ill[[1, 0, 2]]
    return weak / total


@pytest.mark.parametrize("flows", [{}, FLOWS], ids=["corrections", "corrections and returns"])
def test_an_exchange_between_two_takings_agrees_with_every_world(flows: dict[int, float]) -> None:
    """To 5e-6, with three times as many nodes; to the error that is stated without."""
    for finer, off in ((3, 5e-6), (1, 1e-4)):
        network = build(workshop(), exchanged(flows), finer)
        states = component_states(network, infer(network.model, network.evidence))
        weak = [float(states["injector", cylinder][1]) for cylinder in (1, 2, 3)]
        np.testing.assert_allclose(weak, by_hand(flows), atol=off)


HISTORIES = {
    "read before": ({}, FLOWS, {}, {}),
    "read before and after": ({}, FLOWS, {1: 19.0, 2: 29.0, 3: 21.0}, {}),
    "read before, of two": ({}, {1: 31.0, 3: 20.0}, {}, {}),
    "read twice before, with nothing done between": (FLOWS, {1: 29.5, 2: 18.0, 3: 19.0}, {}, {}),
    "read after another had been renewed": ({}, FLOWS, {1: 19.0, 2: 29.0, 3: 21.0}, {2: 18.5}),
}


@pytest.mark.parametrize("name", HISTORIES)
def test_it_is_the_same_where_a_state_is_told_at_home(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was read of a part that went elsewhere is told where it is, or by the class of the configuration."""
    works: tuple[tuple[Work, ...], ...] = ((), (), (Work("swap", 1, other=2),), (Work("new_injector", 3),))
    epochs = [
        Epoch(work, (), (*shown("returns", "mL/min", flows), *shown("correction", "mg/stroke", told)))
        for work, flows, told in zip(works, HISTORIES[name], ({}, BEFORE, AFTER, {}), strict=True)
    ]
    knowledge = workshop(exact=False)
    at_home = weigh(knowledge, case_of(*epochs))
    monkeypatch.setattr(building, "known_alone", lambda *_: frozenset())
    by_class = weigh(knowledge, case_of(*epochs))
    few, many = (len(each.network.model.configurations) for each in (at_home, by_class))
    assert few < many if "after" not in name else few == many
    assert at_home.log_evidence == pytest.approx(by_class.log_evidence, abs=1e-9)
    here, there = (
        {(each.component, each.place, each.state): each.probability for each in weighed.faults}
        for weighed in (at_home, by_class)
    )
    assert here == pytest.approx(there, abs=1e-10)


SHIPPED = load_knowledge()
OPEN, LOOKED_UP = "", "numbering: confirmed\n"


@pytest.mark.parametrize("numbering", [OPEN, LOOKED_UP], ids=["numbering open", "looked up"])
def test_corrections_before_and_after_with_returns_are_worked_out_finely(numbering: str) -> None:
    """Four cylinders: no more configurations than there is room for, nodes to 2e-4, the injector blamed where it is."""
    text = (
        f"engine: ostrel_4\n{numbering}findings: {{rough_idle: present}}\n"
        "readings: {correction: {1: -1.2 mg/stroke, 2: 3.0 mg/stroke, 3: -1.0 mg/stroke, 4: -0.8 mg/stroke}, "
        "return_flow: {1: 18 mL/min, 2: 19 mL/min, 3: 20 mL/min, 4: 21 mL/min}}\n"
        "tried: [{did: swap_injectors, cylinder: 2, with: 3, then: {readings: {correction: {1: -1.1 mg/stroke, "
        "2: -0.9 mg/stroke, 3: 2.9 mg/stroke, 4: -0.9 mg/stroke}}}}]\n"
    )
    network = build(SHIPPED, read_case("case.yaml", SHIPPED, text))
    assert network.shifted is not None
    assert len(network.model.configurations) <= 120_000
    assert network.shifted.error <= 2e-4
    states = component_states(network, infer(network.model, network.evidence, unseen=False))
    moved = 1.0 - states["injector", 3][0]
    assert moved > 0.5 > 5 * (1.0 - states["injector", 2][0])


def test_the_likeliest_combinations_name_what_moved_once_and_where_it_is() -> None:
    """Corrections before and after: an injector is held with where it was before, and no combination says that."""
    told = "{1: -0.7 mg/stroke, 2: 2.4 mg/stroke, 3: -0.9 mg/stroke, 4: -0.8 mg/stroke}"
    after = "{1: -0.7 mg/stroke, 2: -0.9 mg/stroke, 3: 2.3 mg/stroke, 4: -0.7 mg/stroke}"
    text = (
        f"engine: ostrel_4\nnumbering: confirmed\nfindings: {{rough_idle: present}}\nreadings: {{correction: {told}}}\n"
        f"tried: [{{did: swap_injectors, cylinder: 2, with: 3, then: {{readings: {{correction: {after}}}}}}}]\n"
    )
    weighed = weigh(SHIPPED, read_case("case.yaml", SHIPPED, text), combinations=4)
    named = [[*(key for key, _ in each.faults), *(one.key for one in each.mended)] for each in weighed.combinations]
    assert named[0] == [("injector", 3)]
    assert all(len(keys) == len(set(keys)) and ("injector", 2) not in keys for keys in named)
    chances = {
        each.state: each.probability for each in weighed.faults if (each.component, each.place) == ("injector", 3)
    }
    best = weighed.combinations[0]
    assert best.probability <= chances[dict(best.faults)["injector", 3]]
