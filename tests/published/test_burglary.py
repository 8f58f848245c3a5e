"""Burglary: Pearl, *Probabilistic Reasoning in Intelligent Systems* (1988); numbers as in Russell & Norvig.

The posteriors are computed from the inputs of the cited example. The alarm is not a noisy-OR of burglary and
earthquake (the first test), so the pair of them is the configuration, and the alarm a component whose prior depends on
it; the two calls are likelihoods of the alarm's state. The example is checked on the reference path as well.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.inference import Array, Component, Evidence, Model, Plate, Posterior, infer
from tests.support.to_reference import Network, Node, pgmpy_marginals, pyagrum_marginals

P_BURGLARY, P_EARTHQUAKE = 0.001, 0.002
P_ALARM = np.array([[0.001, 0.29], [0.94, 0.95]])  # [burglary, earthquake]
P_JOHN, P_MARY = np.array([0.05, 0.9]), np.array([0.01, 0.7])  # [alarm]
CONFIGURATIONS = [(burglary, earthquake) for burglary in (0, 1) for earthquake in (0, 1)]


def model() -> Model:
    """Configurations are (burglary, earthquake), one plate holds the alarm."""
    burglary, earthquake = np.array([1 - P_BURGLARY, P_BURGLARY]), np.array([1 - P_EARTHQUAKE, P_EARTHQUAKE])
    alarm = np.stack([1 - P_ALARM.ravel(), P_ALARM.ravel()], axis=1)
    return Model(np.outer(burglary, earthquake).ravel(), (Plate("house", (Component("alarm", alarm),)),), ())


def answer(alarm: Array, earthquake: Array | None = None) -> Posterior:
    """Posterior given likelihoods of the alarm's states and of earthquake."""
    likelihood = np.repeat(alarm[None], 4, axis=0)
    if earthquake is not None:
        likelihood = likelihood * np.tile(earthquake, 2)[:, None]
    return infer(model(), Evidence(components={(0, 0): likelihood[None]}))


def p_cause(found: Posterior, cause: int) -> float:
    """P(burglary) for cause 0, P(earthquake) for cause 1."""
    return float(sum(found.configurations[0, i] for i, states in enumerate(CONFIGURATIONS) if states[cause]))


def test_alarm_is_no_noisy_or() -> None:
    """Leak 0.001 and single chances 0.94 and 0.29 would give 0.957 together, not 0.95: hence the encoding."""
    quiet = (1 - P_ALARM[1, 0]) * (1 - P_ALARM[0, 1]) / (1 - P_ALARM[0, 0])
    assert 1 - quiet == pytest.approx(0.95735736, abs=1e-8)


def test_both_call() -> None:
    """Computed from the inputs of Pearl's example: posteriors after John's and Mary's calls."""
    found = answer(P_JOHN * P_MARY)
    assert np.exp(found.log_evidence[0]) == pytest.approx(0.002084100239, abs=1e-12)
    assert p_cause(found, 0) == pytest.approx(0.2841718, abs=5e-8)
    assert p_cause(found, 1) == pytest.approx(0.1760668, abs=5e-8)
    assert found.components[0][0][0, 1] == pytest.approx(0.7606920, abs=5e-8)


def test_an_earthquake_explains_the_alarm_away() -> None:
    """Computed from the inputs of Pearl's example: P(B | a) falls from 0.373551 to 0.003268 when e is heard."""
    alarm = np.array([0.0, 1.0])
    assert p_cause(answer(alarm), 0) == pytest.approx(0.373551, abs=5e-7)
    assert p_cause(answer(alarm, np.array([0.0, 1.0])), 0) == pytest.approx(0.003268, abs=5e-7)


def network(observed: tuple[str, ...]) -> Network:
    """The example as an ordinary network; value 0 of each is 'true', as the reference path observes value 0."""
    alarm = np.stack([P_ALARM, 1 - P_ALARM], axis=-1)[::-1, ::-1]
    nodes = (
        Node("burglary", (), np.array([P_BURGLARY, 1 - P_BURGLARY])),
        Node("earthquake", (), np.array([P_EARTHQUAKE, 1 - P_EARTHQUAKE])),
        Node("alarm", ("burglary", "earthquake"), alarm),
        Node("john", ("alarm",), np.stack([P_JOHN[::-1], 1 - P_JOHN[::-1]], axis=1)),
        Node("mary", ("alarm",), np.stack([P_MARY[::-1], 1 - P_MARY[::-1]], axis=1)),
    )
    return Network(nodes, observed, 0.0)


def test_reference_paths_give_the_same() -> None:
    """pgmpy and pyAgrum on the network as drawn in the book."""
    both = network(("john", "mary"))
    log_probability, found = pyagrum_marginals(both, ["burglary", "earthquake", "alarm"])
    assert np.exp(log_probability) == pytest.approx(0.002084100239, abs=1e-12)
    for name, values in pgmpy_marginals(both, ["burglary", "earthquake", "alarm"]).items():
        assert_allclose(values, found[name], atol=1e-12)
    assert found["burglary"][0] == pytest.approx(0.2841718, abs=5e-8)
    assert found["earthquake"][0] == pytest.approx(0.1760668, abs=5e-8)
    assert found["alarm"][0] == pytest.approx(0.7606920, abs=5e-8)
