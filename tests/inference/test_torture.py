"""Numbers at their limits, held to sums in exact fractions: chances next to 0 and 1, thirty shared symptoms, and
certainties that contradict each other or nearly so."""

from __future__ import annotations

import tracemalloc
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from diag.basics import ImpossibleEvidence, TooLarge
from diag.inference import Evidence, Form, infer
from tests.support.effort import effort
from tests.support.rational import ABSENT, PRESENT, NoisyOr

RELATIVE = 1e-9
EDGES = (0.0, 5e-324, 1e-300, 1e-150, 1e-30, 1e-15, 1e-3, 0.5, 1 - 1e-3, 1 - 1e-12, 1 - 2**-53, 1.0)
MIDDLING = (1e-6, 0.01, 0.3, 0.9)
Soft = tuple[tuple[float, float], ...]
"""`likelihood[finding]` of absent and present."""


def exactly(net: NoisyOr, told: Soft) -> tuple[Fraction, list[Fraction]]:
    """P(evidence) and P(fault and evidence) under soft evidence, summed over all sets of faults in fractions."""
    total, with_fault = Fraction(0), [Fraction(0)] * len(net.priors)
    for faults in product((False, True), repeat=len(net.priors)):
        chance = Fraction(1)
        for there, prior in zip(faults, net.priors, strict=True):
            chance *= Fraction(prior) if there else 1 - Fraction(prior)
        for finding, (absent, present) in enumerate(told):
            quiet = 1 - Fraction(net.leaks[finding])
            for there, activation in zip(faults, net.activations[finding], strict=True):
                quiet *= 1 - Fraction(activation) if there else 1
            chance *= quiet * Fraction(absent) + (1 - quiet) * Fraction(present)
        total += chance
        for fault, there in enumerate(faults):
            with_fault[fault] += chance if there else 0
    return total, with_fault


def softly(told: Soft) -> Evidence:
    """The same for the engine."""
    return Evidence(shared=tuple((((finding, 0),), np.array([each])) for finding, each in enumerate(told)))


def assert_right(net: NoisyOr, told: Soft, form: Form = "auto", relative: float = RELATIVE) -> None:
    """P(evidence) and every posterior, of a fault and of its absence, are right relative to themselves."""
    total, with_fault = exactly(net, told)
    found = infer(net.model(), softly(told), form)
    assert found.log_evidence[0] == pytest.approx(float(np.log(float(total))), abs=relative)
    for fault, joint in enumerate(with_fault):
        there = found.components[fault][0][0]
        assert there[1] == pytest.approx(float(joint / total), rel=relative, abs=1e-300)
        assert there[0] == pytest.approx(float(1 - joint / total), rel=relative, abs=1e-15)


@st.composite
def networks(draw: st.DrawFn, chances: tuple[float, ...], findings: int = 4) -> NoisyOr:
    """Up to four faults, with chances of these."""
    faults = draw(st.integers(1, 4))
    chance = st.sampled_from(chances)
    rows = draw(st.lists(st.tuples(*[chance] * faults), min_size=1, max_size=findings))
    leaks = draw(st.tuples(*[chance] * len(rows)))
    return NoisyOr(draw(st.tuples(*[chance] * faults)), tuple(rows), leaks)


@effort(30)
@given(networks(EDGES), st.data())
def test_chances_next_to_nothing_and_to_certainty(net: NoisyOr, data: st.DataObject) -> None:
    """From the smallest number that there is to the largest below 1: nine digits, as long as P(evidence) itself is a
    number above 1e-290; what has no chance at all is refused."""
    hard = st.sampled_from(((1.0, 0.0), (0.0, 1.0), (1.0, 1.0)))
    told: Soft = data.draw(st.tuples(*[hard] * len(net.leaks)))
    total, _ = exactly(net, told)
    if total == 0:
        with pytest.raises(ImpossibleEvidence):
            infer(net.model(), softly(told))
        return
    assume(total > Fraction(1e-290))
    assert_right(net, told)


@effort(20)
@given(networks(MIDDLING, findings=5), st.data())
def test_certainties_that_nearly_contradict_each_other(net: NoisyOr, data: st.DataObject) -> None:
    """Likelihood ratios of up to 1e12 either way on every finding: the answer has nine digits in every form that
    promises them, and the subtracting form keeps to the bound that it states."""
    ratio = st.sampled_from((1e-12, 1e-6, 1e-3, 1.0))
    pair = st.tuples(ratio, st.booleans()).map(lambda each: (each[0], 1.0) if each[1] else (1.0, each[0]))
    told: Soft = data.draw(st.tuples(*[pair] * len(net.leaks)))
    assert_right(net, told)
    assert_right(net, told, "carrying")
    total, _ = exactly(net, told)
    try:
        found = infer(net.model(), softly(told), "subtracting")
    except ImpossibleEvidence:
        return
    error = abs(np.expm1(found.log_evidence[0] - np.log(float(total))))
    assert error <= max(10 * found.cancellation, 1e-12)


@pytest.mark.parametrize("present", [0, 1, 6, 12])
@pytest.mark.parametrize("prior", [1e-9, 1e-3])
def test_thirty_shared_symptoms_of_which_some_are_present(present: int, prior: float) -> None:
    """Thirty findings heard, up to twelve of them present: nine digits against the sum in fractions."""
    random = np.random.default_rng(present)
    rows = np.where(random.random((30, 6)) < 0.5, random.uniform(0.05, 0.95, (30, 6)), 0.0)
    net = NoisyOr((prior,) * 6, tuple(tuple(row) for row in rows.tolist()), (1e-4,) * 30)
    assert_right(net, tuple((0.0, 1.0) if finding < present else (1.0, 0.0) for finding in range(30)))


@pytest.mark.parametrize(
    ("form", "words"),
    [("auto", "more than 262,144 terms"), ("subtracting", "more than 262,144 terms"), ("carrying", "joint levels")],
)
def test_thirty_shared_symptoms_all_present_are_refused_not_guessed(form: Form, words: str) -> None:
    """More than any form can hold: it says so before it fills the memory, and what would help."""
    net = NoisyOr((0.01,) * 3, ((0.5, 0.4, 0.3),) * 30, (0.01,) * 30)
    tracemalloc.start()
    try:
        with pytest.raises(TooLarge, match=words):
            infer(net.model(), softly(((0.0, 1.0),) * 30), form)
        assert tracemalloc.get_traced_memory()[1] < 1 << 28, "bytes: the joint levels alone would be 8 GiB"
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("form", ["auto", "subtracting", "carrying"])
def test_certainties_that_contradict_each_other_are_refused(form: Form) -> None:
    """Present and absent at once, with causes of any rarity: no answer."""
    for prior in (1e-300, 0.5, 1 - 2**-53):
        net = NoisyOr((prior,), ((0.7,),), (0.1,))
        told = Evidence(shared=((((0, 0),), PRESENT), (((0, 0),), ABSENT)))
        with pytest.raises(ImpossibleEvidence):
            infer(net.model(), told, form)
