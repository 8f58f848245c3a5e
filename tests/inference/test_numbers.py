"""Rare causes and many symptoms present: where subtraction loses its digits, held to exact rational arithmetic."""

from __future__ import annotations

import importlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.casebook import demo_cases, load_case
from diag.inference import infer, joint_posterior, mixture, most_probable, shared_posterior
from diag.inference.maximum import maximum, maximum_adjoint
from diag.knowledge_base import load_knowledge
from diag.network import weigh
from tests.support.brute_force import brute_force
from tests.support.effort import effort
from tests.support.rational import NoisyOr

RELATIVE = 1e-9


def rare(faults: int, findings: int, prior: float, leak: float, seed: int = 1) -> NoisyOr:
    """A network of rare faults; every finding is caused by about half of them."""
    random = np.random.default_rng(seed)
    activations = np.where(random.random((findings, faults)) < 0.6, random.uniform(0.05, 0.9, (findings, faults)), 0.0)
    rows = tuple(tuple(row) for row in activations.tolist())
    return NoisyOr((prior,) * faults, rows, (leak,) * findings)


STRESS = [
    pytest.param(rare(8, 6, 1e-6, 1e-4), 6, id="six present, causes 1e-6"),
    pytest.param(rare(8, 8, 1e-6, 1e-6), 8, id="eight present, causes 1e-6, leaks 1e-6"),
    pytest.param(rare(7, 10, 1e-6, 1e-3), 10, id="ten present, causes 1e-6"),
    pytest.param(rare(6, 8, 1e-9, 0.0, seed=3), 5, id="no leak, causes 1e-9"),
]


@pytest.mark.parametrize(("net", "count"), STRESS)
def test_auto_leaves_subtraction_and_stays_right(net: NoisyOr, count: int) -> None:
    """The switch carries some or all of the evidence, and every posterior is right to nine digits of itself."""
    present, absent = frozenset(range(count)), frozenset(range(count, len(net.leaks)))
    total, posteriors = net.posterior(present, absent)
    found = infer(net.model(), net.evidence(present, absent))
    assert found.form in ("mixed", "carrying")
    assert found.cancellation <= 1e-10
    assert np.exp(found.log_evidence[0]) == pytest.approx(float(total), rel=RELATIVE)
    for fault, expected in enumerate(posteriors):
        assert found.components[fault][0][0, 1] == pytest.approx(float(expected), rel=RELATIVE)


@pytest.mark.parametrize(("net", "count"), STRESS)
def test_the_subtracting_form_says_how_wrong_it_may_be(net: NoisyOr, count: int) -> None:
    """Asked for by name, the subtracting form is no further off than the error that it measures and reports."""
    present, absent = frozenset(range(count)), frozenset(range(count, len(net.leaks)))
    total, _ = net.posterior(present, absent)
    try:
        found = infer(net.model(), net.evidence(present, absent), "subtracting")
    except ArithmeticError:
        return
    error = abs(np.expm1(found.log_evidence[0] - np.log(float(total))))
    assert error <= max(10 * found.cancellation, 1e-12)


def test_subtraction_is_kept_where_its_digits_suffice() -> None:
    """Everyday causes and two findings: the cheap form answers, and says that it lost next to nothing."""
    net = NoisyOr((0.1, 0.2, 0.05), ((0.8, 0, 0.5), (0.3, 0.6, 0), (0.2, 0.4, 0.7)), (0.01, 0.02, 0.0))
    found = infer(net.model(), net.evidence(frozenset({0, 1}), frozenset({2})))
    assert found.form == "subtracting"
    assert found.cancellation < 1e-12


