"""The chance of the next reading by evenly spaced nodes, against the ratio of two adaptive integrals, and against
closed forms. The closed form: a normal true value that a normal error of known size was read of is normal again, about
a mean weighted by precision (Gelman et al., Bayesian Data Analysis, 2.5; cited from memory)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from diag.evidence import next_reading
from diag.evidence.distributions import Share, Spread, mixed
from diag.evidence.hidden_value import Mark, Shown, log_marginals
from diag.evidence.next_reading import chance_below
from diag.evidence.normal import log_normal_cumulative
from tests.support.effort import effort

SHAPES = st.sampled_from(["normal", "log-normal", "student t"])


def by_ratio(law: Spread, known: Shown, edge: Mark) -> float:
    """The same as the ratio of two integrals, each by adaptive quadrature."""
    both = replace(known, below=(*known.below, edge))
    joint, alone = log_marginals([law, law], [both, known])
    return float(np.exp(joint - alone))


@st.composite
def laws(draw: st.DrawFn) -> Spread:
    shape = draw(SHAPES)
    middle = draw(st.floats(5.0, 60.0))
    width = draw(st.floats(0.1, 1.2)) if shape == "log-normal" else draw(st.floats(0.3, 20.0))
    return Spread(shape, middle, width, draw(st.sampled_from([1.0, 2.5, 4.0, 30.0])))  # type: ignore[arg-type]


PLACES = st.integers(-40, 720).map(lambda eighths: eighths / 8)
MARKS = st.builds(Mark, PLACES, st.floats(0.3, 4.0))


@effort(60)
@given(
    law=laws(),
    values=st.lists(MARKS, max_size=2),
    above=st.lists(MARKS, max_size=1),
    below=st.lists(MARKS, max_size=1),
    edges=st.lists(PLACES, min_size=1, max_size=3),
    error=st.floats(0.3, 4.0),
)
def test_nodes_agree_with_adaptive_quadrature(
    law: Spread, values: list[Mark], above: list[Mark], below: list[Mark], edges: list[float], error: float
) -> None:
    known = Shown(tuple(values), tuple(above), tuple(below))
    found = chance_below([law], known, [Mark(edge, error) for edge in edges])[:, 0]
    for edge, mine in zip(edges, found, strict=True):
        assert mine == pytest.approx(by_ratio(law, known, Mark(edge, error)), abs=1e-10)


@pytest.mark.parametrize("value", [-3.0, 12.0, 40.0])
def test_of_a_normal_law_it_is_the_closed_form(value: float) -> None:
    law, read, error = Spread("normal", 10.0, 6.0), Mark(value, 2.0), 2.0
    precision = 1 / 6.0**2 + 1 / read.error**2
    mean = (10.0 / 6.0**2 + read.at / read.error**2) / precision
    edges = [Mark(at, error) for at in (0.0, 11.0, 30.0)]
    found = chance_below([law], Shown((read,)), edges)[:, 0]
    for edge, mine in zip(edges, found, strict=True):
        z = (edge.at - mean) / math.sqrt(1 / precision + error**2)
        assert mine == pytest.approx(float(np.exp(log_normal_cumulative(np.array(z)))), abs=1e-12)


def test_a_mixture_is_one_of_the_true_value() -> None:
    law = mixed([Share(0.7, Spread("student t", 0.0, 3.0)), Share(0.3, Spread("normal", 20.0, 5.0))])
    known = Shown((Mark(11.0, 1.0),))
    found = chance_below([law], known, [Mark(12.0, 1.0)])
    assert found[0, 0] == pytest.approx(by_ratio(law, known, Mark(12.0, 1.0)), abs=1e-12)


@pytest.mark.parametrize(
    ("law", "known"),
    [
        (Spread("student t", 0.0, 1.0), Shown((Mark(2.0, 0.15),))),
        (Spread("log-normal", 20.0, 0.4), Shown((Mark(61.0, 4.0),))),
        (Spread("log-normal", 20.0, 0.4), Shown(above=(Mark(60.0, 4.0),))),
        (Spread("log-normal", 20.0, 0.4), Shown((Mark(14.0, 4.0),))),
        (Spread("log-normal", 1.2, 0.9), Shown()),
        (Spread("student t", 0.0, 60.0), Shown()),
    ],
)
def test_what_a_workshop_reads_needs_no_adaptive_quadrature_for_each_edge(
    law: Spread, known: Shown, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Shown] = []

    def counted(spreads: list[Spread], shown: list[Shown]) -> object:
        asked.extend(shown)
        return log_marginals(spreads, shown)

    monkeypatch.setattr(next_reading, "log_marginals", counted)
    chance_below([law], known, [Mark(10.0, 1.0), Mark(70.0, 1.0)])
    assert not any(each.below for each in asked)


def test_without_edges_there_is_nothing_to_say() -> None:
    assert chance_below([Spread("normal", 0.0, 1.0)], Shown(), []).shape == (0, 1)
