"""Large batches, and requests that are refused in plain words."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from diag.basics import ImpossibleEvidence, TooLarge, UsageError
from diag.inference import Evidence, infer, joint_posterior, mixture, most_probable
from tests.support.batches import one_case
from tests.support.rational import PRESENT, NoisyOr

CASES = 600  # more than the engine holds at once
NET = NoisyOr((0.1, 0.2, 0.05), ((0.8, 0.0, 0.5), (0.3, 0.6, 0.0), (0.2, 0.4, 0.7)), (0.01, 0.02, 0.0))


def many_cases() -> Evidence:
    """600 different soft findings on the first fault, one symptom present in all of them."""
    random = np.random.default_rng(1)
    return Evidence(CASES, {(0, 0): random.uniform(0.1, 1.0, (CASES, 1, 2))}, (), ((((0, 0),), PRESENT),))


def test_a_batch_of_hundreds_is_its_cases_one_by_one() -> None:
    """Shapes and values do not change where the engine works in pieces."""
    told = many_cases()
    together = infer(NET.model(), told)
    assert together.log_evidence.shape == (CASES,)
    for case in (0, 255, 256, 511, 512, 599):
        alone = infer(NET.model(), one_case(told, case))
        assert_allclose(together.log_evidence[case], alone.log_evidence[0], atol=1e-12)
        for fault in range(3):
            marginal = together.components[fault][0]
            assert marginal.shape == (CASES, 2)
            assert_allclose(marginal[case], alone.components[fault][0][0], atol=1e-12)
            assert_allclose(together.axes[fault][0][case], alone.axes[fault][0][0], atol=1e-12)


def test_impossible_cases_keep_their_numbers_in_a_large_batch() -> None:
    """Cases 10, 300 and 590 of 600 are impossible, wherever the engine cuts the batch."""
    told = many_cases()
    impossible = [10, 300, 590]
    told.components[0, 0][impossible] = 0.0
    with pytest.raises(ImpossibleEvidence, match="cases 10, 300, 590 of the batch") as raised:
        infer(NET.model(), told)
    assert raised.value.cases == tuple(impossible)


def test_more_present_symptoms_than_the_signed_sum_can_hold_are_refused() -> None:
    """Nineteen findings present need half a million terms: refused, with the number that is allowed."""
    net = NoisyOr((0.1,), ((0.5,),) * 19, (0.1,) * 19)
    told = net.evidence(frozenset(range(19)), frozenset())
    with pytest.raises(TooLarge, match="more than 262,144 terms"):
        infer(net.model(), told, "subtracting")


def test_a_mixture_that_would_lose_its_digits_is_refused() -> None:
    """Fifteen findings present of causes of one in a million: refused, and the message says what to do."""
    net = NoisyOr((1e-9, 1e-9), ((0.01, 0.02),) * 15, (1e-9,) * 15)
    told = net.evidence(frozenset(range(15)), frozenset())
    with pytest.raises(TooLarge, match="mark doubtful findings as 'not sure'"):
        mixture(net.model(), told, [[{}], [{}]])


def test_questions_that_make_no_sense_are_refused() -> None:
    """A component named twice, and most probable combinations of a batch."""
    told = NET.evidence(frozenset({0}), frozenset())
    with pytest.raises(UsageError, match="names each component once"):
        joint_posterior(NET.model(), told, 0, (0, 0))
    with pytest.raises(UsageError, match="one case at a time"):
        most_probable(NET.model(), many_cases(), 3)
