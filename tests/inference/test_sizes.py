"""Where the way of computing changes with the size of a problem, the answer does not: each limit is drawn down so far
that small models, of which all worlds can be summed, take the way of the large ones."""

from __future__ import annotations

import importlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from diag.inference import Asked, Evidence, Form, Model, cell_values, infer, log_evidence, mixture, pooled
from tests.support.agreement import CLOSE, assert_same, possible, random_option
from tests.support.effort import effort
from tests.support.random_models import Sizes, models_with_evidence

SMALL = Sizes(plates=3, components=2, states=3, axes=2, shared=2, versions=2, cases=3)
LIMITS = {
    "as it is": (),
    "one configuration and one term at a time": (("passes", "CHUNK", 1),),
    "maxima level by level": (("maximum", "SMALL", 0), ("maximum", "FEW", 0)),
    "running sums by numpy": (("maximum", "SMALL", 0), ("maximum", "FEW", 1 << 20)),
    "maxima in pieces": (("maximum", "SMALL", 0), ("maximum", "PIECE", 1), ("maximum", "SMALLEST_CUT", 0)),
    "gradients only when asked for": (("engine", "FEW_TERMS", 0),),
    "case by case": (("engine", "CASES_AT_ONCE", 1),),
    "looked at first without the vehicle": (("engine", "MANY", 1), ("scouting", "_AT_ONCE", 1)),
    "factors met one by one": (("contracting", "FEW_CELLS", 0), ("contracting", "FEW_NUMBERS", 0)),
    "few terms near": tuple(("contracting", name, 0) for name in ("FEW_CELLS", "FEW_NUMBERS", "WINDOW")),
    "pooled case by case": (("pooled", "AT_ONCE", 1), ("rows", "MOST_HELD", 0)),
    "densities by cell worked out each time": (("local_cells", "MOST_NUMBERS", -1),),
    "nothing remembered": tuple(
        (module, "LARGEST_HELD", -1) for module in ("blocks", "densities", "plate_sums", "remembered")
    ),
    "cases taken for different": (("plate_sums", "FEW_CASES", 0), ("plate_sums", "ALIKE", 0.0)),
    "next to nothing remembered": (("densities", "MOST_HELD", 0), ("local_cells", "MOST_HELD", 0)),
}


@pytest.mark.parametrize("limit", LIMITS)
def test_the_answer_is_the_same_on_either_side_of_a_limit(limit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for module, name, value in LIMITS[limit]:
        monkeypatch.setattr(importlib.import_module(f"diag.inference.{module}"), name, value)
    importlib.import_module("diag.inference.maximum").level_grid.cache_clear()
    for module, held in (("densities", "_DENSITIES"), ("local_cells", "_HELD")):
        getattr(importlib.import_module(f"diag.inference.{module}"), held).clear()
        importlib.import_module(f"diag.inference.{module}")._BYTES[0] = 0
    for module, remembered in (
        ("blocks", "_LEAVES"),
        ("blocks", "_TABLES"),
        ("contracting", "_MADE"),
        ("plate_sums", "_FEW"),
        ("plate_sums", "_MANY"),
        ("terms", "_TERMS"),
    ):
        getattr(importlib.import_module(f"diag.inference.{module}"), remembered).forget()

    @effort(12)
    @given(models_with_evidence(SMALL), st.integers(0, 2**32 - 1))
    def check(drawn: tuple[Model, Evidence], seed: int) -> None:
        model, evidence = drawn
        exact, random = possible(model, evidence), np.random.default_rng(seed)
        assert_same(infer(model, evidence), exact)
        assert_allclose(log_evidence(model, evidence), np.log(exact.probability), atol=CLOSE)
        forms: tuple[Form, ...] = ("subtracting", "carrying")
        for form in forms:
            answer = infer(model, evidence, form)
            assert answer.form == form
            assert_allclose(answer.log_evidence, np.log(exact.probability), atol=max(CLOSE, 4 * answer.cancellation))
        choices = [[random_option(random, model, plate), {}] for plate in range(len(model.plates))]
        found = mixture(model, evidence, choices)
        options = random.integers(2, size=len(model.plates)).tolist()
        expected = exact.expectation([choices[plate][option] for plate, option in enumerate(options)])
        assert_allclose(np.broadcast_to(found.expectation(options), expected.shape), expected, atol=CLOSE)
        counted = pooled(model, evidence, np.ones(evidence.cases), [()])
        assert_allclose(counted.configurations, exact.posterior(("configuration",)), atol=CLOSE)
        for uses in counted.uses:
            for mass in uses.masses.axes.values():  # every plate has one level in every case
                assert mass.sum() == pytest.approx(evidence.cases * len(uses.classes), rel=1e-8)
        if evidence.cases == 1:
            rest = found.weights[0] * np.prod([values[-1, 0] for values in found.values[1:]] or [1.0], axis=0)
            (cells,) = cell_values(model, evidence, [Asked(0, [{}], (0,))])
            assert_allclose(cells[0] @ rest, exact.posterior(("axis", 0, 0))[0], atol=CLOSE)

    check()
    importlib.import_module("diag.inference.maximum").level_grid.cache_clear()