@effort(15)
@given(
    st.integers(2, 6),
    st.integers(1, 6),
    st.sampled_from([1e-2, 1e-4, 1e-6, 1e-8]),
    st.sampled_from([1e-1, 1e-3, 1e-5]),
    st.integers(0, 1000),
    st.data(),
)
def test_any_rarity_is_right(
    faults: int, findings: int, prior: float, leak: float, seed: int, data: st.DataObject
) -> None:
    """Over six orders of magnitude of priors and any split of findings, the answer has nine right digits."""
    net = rare(faults, findings, prior, leak, seed)
    present = frozenset(data.draw(st.sets(st.sampled_from(range(findings)))))
    absent = frozenset(data.draw(st.sets(st.sampled_from(range(findings))))) - present
    total, posteriors = net.posterior(present, absent)
    found = infer(net.model(), net.evidence(present, absent))
    assert np.exp(found.log_evidence[0]) == pytest.approx(float(total), rel=RELATIVE)
    for fault, expected in enumerate(posteriors):
        assert found.components[fault][0][0, 1] == pytest.approx(float(expected), rel=RELATIVE)


def test_all_other_answers_stay_right_where_causes_are_rare() -> None:
    """Joint, shared, expected and most probable answers, on six present findings of causes of one in a million."""
    net = rare(5, 6, 1e-6, 1e-4)
    model, told = net.model(), net.evidence(frozenset(range(5)), frozenset())
    exact = brute_force(model, told)
    assert joint_posterior(model, told, 2, (0,))[0, 1] == pytest.approx(
        exact.posterior(("component", 2, 0))[0, 1], rel=RELATIVE
    )
    assert shared_posterior(model, told, ((5, 0),))[0, 1] == pytest.approx(exact.shared([(5, 0)])[0, 1], rel=RELATIVE)
    fault = {0: np.array([[0.0, 1.0]])}
    weighed = mixture(model, told, [[{}, fault]] * 5).expectation([1, 1, 0, 0, 0])
    assert weighed[0] == pytest.approx(exact.expectation([fault, fault, {}, {}, {}])[0], abs=1e-9)
    expected = list(exact.combinations().items())
    for combination, (states, chance) in zip(most_probable(model, told, 6), expected, strict=False):
        assert tuple(sorted(combination.states.items())) == states
        assert combination.probability == pytest.approx(chance, rel=1e-7)


@pytest.mark.parametrize("shapes", [((3, 4, 2, 3, 1, 5), (1, 4, 2, 1, 6, 5)), ((2, 3, 2, 4, 2, 7), (2, 3, 2, 1, 2, 1))])
def test_large_maxima_in_pieces_are_the_same_to_the_last_digit(
    shapes: tuple[tuple[int, ...], tuple[int, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether they are cut, and however small the pieces are."""
    random = np.random.default_rng(1)
    first, second = (random.random(shape) for shape in shapes)
    whole = [made(first, second, (1, 2)) for made in (maximum, maximum_adjoint)]
    for piece in (1, 40, 300):
        monkeypatch.setattr("diag.inference.maximum.PIECE", piece)
        monkeypatch.setattr("diag.inference.maximum.SMALLEST_CUT", 0)
        for made, wanted in zip((maximum, maximum_adjoint), whole, strict=True):
            assert np.array_equal(made(first, second, (1, 2)), wanted)


EXCHANGED = """
engine: ostrel_3
distance: 180000 km
age: 9 years
findings: {rough_idle: present, weak_cutout: {2: present}}
tried:
  - {did: swap_injectors, cylinder: 2, with: 3, fault: moved}
  - {did: replace_injector, cylinder: 3, helped: no}
"""


@pytest.mark.parametrize("name", ["exchanged", "low_compression", "new_injector_not_coded"])
def test_no_search_goes_much_deeper_than_what_it_finds(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every joint state that is looked at costs a pass, and far below the last that is named stand very many."""
    search = importlib.import_module("diag.inference.search")
    asked: list[float] = []
    views = search._views

    def noting(model: object, evidence: object, known: object, threshold: float) -> object:
        asked.append(threshold)
        return views(model, evidence, known, threshold)

    monkeypatch.setattr(search, "_views", noting)
    knowledge, path = load_knowledge(), tmp_path / "exchanged.yaml"
    path.write_text(EXCHANGED)
    case = load_case(path if name == "exchanged" else demo_cases()[name], knowledge)
    found = weigh(knowledge, case, 4).combinations
    assert min(asked) >= found[-1].probability / 10.0
