"""Noisy-OR: the fever example of Russell & Norvig, *Artificial Intelligence: A Modern Approach*.

Inhibition: cold 0.6, flu 0.2, malaria 0.1, no leak. The eight values of P(fever) stand in the book's table.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.inference import Evidence, Form, infer, shared_posterior
from tests.support.rational import PRESENT, NoisyOr

CAUSES = ("cold", "flu", "malaria")
FEVER = NoisyOr((0.5, 0.5, 0.5), ((1 - 0.6, 1 - 0.2, 1 - 0.1),), (0.0,))
TABLE = [
    ((), 0.0),
    (("malaria",), 0.9),
    (("flu",), 0.8),
    (("flu", "malaria"), 0.98),
    (("cold",), 0.4),
    (("cold", "malaria"), 0.94),
    (("cold", "flu"), 0.88),
    (("cold", "flu", "malaria"), 0.988),
]


def known(causes: tuple[str, ...]) -> Evidence:
    """All three causes told, as certain."""
    rows = {(number, 0): np.eye(2)[[[int(cause in causes)]]] for number, cause in enumerate(CAUSES)}
    return Evidence(components=rows)


@pytest.mark.parametrize(("causes", "p_fever"), TABLE)
def test_fever_given_its_causes(causes: tuple[str, ...], p_fever: float) -> None:
    """Russell & Norvig: P(fever | exactly these causes) is one minus the product of their inhibitions."""
    assert_allclose(shared_posterior(FEVER.model(), known(causes), ((0, 0),))[0, 1], p_fever, atol=1e-14)


@pytest.mark.parametrize("form", ["subtracting", "carrying"])
@pytest.mark.parametrize(("causes", "p_fever"), TABLE[1:])
def test_fever_as_evidence_has_the_same_chance(causes: tuple[str, ...], p_fever: float, form: Form) -> None:
    """The same table as probability of the evidence: P(causes, fever) / P(causes)."""
    told = known(causes)
    both = Evidence(components=told.components, shared=((((0, 0),), PRESENT),))
    assert_allclose(infer(FEVER.model(), both, form).log_evidence[0], np.log(p_fever / 8), atol=1e-12)
