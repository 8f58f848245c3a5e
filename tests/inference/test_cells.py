"""A plate's values split by the cells of one thing: they sum to the whole, and give the exact joint chances."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import Asked, AskedSums, Evidence, Model, cell_sums, cell_values, mixture
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence


@effort(25)
@given(models_with_evidence(Sizes(cases=1)), st.data())
def test_cells_give_joint_chances(drawn: tuple[Model, Evidence], data: st.DataObject) -> None:
    """P(cell of a component or of axes) from the split values equals the sum over all worlds."""
    model, evidence = drawn
    exact = brute_force(model, evidence)
    assume(bool(np.all(exact.probability > 1e-9)))
    plate = data.draw(st.integers(0, len(model.plates) - 1))
    whole = mixture(model, evidence, [[{}]] * len(model.plates))
    rest = whole.weights[0] * np.prod(
        [values[0, 0] for number, values in enumerate(whole.values) if number != plate] or [np.ones(1)], axis=0
    )
    component = data.draw(st.integers(0, len(model.plates[plate].components) - 1))
    for thing, name in [(component, ("component", plate, component)), ((0,), ("axis", plate, 0))]:
        if isinstance(thing, tuple) and not model.plates[plate].axes:
            continue
        cells, again = cell_values(model, evidence, [Asked(plate, [{}], thing), Asked(plate, [{}, {}], thing)])
        assert_allclose(again[1], cells[0], atol=1e-14)
        assert_allclose(cells[0].sum(axis=0), whole.values[plate][0, 0], atol=1e-12)
        assert_allclose(cells[0] @ rest, exact.posterior(name)[0], atol=1e-9)
        gradient = np.stack([rest, 2.0 * rest, rest**2])
        ((sums,),) = cell_sums(model, evidence, [AskedSums(plate, [{}] * 3, gradient, [thing])])
        assert_allclose(sums, gradient @ cells[0].T, atol=1e-12)
