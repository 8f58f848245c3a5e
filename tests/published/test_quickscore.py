"""Quickscore: Heckerman, 'A tractable inference algorithm for diagnosing multiple diseases', UAI 1989.

The network is this project's own case, computed from the paper's formula; faults are plates of one component, findings
shared severities of two levels. The paper's claim about work is checked in terms, in tests/inference/test_work.py.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import Form, infer
from tests.support.effort import effort
from tests.support.rational import NoisyOr
from tests.support.to_reference import component_name, pgmpy_marginals, pyagrum_marginals, reference_network

NET = NoisyOr((0.1, 0.2, 0.05), ((0.8, 0.0, 0.5), (0.3, 0.6, 0.0), (0.2, 0.4, 0.7)), (0.01, 0.02, 0.0))
PRESENT, ABSENT = frozenset({0, 1}), frozenset({2})
P_EVIDENCE, POSTERIORS = 0.0223511874, (0.938836, 0.291822, 0.043498)


def quickscore(net: NoisyOr, present: frozenset[int], absent: frozenset[int]) -> tuple[float, list[float]]:
    """Heckerman (1989), written out plainly: a signed sum over subsets of the positive findings.

    P(F+, F-) = sum over F' in F+ of (-1)^|F'| prod_leaks prod_d (q_d prod (1 - a_fd) + 1 - q_d), f in F' or F-.
    """
    totals = np.zeros(1 + len(net.priors))
    for chosen in product((False, True), repeat=len(present)):
        subset = [finding for finding, there in zip(sorted(present), chosen, strict=True) if there]
        quiet = [*subset, *absent]
        weight = (-1.0) ** len(subset) * np.prod([1 - net.leaks[finding] for finding in quiet])
        with_fault = np.array(
            [
                prior * np.prod([1 - net.activations[finding][fault] for finding in quiet])
                for fault, prior in enumerate(net.priors)
            ]
        )
        either = with_fault + 1 - np.array(net.priors)
        totals[0] += weight * np.prod(either)
        for fault in range(len(net.priors)):
            totals[1 + fault] += weight * with_fault[fault] * np.prod(np.delete(either, fault))
    return float(totals[0]), (totals[1:] / totals[0]).tolist()


@pytest.mark.parametrize("form", ["subtracting", "carrying"])
def test_own_case_from_the_formula(form: Form) -> None:
    """Two findings present, one absent: P(evidence) 0.0223511874 and three posteriors, in both forms."""
    found = infer(NET.model(), NET.evidence(PRESENT, ABSENT), form)
    assert np.exp(found.log_evidence[0]) == pytest.approx(P_EVIDENCE, abs=5e-11)
    assert_allclose([plate[0][0, 1] for plate in found.components], POSTERIORS, atol=5e-7)


def test_formula_written_out_and_sum_over_all_fault_sets() -> None:
    """The paper's formula and the sum over all eight sets of faults give the same numbers."""
    total, posteriors = NET.posterior(PRESENT, ABSENT)
    assert float(total) == pytest.approx(P_EVIDENCE, abs=5e-11)
    assert_allclose([float(value) for value in posteriors], POSTERIORS, atol=5e-7)
    by_formula, values = quickscore(NET, PRESENT, ABSENT)
    assert by_formula == pytest.approx(P_EVIDENCE, abs=5e-11)
    assert_allclose(values, POSTERIORS, atol=5e-7)


def test_reference_paths() -> None:
    """pgmpy and pyAgrum on the same network."""
    network = reference_network(NET.model(), NET.evidence(PRESENT, ABSENT))
    names = [component_name(fault, 0) for fault in range(3)]
    log_probability, found = pyagrum_marginals(network, names)
    assert np.exp(log_probability) == pytest.approx(P_EVIDENCE, abs=5e-11)
    by_elimination = pgmpy_marginals(network, names)
    assert_allclose([found[name][1] for name in names], POSTERIORS, atol=5e-7)
    assert_allclose([by_elimination[name][1] for name in names], POSTERIORS, atol=5e-7)


@effort(30)
@given(st.integers(1, 6), st.integers(1, 6), st.integers(0, 10_000), st.data())
def test_small_nets_against_formula_and_all_fault_sets(
    faults: int, findings: int, seed: int, data: st.DataObject
) -> None:
    """Random two-level nets: our engine, the paper's formula and the sum over all sets of faults agree."""
    random = np.random.default_rng(seed)
    activations = random.random((findings, faults)) * (random.random((findings, faults)) < 0.7)
    net = NoisyOr(
        tuple(random.uniform(0.01, 0.4, faults).tolist()),
        tuple(tuple(row) for row in activations.tolist()),
        tuple(random.uniform(0.001, 0.1, findings).tolist()),
    )
    present = frozenset(data.draw(st.sets(st.sampled_from(range(findings)))))
    absent = frozenset(data.draw(st.sets(st.sampled_from(range(findings))))) - present
    total, posteriors = net.posterior(present, absent)
    by_formula, values = quickscore(net, present, absent)
    found = infer(net.model(), net.evidence(present, absent))
    ours = [float(plate[0][0, 1]) for plate in found.components]
    assert np.exp(found.log_evidence[0]) == pytest.approx(float(total), rel=1e-10)
    assert by_formula == pytest.approx(float(total), rel=1e-6)
    assert_allclose(ours, [float(value) for value in posteriors], atol=1e-10)
    assert_allclose(ours, values, atol=1e-6)
