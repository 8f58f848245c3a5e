"""Asia: Lauritzen & Spiegelhalter, J. Roy. Statist. Soc. B 50:157-224 (1988), as it comes with pgmpy.

The posteriors are computed from the inputs of the cited example. Read from the packaged file, the network is checked
on both reference paths. For our engine it is written down in two ways: all in one plate, and with tuberculosis, cancer
and bronchitis as plates that meet in shared severities ('either' is their maximum). Visit and smoking are the
configuration.
"""

from __future__ import annotations

import gzip
import warnings
from importlib.resources import files

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.inference import Array, Axis, Component, Emission, Evidence, Form, Link, Model, Plate, SharedSeverity, infer
from tests.support.to_reference import Network, Node, pgmpy_marginals, pyagrum_marginals

VISIT, SMOKING = np.array([0.99, 0.01]), np.array([0.5, 0.5])  # [no, yes]
P_TUBERCULOSIS, P_CANCER, P_BRONCHITIS = np.array([0.01, 0.05]), np.array([0.01, 0.1]), np.array([0.3, 0.6])
P_XRAY = np.array([0.05, 0.98])  # [either]
P_DYSPNOEA = np.array([[0.1, 0.8], [0.7, 0.9]])  # [either, bronchitis]
CONFIGURATIONS = [(visit, smoking) for visit in (0, 1) for smoking in (0, 1)]
IDENTITY = np.eye(2)
DISEASES = ("tub", "lung", "bronc")
WITHOUT_XRAY = (0.0877510, 0.09952515, 0.8114021)
WITH_XRAY = (0.391712, 0.444271, 0.628822)


def component(name: str, chance: Array, cause: int, axis: int) -> Component:
    """A disease whose prior depends on visit (cause 0) or smoking (cause 1), certain to show on its axis."""
    present = np.array([chance[states[cause]] for states in CONFIGURATIONS])
    return Component(name, np.stack([1 - present, present], axis=1), (Link((axis,), IDENTITY[None]),))


def in_one_plate() -> Model:
    """The patient as one plate: local severities 'either' and 'bronchitis'."""
    components = (
        component("tub", P_TUBERCULOSIS, 0, 0),
        component("lung", P_CANCER, 1, 0),
        component("bronc", P_BRONCHITIS, 1, 1),
    )
    plate = Plate("patient", components, (Axis("either", 2), Axis("bronchitis", 2)))
    return Model(np.outer(VISIT, SMOKING).ravel(), (plate,), ())


def in_three_plates() -> Model:
    """Each disease a plate of its own; 'either' and 'bronchitis' are shared severities."""
    rows = ((DISEASES[0], P_TUBERCULOSIS, 0, 0), (DISEASES[1], P_CANCER, 1, 0), (DISEASES[2], P_BRONCHITIS, 1, 1))
    plates = tuple(
        Plate(name, (component(name, chance, cause, 0),), (Axis("there", 2),), (Emission(shared, (0,), IDENTITY),))
        for name, chance, cause, shared in rows
    )
    return Model(
        np.outer(VISIT, SMOKING).ravel(), plates, (SharedSeverity("either", 2), SharedSeverity("bronchitis", 2))
    )


def visited() -> dict[tuple[int, int], Array]:
    """The visit to Asia, told as a likelihood of the configuration."""
    return {(0, 0): np.array([[[states[0], states[0]] for states in CONFIGURATIONS]], dtype=np.float64)}


def local_evidence(xray: bool) -> Evidence:
    """Visit, dyspnoea and perhaps a positive X-ray, for the one plate."""
    axes = [(0, (0, 1), P_DYSPNOEA[None])] + ([(0, (0,), P_XRAY[None])] if xray else [])
    return Evidence(1, visited(), tuple(axes))


def shared_evidence(xray: bool) -> Evidence:
    """The same for the three plates."""
    dyspnoea = (((0, 0), (1, 0)), P_DYSPNOEA[None])
    return Evidence(1, visited(), (), (dyspnoea, (((0, 0),), P_XRAY[None])) if xray else (dyspnoea,))


