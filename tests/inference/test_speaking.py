"""Several models of one build: what their plates put into each term, and lots of them, against each by itself."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.inference import Array, infer, lot_of, mixture
from diag.inference.model import Emission
from diag.inference.speaking import speech, voice
from diag.inference.terms import Terms, plate_terms
from tests.support.synthetic import Layout, random_case, workshop_model

SIZES = (3, 4, 2, 2, 3, 2)
ALONE = ((0, (0,)), (1, (1,)), (2, (2,)), (3, (4,)), (3, (1,)), (4, (5,)))  # shared severity, local axis
VERSIONS = (*ALONE, (5, (0, 4)))  # two versions of a shared severity are spoken to by two axes, which so go together
MODELS, ROWS = 3, 2


def drawn(speakers: tuple[tuple[int, tuple[int, ...]], ...], seed: int) -> tuple[list[list[Emission]], Terms]:
    """Emissions of each model with random tables; all terms, of a shared axis too that nothing speaks to."""
    random = np.random.default_rng(seed)
    emissions = [
        [Emission(shared, axes, random.dirichlet([1.0] * 3, SIZES[axes[0]])) for shared, axes in speakers]
        for _ in range(MODELS)
    ]
    axes = sorted({(shared, version) for shared, mine in speakers for version in range(len(mine))} | {(9, 0)})
    levels = np.indices([3 if axis[0] < 4 else 2 for axis in axes]).reshape(len(axes), -1).T
    return emissions, Terms(tuple(axes), np.asarray(levels, dtype=np.intp), np.ones((1, len(levels))))


def some_of(chosen: Terms, seed: int) -> Terms:
    """Some of the terms, in any order: columns that do not have as many terms as each other."""
    random = np.random.default_rng(seed)
    here = random.permutation(len(chosen.levels))[: len(chosen.levels) // 3]
    return Terms(chosen.axes, chosen.levels[here], chosen.coefficient[:, here])


@pytest.mark.parametrize("speakers", [ALONE, VERSIONS])
@pytest.mark.parametrize("arranged", ["all", "in order", "some"])
@pytest.mark.parametrize("kept", [(0, 1, 2, 3, 4, 5), (0, 1, 4), (3,), ()])
def test_sums_and_their_gradient_are_those_of_the_whole_table(
    speakers: tuple[tuple[int, tuple[int, ...]], ...], arranged: str, kept: tuple[int, ...]
) -> None:
    emissions, chosen = drawn(speakers, seed=1)
    chosen = some_of(chosen, 2) if arranged == "some" else chosen
    emissions = [[each for each in some if set(each.axes) <= set(kept)] for some in emissions]
    sizes = tuple(SIZES[axis] for axis in kept)
    said = speech(emissions[0], kept, sizes, chosen)
    if arranged == "in order":
        chosen = Terms(chosen.axes, chosen.levels[said.order], chosen.coefficient[:, said.order])
        said = speech(emissions[0], kept, sizes, chosen)
        assert said.repeats > 0
    if len(kept) == 6 and arranged != "some":
        assert said.first
    random = np.random.default_rng(3)
    density = random.random((MODELS, ROWS, int(np.prod(sizes))))
    spoken = voice(emissions, kept, chosen, said)
    tables = np.array([plate_terms(some, kept, sizes, chosen) for some in emissions])
    assert_allclose(said.spread(spoken.sums(density)), density @ tables, rtol=1e-13)
    laid = np.empty((MODELS, ROWS + 1, len(chosen.levels)))
    said.spread_to(laid[:, :ROWS], spoken.sums(density))
    assert_allclose(laid[:, :ROWS], density @ tables, rtol=1e-13)
    towards = random.standard_normal((MODELS, ROWS, len(chosen.levels)))
    assert_allclose(spoken.cells(towards), towards @ np.swapaxes(tables, 1, 2), rtol=1e-10, atol=1e-12)


def test_a_lot_of_models_answers_as_each_does_by_itself() -> None:
    """Posteriors, and expectations under options that hold components in one state, change them softly, or differ from
    model to model in their number; random models of one build, compared with `infer` and `mixture`."""
    layout = Layout(3, shared=5, detail=4, vehicle=3, configurations=3)
    models = [workshop_model(layout, seed) for seed in range(6)]
    told = [random_case(models[0], 4, 3)] * len(models)
    kept = np.arange(len(models[0].configurations), dtype=np.intp)
    lot = lot_of(models, told, kept, {})
    assert lot is not None
    random = np.random.default_rng(5)
    choices = [
        [options_of(plate.components[0].prior.shape[1], random, n) for plate in m.plates] for n, m in enumerate(models)
    ]
    numbers = kept.astype(np.float64)
    mixed = list(lot.mixtures(choices, numbers))
    for model, evidence, found, mine, asked in zip(models, told, lot.posteriors, mixed, choices, strict=True):
        alone = infer(model, evidence)
        assert found is not None
        assert_allclose(found.log_evidence, alone.log_evidence, atol=1e-10)
        for plate, other in zip(found.components, alone.components, strict=True):
            for states, theirs in zip(plate, other, strict=True):
                assert_allclose(states, theirs, atol=1e-10)
        theirs_mixed = mixture(model, evidence, asked, [numbers])
        for _ in range(5):
            chosen = [int(random.integers(len(options))) for options in asked]
            assert_allclose(mine.expectation(chosen), theirs_mixed.expectation(chosen), rtol=1e-8, atol=1e-10)


def options_of(states: int, random: np.random.Generator, number: int) -> list[dict[int, Array]]:
    """As it is; held sound; renewed; and in some models one more, that leaves it as likely sound as it may be."""
    sound, soft = np.eye(1, states), random.uniform(0.1, 1.0, (1, states))
    more = [{0: random.uniform(0.1, 1.0, (1, states))}] if number % 4 == 0 else []
    return [{}, {0: sound}, {0: 0.9 * sound}, {0: soft}, *more]
