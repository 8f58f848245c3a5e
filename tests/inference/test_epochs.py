"""Repairs tried within a case: what an unchanged finding tells (nothing), and what a repair without effect tells."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.inference import Array, Axis, Component, Emission, Evidence, Link, Model, Plate, SharedSeverity, infer
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models
from tests.support.rational import ABSENT, PRESENT

SINGLE = Sizes(versions=1)
IDENTITY = np.eye(2)[None]


def seen_again(model: Model, versions: int) -> Model:
    """The same model looked at in several epochs between which nothing was renewed."""
    plates = tuple(
        replace(
            plate, emissions=tuple(replace(emission, axes=emission.axes * versions) for emission in plate.emissions)
        )
        for plate in model.plates
    )
    shared = tuple(
        replace(
            severity,
            versions=versions,
            backgrounds=tuple(np.repeat(background, versions, axis=0) for background in severity.backgrounds),
        )
        for severity in model.shared
    )
    return replace(model, plates=plates, shared=shared)


@effort(25)
@given(models(SINGLE))
def test_the_same_finding_seen_again_changes_nothing(model: Model) -> None:
    """Present in three epochs with nothing renewed is worth exactly as much as present once."""
    levels = model.shared[0].levels
    present = np.r_[0.0, np.ones(levels - 1)][None]
    once = Evidence(shared=((((0, 0),), present),))
    assume(brute_force(model, once).probability[0] > 1e-9)
    thrice = Evidence(shared=tuple((((0, version),), present) for version in range(3)))
    first, again = infer(model, once), infer(seen_again(model, 3), thrice)
    assert_allclose(again.log_evidence, first.log_evidence, atol=1e-10)
    for one, other in zip(sum(first.components, ()), sum(again.components, ()), strict=True):
        assert_allclose(one, other, atol=1e-10)


def tried_injector(new_is_bad: float) -> Model:
    """Cylinder 1's injector was renewed between two epochs, its seal was not; a rough idle is watched in both."""
    old = Component("injector, old", np.array([[0.9, 0.1]]), (Link((0,), IDENTITY),))
    new = Component("injector, new", np.array([[1 - new_is_bad, new_is_bad]]), (Link((1,), IDENTITY),))
    seal = Component("seal", np.array([[0.9, 0.1]]), (Link((0, 1), IDENTITY),))
    rough = Emission(0, (0, 1), np.array([[1.0, 0.0], [0.2, 0.8]]))
    first = Plate("cylinder 1", (old, new, seal), (Axis("weak, before", 2), Axis("weak, after", 2)), (rough,))
    other_seal = Component("seal", np.array([[0.9, 0.1]]), (Link((0,), IDENTITY),))
    second = Plate("cylinder 2", (other_seal,), (Axis("weak", 2),), (replace(rough, axes=(0, 0)),))
    return Model(np.ones(1), (first, second), (SharedSeverity("rough idle", 2, 2),))


def believed(before: Array, after: Array | None) -> tuple[float, float, float]:
    """P(old injector bad), P(seal 1 bad), P(seal 2 bad) after hearing of the rough idle in one or both epochs."""
    told = [(((0, 0),), before)] + ([(((0, 1),), after)] if after is not None else [])
    found = infer(tried_injector(0.01), Evidence(shared=tuple(told)))
    first, second = found.components
    return float(first[0][0, 1]), float(first[2][0, 1]), float(second[0][0, 1])


def test_a_repair_that_did_not_help_moves_belief() -> None:
    """'Changed injector 1, no better' clears the old injector and blames what was not touched, here and elsewhere."""
    injector, seal, other = believed(PRESENT, None)
    injector_then, seal_then, other_then = believed(PRESENT, PRESENT)
    assert injector > 0.3
    assert injector_then < 0.15
    assert seal_then > seal + 0.1
    assert other_then > other + 0.1


def test_a_repair_that_helped_convicts_what_was_renewed() -> None:
    """'Changed injector 1, gone' is nearly proof, as all else would have gone on."""
    injector, seal, other = believed(PRESENT, ABSENT)
    assert injector == pytest.approx(1.0, abs=1e-12)
    assert seal < 0.1
    assert other < 0.1


def test_no_better_by_hand() -> None:
    """Both present, by hand: a = 0.8 where the cylinder is weak, one uniform variable for each cylinder's two epochs.

    Write w for 'cylinder 2 shows' (0.1 * 0.8 = 0.08). If seal 1 is bad, cylinder 1 shows in both epochs or in neither:
    1 - 0.2 * 0.92 = 0.816. If it is sound: both injectors bad the same; one or none, only cylinder 2 can explain both
    epochs (0.08), except that a bad old injector needs cylinder 2 for the second epoch alone, which is the same 0.08.
    So P = 0.1 * 0.816 + 0.9 * (0.001 * 0.816 + 0.999 * 0.08) = 0.1542624.
    """
    told = Evidence(shared=((((0, 0),), PRESENT), (((0, 1),), PRESENT)))
    found = infer(tried_injector(0.01), told)
    assert float(np.exp(found.log_evidence[0])) == pytest.approx(0.1542624, abs=1e-12)
    assert float(found.components[0][2][0, 1]) == pytest.approx(0.0816 / 0.1542624, abs=1e-12)