@pytest.mark.parametrize(("xray", "expected"), [(False, WITHOUT_XRAY), (True, WITH_XRAY)])
def test_patient_as_one_plate(xray: bool, expected: tuple[float, ...]) -> None:
    """Computed from the inputs of Lauritzen & Spiegelhalter: joint evidence on two local severities."""
    found = infer(in_one_plate(), local_evidence(xray))
    values = [float(marginal[0, 1]) for marginal in found.components[0]]
    assert_allclose(values, expected, atol=5e-7)


@pytest.mark.parametrize("form", ["subtracting", "carrying"])
@pytest.mark.parametrize(("xray", "expected"), [(False, WITHOUT_XRAY), (True, WITH_XRAY)])
def test_patient_as_three_plates(xray: bool, expected: tuple[float, ...], form: Form) -> None:
    """The same through shared severities, with joint evidence on two of them, in both forms."""
    found = infer(in_three_plates(), shared_evidence(xray), form)
    values = [float(plate[0][0, 1]) for plate in found.components]
    assert_allclose(values, expected, atol=5e-7)


def test_probability_of_the_evidence() -> None:
    """Computed from the same inputs: P(visit, dyspnoea) = 0.004501375, however it is written down."""
    for found in (infer(in_one_plate(), local_evidence(False)), infer(in_three_plates(), shared_evidence(False))):
        assert np.exp(found.log_evidence[0]) == pytest.approx(0.004501375, abs=1e-12)


def packaged() -> dict[str, Node]:
    """Asia from the file in pgmpy, with state 0 'yes' throughout."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)  # pgmpy's own, about its other modules, on first import
        from pgmpy.readwrite import BIFReader
    text = gzip.decompress(files("pgmpy").joinpath("utils/example_models/asia.bif.gz").read_bytes()).decode()
    network = BIFReader(string=text).get_model()
    assert network.check_model()
    nodes = {}
    for table in network.get_cpds():
        name, *parents = table.variables
        order = [table.state_names[variable].index("yes") for variable in table.variables]
        values = table.values
        for axis, place in enumerate(order):
            values = np.flip(values, axis) if place else values
        nodes[name] = Node(name, tuple(parents), np.moveaxis(values, 0, -1))
    return nodes


def test_the_packaged_network_is_the_published_one() -> None:
    """The tables in pgmpy's file are those that this test writes down by hand."""
    nodes = packaged()
    assert_allclose(nodes["asia"].table[0], VISIT[1])
    assert_allclose(nodes["smoke"].table[0], SMOKING[1])
    assert_allclose(nodes["tub"].table[::-1, 0], P_TUBERCULOSIS)
    assert_allclose(nodes["lung"].table[::-1, 0], P_CANCER)
    assert_allclose(nodes["bronc"].table[::-1, 0], P_BRONCHITIS)
    assert_allclose(nodes["xray"].table[::-1, 0], P_XRAY)
    dyspnoea = nodes["dysp"]
    order = [dyspnoea.parents.index("either"), dyspnoea.parents.index("bronc"), 2]
    assert_allclose(np.transpose(dyspnoea.table, order)[::-1, ::-1, 0], P_DYSPNOEA)


@pytest.mark.parametrize(("xray", "expected"), [(False, WITHOUT_XRAY), (True, WITH_XRAY)])
def test_reference_paths(xray: bool, expected: tuple[float, ...]) -> None:
    """Computed from the same inputs by pgmpy and by pyAgrum on the packaged network."""
    nodes = packaged()
    sequence = ("asia", "smoke", "tub", "lung", "bronc", "either", "xray", "dysp")
    observed = ("asia", "dysp", "xray") if xray else ("asia", "dysp")
    network = Network(tuple(nodes[name] for name in sequence), observed, 0.0)
    log_probability, found = pyagrum_marginals(network, DISEASES)
    by_elimination = pgmpy_marginals(network, DISEASES)
    for name, value in zip(DISEASES, expected, strict=True):
        assert found[name][0] == pytest.approx(value, abs=5e-7)
        assert by_elimination[name][0] == pytest.approx(value, abs=5e-7)
    if not xray:
        assert np.exp(log_probability) == pytest.approx(0.004501375, abs=1e-12)
