"""Corrections that share a shift, in whole cases: several stages, nothing lost without them, nodes enough."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from diag.casebook import Case, Epoch, Measured, Work
from diag.inference import infer
from diag.knowledge_base import Knowledge, Reading, load_knowledge
from diag.network import build, component_states, weigh
from tests.network.tiny import component, engine, repair, severity, tiny_knowledge

WHOLE = load_knowledge()
JUDGED = {"source": "elicited"}
MIDDLES, WIDTHS, ERROR = np.array([0.0, 2.5]), np.array([0.7, 1.1]), 0.2
WEAK, FRESH, SHOWS = 0.25, 0.08, 0.8


def simple() -> Knowledge:
    """Nothing but injectors that give even or under, so that everything is normal and worked out by hand."""
    reading = {
        "name": "correction", "ask": "?", "plain": "it", "shows": "giving", "unit": "mg/stroke",
        "spread": {
            "even": {"middle": MIDDLES[0], "width": WIDTHS[0]}, "under": {"middle": MIDDLES[1], "width": WIDTHS[1]},
        },
        "instrument_error": ERROR, "lowest": -20, "highest": 20, "decimals": 3, "basis": JUDGED,
        "shift": {"kind": "sum zero", "ordinary": 0.8, "basis": JUDGED},
    }  # fmt: skip
    return tiny_knowledge(
        components={"injector": component("cylinder", ["sound", "weak"], chance={"weak": WEAK}, fresh={"weak": FRESH})},
        severities={"giving": severity("cylinder", ["even", "under"], {"injector": {"weak": {"under": SHOWS}}})},
        findings={},
        readings={"correction": reading},
        repairs={"new_injector": repair("cylinder", ["injector"])},
    )


def corrections(values: dict[int, float]) -> tuple[Measured, ...]:
    """One taking of all cylinders."""
    return tuple(Measured("correction", cylinder, value, "mg/stroke") for cylinder, value in values.items())


def case_of(cylinders: int, *stages: tuple[tuple[Work, ...], dict[int, float]]) -> Case:
    """A case with one taking of the corrections in each epoch."""
    epochs = tuple(Epoch(work, (), corrections(values)) for work, values in stages)
    return Case("a test", engine(cylinders), "test", 120_000.0, 10.0, (), epochs)


def weak_now(case: Case) -> list[float]:
    """Chance of each injector to be weak as it stands."""
    network = build(simple(), case, finer=3)
    states = component_states(network, infer(network.model, network.evidence))
    return [float(states["injector", cylinder][1]) for cylinder in case.engine.cylinders]


def test_two_stages_agree_with_the_normal_law() -> None:
    """Injector 1 renewed between two takings: all levels enumerated, each a multivariate normal (derived here).

    With z a standard normal of each cylinder and level, y[stage, k] = middle + width z - c[stage] + error. Contrasts
    within each stage are free of c. The cylinder whose injector was renewed keeps its z only where the level stays.
    """
    first, second = {1: 2.9, 2: -1.6, 3: -1.3}, {1: 0.35, 2: -0.3, 3: -0.05}
    case = case_of(3, ((), first), ((Work("new_injector", 1),), second))
    free = np.array([[1.0, 0.0, -1.0], [0.0, 1.0, -1.0]])
    contrast = np.kron(np.eye(2), free)
    shown = contrast @ np.array([*first.values(), *second.values()])
    total, weak = 0.0, np.zeros(3)
    for old, new, two, three in itertools.product(range(2), repeat=4):
        levels = np.array([[old, two, three], [new, two, three]])
        mean = contrast @ MIDDLES[levels].ravel()
        loading = np.zeros((6, 4))  # of the place of cylinder 1 at each level, of cylinder 2, of cylinder 3
        for stage, level in enumerate((old, new)):
            loading[3 * stage + np.arange(3), [level, 2, 3]] = WIDTHS[[level, two, three]]
        covariance = contrast @ (loading @ loading.T + ERROR**2 * np.eye(6)) @ contrast.T
        chance = stats.multivariate_normal.pdf(shown, mean, covariance)
        for level, prior in ((old, WEAK), (new, FRESH), (two, WEAK), (three, WEAK)):
            chance *= prior * SHOWS if level else 1 - prior * SHOWS
        total += chance
        for place, (level, prior) in enumerate(((new, FRESH), (two, WEAK), (three, WEAK))):
            weak[place] += chance * (1.0 if level else prior * (1 - SHOWS) / (1 - prior * SHOWS))
    np.testing.assert_allclose(weak_now(case), weak / total, atol=5e-5)  # the grids stop at 1e-4


def test_the_same_corrections_again_tell_nothing_new_but_the_instrument() -> None:
    """Two takings with nothing renewed are one stage: as if each had been read twice, to the last digit."""
    values = {1: 2.2, 2: -0.9, 3: -1.3}
    twice = Case("a test", engine(3), "test", 120_000.0, 10.0, (), (Epoch((), (), corrections(values) * 2),))
    again = case_of(3, ((), values), ((), values))
    np.testing.assert_array_equal(weak_now(again), weak_now(twice))


def test_what_follows_of_a_part_that_was_renewed_is_as_if_it_had_been_read() -> None:
    """Corrections that show the injector itself, those of 3 never read, before and after it was renewed: as if the
    negative sum of the others had been read there, with their errors."""
    reading = dict(simple().readings["correction"])
    spread = {"sound": reading["spread"]["even"], "weak": reading["spread"]["under"]}
    shows = {**reading, "shows": "injector", "spread": spread}
    knowledge = simple().model_copy(update={"readings": {"correction": Reading.model_validate(shows)}})
    told = [((), {1: -1.1, 2: -1.3}), ((Work("new_injector", 3),), {1: -0.1, 2: 0.2})]
    case = case_of(3, *told)
    sums = [Measured("correction", 3, -sum(values.values()), "mg/stroke", error=2**0.5 * ERROR) for _, values in told]
    epochs = [replace(each, measured=(*each.measured, one)) for each, one in zip(case.epochs, sums, strict=True)]
    states = [weigh(knowledge, each).faults for each in (case, replace(case, epochs=tuple(epochs)))]
    followed, read = ({each.place: each.probability for each in one} for one in states)
    assert followed == pytest.approx(read, abs=1e-12)


@pytest.mark.parametrize("engine_id", ["ostrel_3", "ostrel_4", "velm_5", "karrick_v6"])
def test_the_nodes_that_are_taken_are_enough(engine_id: str) -> None:
    """Four times as many change no chance of any fault by more than the error that the grid states, ten times."""
    known = WHOLE.engines[engine_id]
    rest = -3.6 / (len(known.cylinders) - 1)
    values = {cylinder: 3.6 if cylinder == 2 else round(rest, 1) for cylinder in known.cylinders}
    case = Case("a test", known, engine_id, 187_000.0, 11.0, (), (Epoch((), (), corrections(values)),))
    few, many = build(WHOLE, case), build(WHOLE, case, finer=3)
    assert few.shifted is not None and many.shifted is not None
    assert len(few.model.configurations) < len(many.model.configurations)
    states = [component_states(each, infer(each.model, each.evidence)) for each in (few, many)]
    off = max(float(np.abs(states[0][key] - states[1][key]).max()) for key in states[0])
    assert off < 10 * max(few.shifted.error, 1e-5)


def test_without_such_readings_nothing_is_paid() -> None:
    """The configurations are as many as before."""
    case = Case("a test", WHOLE.engines["ostrel_4"], "ostrel_4", 187_000.0, 11.0)
    told = replace(case, epochs=(Epoch((), (), (Measured("cranking_speed", None, 210.0, "rpm"),)),))
    network = build(WHOLE, told)
    assert network.shifted is None
    assert len(network.model.configurations) == len(build(WHOLE, case).model.configurations)


def test_what_does_not_sum_to_zero_is_said_in_the_notes() -> None:
    """The page shows the sentence."""
    case = case_of(3, ((), {1: 3.0, 2: 2.8, 3: 3.1}))
    assert any("sum to 8.9" in note for note in weigh(simple(), case).notes)
