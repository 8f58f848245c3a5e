"""Laying findings of the vehicle onto the components, and leaving out what is hardly possible."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from diag.decision import decide_repair, rank_checks, reckon
from diag.decision.lighter import lighter
from diag.inference import infer, kept_configurations
from tests.decision.tiny import Figures, case_of, knowledge, network_of

FIGURES = Figures(injector_bad=0.1, pump_worn=0.15, refer=1e6, return_visit=150.0, distance=60_000.0)


def test_evidence_with_few_terms_stays_as_it_is() -> None:
    """Nothing is laid aside where the terms are few."""
    known = knowledge(FIGURES)
    network = network_of(known, case_of(known, {("shaking", None): "present"}))
    light = lighter(network.model, network.evidence, infer(network.model, network.evidence), 100)
    assert light.evidence is network.evidence
    assert (light.laid_aside, light.off) == (0, 0.0)


def test_what_is_laid_aside_keeps_the_marginals_it_claims() -> None:
    """With room for no term at all the one finding of the vehicle lies on the components, and the marginals are off by
    no more than is said."""
    known = knowledge(FIGURES)
    network = network_of(known, case_of(known, {("shaking", None): "present", ("chuff", 1): "present"}))
    wanted = infer(network.model, network.evidence)
    light = lighter(network.model, network.evidence, wanted, 1)
    now = infer(network.model, light.evidence)
    assert light.laid_aside == 1
    assert light.evidence.shared == ()
    assert light.off < 0.05
    without = infer(network.model, replace(network.evidence, shared=()))
    for mine, theirs, bare in zip(wanted.components, now.components, without.components, strict=True):
        for one, other, plain in zip(mine, theirs, bare, strict=True):
            assert np.abs(one - other).max() <= light.off + 1e-9
            assert np.abs(one - other).max() <= np.abs(one - plain).max() + 1e-3


def test_a_ranking_on_lighter_evidence_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where findings are laid aside the ranking counts them; asked for everything, it lays none aside."""
    monkeypatch.setattr("diag.decision.lighter.MOST_TERMS", 2)
    known = knowledge(FIGURES)
    case = case_of(known, {("shaking", None): "present", ("chuff", 1): "present"})
    ready = reckon(known, case, network_of(known, case))
    decision = decide_repair(ready)
    assert rank_checks(ready, decision, share=0.99).laid_aside == 1
    assert rank_checks(ready, decision, share=1.0).laid_aside == 0


def test_the_likeliest_configurations_are_kept() -> None:
    """As few as hold the share; all of them where everything is asked for."""
    chances = np.array([0.1, 0.6, 0.05, 0.25])
    assert list(kept_configurations(chances, 0.6)) == [1]
    assert list(kept_configurations(chances, 0.9)) == [0, 1, 3]
    assert list(kept_configurations(chances, 1.0)) == [0, 1, 2, 3]
