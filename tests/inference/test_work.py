"""How the work grows, in terms, not in seconds: doubling with each present symptom, nothing for absent ones."""

from __future__ import annotations

import numpy as np
import pytest

from diag.inference import Evidence, mixture
from tests.support.rational import ABSENT, PRESENT, NoisyOr

FINDINGS = 10
NET = NoisyOr((0.1, 0.2, 0.05, 0.15), ((0.3, 0.4, 0.5, 0.2),) * FINDINGS, (0.2,) * FINDINGS)


def count_of_terms(present: int, absent: int) -> int:
    """Terms of the signed sum with so many findings present and so many absent."""
    told = [(((finding, 0),), PRESENT) for finding in range(present)]
    told += [(((present + finding, 0),), ABSENT) for finding in range(absent)]
    found = mixture(NET.model(), Evidence(shared=tuple(told)), [[{}]] * len(NET.priors))
    return int(found.weights.shape[1])


@pytest.mark.parametrize("present", range(7))
def test_each_present_symptom_doubles_the_terms(present: int) -> None:
    """Heckerman (1989): the cost is exponential in positive findings only."""
    assert count_of_terms(present, 0) == 2**present


@pytest.mark.parametrize("absent", range(7))
def test_absent_symptoms_cost_no_terms(absent: int) -> None:
    """Heckerman (1989): negative findings are absorbed."""
    assert count_of_terms(3, absent) == 8


def test_symptoms_not_looked_at_cost_nothing() -> None:
    """A likelihood that is the same at all levels is no evidence, and needs one term."""
    told = Evidence(shared=tuple((((finding, 0),), np.array([[0.4, 0.4]])) for finding in range(5)))
    assert mixture(NET.model(), told, [[{}]] * len(NET.priors)).weights.shape[1] == 1
