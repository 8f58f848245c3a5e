"""Weight of evidence (Good 1985) and the measure of conflict (Jensen, Chamberlain, Nordahl & Jensen, UAI 1990).

The values are computed from the inputs of the cited examples: Pearl's burglary, and Asia of Lauritzen & Spiegelhalter
(1988). Ours come from the engine; pgmpy answers the same on the networks as they are drawn.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from diag.evidence import decibans
from diag.inference import Array, Evidence, infer
from diag.network import conflict_measure
from tests.published import test_asia as asia
from tests.published import test_burglary as burglary
from tests.support.to_reference import Network, pyagrum_marginals


def log_probability(evidence: Mapping[str, Array]) -> float:
    """ln P of some of the calls."""
    likelihood = np.prod(list(evidence.values()), axis=0)
    return float(burglary.answer(np.asarray(likelihood)).log_evidence[0])


CALLS = {"john": burglary.P_JOHN, "mary": burglary.P_MARY}


def test_two_calls_support_each_other() -> None:
    """Burglary: conflict of John's and Mary's call is -1.22549."""
    singles = np.array([log_probability({name: call}) for name, call in CALLS.items()])
    assert conflict_measure(singles, log_probability(CALLS)) == pytest.approx(-1.22549, abs=5e-6)


def test_weights_of_evidence_of_the_calls() -> None:
    """Burglary: both calls weigh 25.983 decibans for it, John's alone 12.184 (Good 1985)."""
    for call, expected in ((burglary.P_JOHN * burglary.P_MARY, 25.983), (burglary.P_JOHN, 12.184)):
        p = burglary.p_cause(burglary.answer(call), 0)
        before = burglary.P_BURGLARY / (1 - burglary.P_BURGLARY)
        assert decibans(p / (1 - p) / before) == pytest.approx(expected, abs=5e-4)


def test_independent_findings_add_their_decibans() -> None:
    """Good (1985): given the alarm the calls are independent, so their weights for it add."""
    ratios = [call[1] / call[0] for call in CALLS.values()]
    assert decibans(ratios[0] * ratios[1]) == pytest.approx(sum(decibans(ratio) for ratio in ratios))


def asia_log(xray: bool = False, dyspnoea: bool = False, no_smoking: bool = False) -> float:
    """ln P of some findings in Asia, by our engine."""
    axes = [(0, (0, 1), asia.P_DYSPNOEA[None])] if dyspnoea else []
    axes += [(0, (0,), asia.P_XRAY[None])] if xray else []
    smoking = {(0, 0): np.array([[[1.0 - states[1]] * 2 for states in asia.CONFIGURATIONS]])} if no_smoking else {}
    return float(infer(asia.in_one_plate(), Evidence(1, smoking, tuple(axes))).log_evidence[0])


@pytest.mark.parametrize(
    ("both", "alone", "expected"),
    [
        ({"xray": True, "dyspnoea": True}, ({"xray": True}, {"dyspnoea": True}), -0.38509),
        ({"xray": True, "no_smoking": True}, ({"xray": True}, {"no_smoking": True}), 0.47082),
    ],
)
def test_conflict_in_asia(both: dict[str, bool], alone: tuple[dict[str, bool], ...], expected: float) -> None:
    """Asia: an X-ray and dyspnoea agree (-0.38509); an X-ray of one who does not smoke does not (+0.47082)."""
    singles = np.array([asia_log(**each) for each in alone])
    assert conflict_measure(singles, asia_log(**both)) == pytest.approx(expected, abs=5e-6)


def test_the_reference_gives_the_same_conflict() -> None:
    """pyAgrum on Asia as packaged with pgmpy: ln P(x) + ln P(d) - ln P(x, d) = -0.38509."""
    nodes = asia.packaged()
    order = tuple(nodes[name] for name in ("asia", "smoke", "tub", "lung", "bronc", "either", "xray", "dysp"))
    logs = [
        pyagrum_marginals(Network(order, observed, 0.0), ["tub"])[0]
        for observed in (("xray",), ("dysp",), ("xray", "dysp"))
    ]
    assert conflict_measure(np.array(logs[:2]), logs[2]) == pytest.approx(-0.38509, abs=5e-6)


def test_findings_that_have_nothing_to_do_with_each_other_have_no_conflict() -> None:
    """Independent findings: P(e) is the product of the P(e_i), so the measure is 0 (Jensen et al. 1990)."""
    p = np.array([0.1, 0.7, 0.02])
    assert conflict_measure(np.log(p), float(np.log(p.prod()))) == pytest.approx(0.0, abs=1e-15)
