"""Configurations that cannot matter are left out first; the answer is the one with all of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence
from diag.inference import (
    Axis,
    Component,
    Emission,
    Evidence,
    Link,
    Model,
    Plate,
    SharedSeverity,
    engine,
    infer,
    scouting,
)
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence
from tests.support.rational import PRESENT

IDENTITY = np.eye(2)[None]


def answers(model: Model, evidence: Evidence) -> list[np.ndarray]:
    """Everything that a posterior says."""
    found = infer(model, evidence)
    return [
        found.log_evidence,
        found.configurations,
        *(each for plate in (*found.components, *found.axes) for each in plate),
    ]


@effort(4)
@given(models_with_evidence(Sizes(cases=1)))
def test_scouted_and_whole_agree(drawn: tuple[Model, Evidence]) -> None:
    """On random models, two configurations looked at together: all posteriors to 1e-11, impossible stays impossible."""
    model, evidence = drawn
    results: list[object] = []
    for many in (1 << 30, 1):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(engine, "MANY", many)
            patch.setattr(scouting, "_AT_ONCE", 2)
            try:
                results.append(answers(model, evidence))
            except ImpossibleEvidence:
                results.append(None)
    whole, scouted = results
    assert (whole is None) == (scouted is None)
    if isinstance(whole, list) and isinstance(scouted, list):
        for one, other in zip(whole, scouted, strict=True):
            assert_allclose(other, one, atol=1e-11)


@pytest.mark.parametrize("rare", [1e-6, 1e-12, 1e-18])
def test_what_only_shared_evidence_makes_likely_is_not_left_out(rare: float) -> None:
    """2,000 configurations; the symptom is possible in the last alone, which before it has next to no chance.

    By hand: its posterior is rare / (rare + others x leak), with a leak of 1e-9 everywhere else.
    """
    count, leak = 2000, 1e-9
    prior = np.full(count, (1.0 - rare) / (count - 1))
    prior[-1] = rare
    ill = np.zeros((count, 2))
    ill[:, 1] = leak
    ill[-1, 1] = 0.9
    ill[:, 0] = 1.0 - ill[:, 1]
    seal = Component("seal", ill, (Link((0,), IDENTITY),))
    plate = Plate(
        "cylinder 1", (seal,), (Axis("blow-by", 2),), (Emission(0, (0,), np.array([[1.0, 0.0], [0.0, 1.0]])),)
    )
    model = Model(prior, (plate,), (SharedSeverity("smell", 2, 1),))
    found = infer(model, Evidence(shared=((((0, 0),), PRESENT),)))
    expected = 0.9 * rare / (0.9 * rare + leak * (1.0 - rare))
    assert found.configurations[0, -1] == pytest.approx(expected, rel=1e-9)
    assert found.log_evidence[0] == pytest.approx(np.log(0.9 * rare + leak * (1.0 - rare)), abs=1e-9)


def test_hardly_possible_configurations_cost_nothing() -> None:
    """Of 5,000 configurations of which evidence on a plate leaves ten, only these are carried through the pass."""
    count = 5000
    told = np.full((1, count, 2), 1e-30)
    told[0, :10] = 1.0
    seal = Component("seal", np.array([[0.75, 0.25]]), (Link((0,), IDENTITY),))
    plate = Plate(
        "cylinder 1", (seal,), (Axis("blow-by", 2),), (Emission(0, (0,), np.array([[0.9, 0.1], [0.2, 0.8]])),)
    )
    model = Model(np.full(count, 1 / count), (plate,), (SharedSeverity("smell", 2, 1),))
    evidence = Evidence(components={(0, 0): told}, shared=((((0, 0),), PRESENT),))
    chances = scouting.local_chances(model, evidence)
    assert len(scouting.of_these(chances, scouting.LEFT_OUT * chances.sum())) == 10
    found = infer(model, evidence)
    assert found.configurations[0, :10] == pytest.approx(0.1, rel=1e-12)
    assert found.components[0][0][0, 1] == pytest.approx(8 / 11, rel=1e-12)
    assert found.log_evidence[0] == pytest.approx(np.log(0.275 * 10 / count), abs=1e-12)
