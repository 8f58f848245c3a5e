"""Keeping more axes of a plate apart: what is done again on top of a forward pass against a pass made for them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from msgspec.structs import replace
from numpy.testing import assert_allclose

from diag.inference import Evidence, Model
from diag.inference.blocks import everything, plate_block
from diag.inference.local import forward, keeping
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence


@effort(25)
@given(models_with_evidence(Sizes(cases=1)))
def test_axes_kept_afterwards_are_as_kept_from_the_start(drawn: tuple[Model, Evidence]) -> None:
    """Each axis that the pass met, and each two of them: the same joint density, whose sum is the density without."""
    model, evidence = drawn
    for plate in range(len(model.plates)):
        block = plate_block(model, evidence, plate, everything(model))
        if not block.first.dense:
            continue
        layout, tape = block.first.layout, block.tape
        met = sorted({axis for axes in layout.leaves for axis in axes})
        for extra in [(), *((axis,) for axis in met), *pairwise(met)]:
            kept, found = keeping(tape, extra)
            wanted = tuple(sorted({*layout.kept, *extra}))
            asked = forward(replace(layout, kept=wanted), block.leaves, block.likelihoods).result
            assert kept == wanted
            assert_allclose(found, asked, rtol=1e-12, atol=1e-300)
            beyond = tuple(4 + place for place, axis in enumerate(kept) if axis not in layout.kept)
            assert_allclose(np.sum(found, axis=beyond), tape.result, rtol=1e-12, atol=1e-300)
