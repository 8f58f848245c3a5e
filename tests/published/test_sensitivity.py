"""One number moved: a posterior is a ratio of two linear functions of it (Castillo, Gutiérrez & Hadi 1997; Coupé & van
der Gaag 2002), of polynomials of degree K where it serves K cylinders, and its log-odds move at most as far as those of
the number (Chan & Darwiche, JAIR 17:265-287, 2002): K times as far where it serves K cylinders."""

from __future__ import annotations

import numpy as np
import pytest

from diag.doubt import Sample, log_odds, trace
from diag.inference import infer
from diag.knowledge_base import with_values
from diag.network import rebuilt
from tests.doubt.grounds import ground

CASE = "one_blown_seal"
CYLINDERS = 4


def _alarm(value: float) -> Sample:
    """P(burglary | John and Mary call) and P(they call) in Pearl's network (1988), P(alarm | burglary alone) free."""
    joint = {}
    for burglary, p in ((1, 0.001), (0, 0.999)):
        total = 0.0
        for earthquake, q in ((1, 0.002), (0, 0.998)):
            alarm = {(1, 1): 0.95, (1, 0): value, (0, 1): 0.29, (0, 0): 0.001}[burglary, earthquake]
            total += q * (alarm * 0.9 * 0.7 + (1.0 - alarm) * 0.05 * 0.01)
        joint[burglary] = p * total
    told = joint[0] + joint[1]
    return Sample(np.array([joint[1] / told]), told)


def test_a_number_used_once_gives_a_ratio_of_linear_functions() -> None:
    curve = trace(_alarm, 0.0, 1.0)
    assert curve.evaluations == 3
    assert curve.at(0.94) == pytest.approx([0.2841718], abs=1e-7)  # the published posterior
    for value in np.linspace(0.0, 1.0, 101):
        assert curve.at(value) == pytest.approx(_alarm(value).costs, rel=1e-12)


def test_its_log_odds_move_at_most_as_far_as_those_of_the_number() -> None:
    now = log_odds(float(_alarm(0.94).costs[0]))
    for value in (0.01, 0.3, 0.7, 0.99, 0.999):
        moved = abs(log_odds(float(_alarm(value).costs[0])) - now)
        assert moved <= abs(log_odds(value) - log_odds(0.94)) + 1e-12


def _seal(path: tuple[int | str, ...], value: float) -> Sample:
    """Chance that the seal of cylinder 2 is unsound, with one number of the knowledge at a value."""
    one = ground(CASE)
    network = rebuilt(one.network, with_values(one.knowledge, {path: value}))
    posterior = infer(network.model, network.evidence)
    spot = network.component_at("seal", 2)
    assert spot is not None
    sound = float(posterior.components[spot[0]][spot[1]][0, 0])
    return Sample(np.array([1.0 - sound]), float(np.exp(posterior.log_evidence[0] + network.log_scale)))


PATHS = [
    (("components", "clamp", "chance", "loose"), 0.5),  # its prior, on every cylinder
    (("severities", "blow_by", "causes", "seal", "blown", "strong"), 0.84),  # what it does, on every cylinder
]


@pytest.mark.parametrize(("path", "high"), PATHS)
def test_a_number_of_all_cylinders_gives_polynomials_of_their_number(path: tuple[int | str, ...], high: float) -> None:
    """Interpolated on K + 1 nodes, against recomputation between them."""
    curve = trace(lambda value: _seal(path, value), 0.001, high)
    assert len(curve.pieces) == 1
    product, weight = curve.pieces[0].product[:, 0], curve.pieces[0].weight
    for coefficients in (product, weight):
        assert np.abs(coefficients[CYLINDERS + 1 :]).max() <= 1e-9 * np.abs(coefficients).max()
    for value in (0.0123, 0.3 * high, 0.77 * high):
        assert curve.at(value) == pytest.approx(_seal(path, value).costs, rel=1e-9)


def test_the_log_odds_of_a_fault_keep_within_the_bound_of_a_number_of_all_cylinders() -> None:
    path, before = PATHS[0][0], 0.00072
    now = log_odds(float(_seal(path, before).costs[0]))
    for value in (0.0001, 0.005, 0.05, 0.4):
        moved = abs(log_odds(float(_seal(path, value).costs[0])) - now)
        assert 0.0 < moved <= CYLINDERS * abs(log_odds(value) - log_odds(before))
