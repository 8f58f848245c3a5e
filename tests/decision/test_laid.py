"""The ground of a ranking, read out of what the repair was decided on."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from msgspec.structs import replace

from diag.casebook import demo_cases, load_case
from diag.decision import Reckoning, decide_repair, reckon
from diag.decision.appraisal import setting_of
from diag.decision.ground import ground_of
from diag.inference import infer
from diag.knowledge_base import Knowledge, load_knowledge
from diag.network import build

NAMES = ("one_blown_seal", "new_injector_not_coded", "resealed_and_back_again", "whole_bank_silent")


@cache
def knowledge() -> Knowledge:
    return load_knowledge()


@cache
def ready_of(name: str) -> Reckoning:
    case = load_case(demo_cases()[name], knowledge())
    return reckon(knowledge(), case, build(knowledge(), case))


@pytest.mark.parametrize("share", [0.9, 0.99, 0.9999])
@pytest.mark.parametrize("name", NAMES)
def test_the_ground_read_is_the_ground_worked_out(name: str, share: float) -> None:
    """To rounding, and the product over all plates sums to 1."""
    ready = ready_of(name)
    setting = setting_of(ready, decide_repair(ready), share)
    options, kept = setting.catalogue.options, setting.ground.kept
    assert ready.laid is not None
    known = ready.laid.narrowed(ready.network.model, ready.network.evidence, options, kept)
    assert known is not None
    wanted = ground_of(ready.network.model, ready.network.evidence, options, kept)
    assert np.array_equal(setting.ground.configuration, wanted.configuration)
    assert known[0] == pytest.approx(wanted.weights, rel=1e-9, abs=1e-13)
    total = known[0].copy()
    for mine, theirs in zip(known[1], wanted.values, strict=True):
        assert mine == pytest.approx(theirs, rel=1e-9, abs=1e-13)
        total *= mine[0]
    assert total.sum() == pytest.approx(1.0, rel=1e-12)


def test_nothing_is_read_of_other_evidence_or_of_what_was_not_asked() -> None:
    ready = ready_of("one_blown_seal")
    model, evidence, laid = ready.network.model, ready.network.evidence, ready.laid
    assert laid is not None
    plain = [[{}] for _ in model.plates]
    assert laid.narrowed(model, evidence, plain, laid.kept[:1]) is not None
    assert laid.narrowed(model, replace(evidence), plain, laid.kept[:1]) is None
    unlikely = np.setdiff1d(np.arange(len(model.configurations)), laid.kept)
    assert len(unlikely) > 0
    assert laid.narrowed(model, evidence, plain, unlikely[:1]) is None
    states = model.plates[0].components[0].prior.shape[1]
    asked = [[{}, {0: np.full((1, states), 0.3)}], *plain[1:]]
    assert laid.narrowed(model, evidence, asked, laid.kept[:1]) is None


def test_where_checks_are_not_ranked_nothing_is_kept_to_read() -> None:
    ready = ready_of("one_blown_seal")
    network = ready.network
    briefly = reckon(knowledge(), ready.case, network, infer(network.model, network.evidence), foreseen=False)
    assert briefly.laid is None
    one, other = (decide_repair(each).best for each in (ready, briefly))
    assert one.jobs == other.jobs
    assert one.total.amount == pytest.approx(other.total.amount, rel=1e-9)
