"""Weights of evidence on published and on random small worlds: they add up, and they are what Good (1985) defines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from diag.explain import Weights, chance_of, weigh_in_order
from diag.inference import Array, Component, Evidence, Model, Plate, infer
from tests.support.effort import effort
from tests.support.to_reference import Network, Node, pgmpy_marginals

P_BURGLARY, P_EARTHQUAKE = 0.001, 0.002
P_ALARM = np.array([[0.001, 0.29], [0.94, 0.95]])  # [burglary, earthquake]
CALLS = {"john": np.array([0.05, 0.9]), "mary": np.array([0.01, 0.7])}  # [alarm]


def burglary() -> Model:
    """Pearl (1988), numbers as in Russell & Norvig: configurations are (burglary, earthquake), one plate the alarm."""
    both = np.outer([1 - P_BURGLARY, P_BURGLARY], [1 - P_EARTHQUAKE, P_EARTHQUAKE]).ravel()
    alarm = np.stack([1 - P_ALARM.ravel(), P_ALARM.ravel()], axis=1)
    return Model(both, (Plate("house", (Component("alarm", alarm),)),), ())


def for_burglary(*calls: str) -> Weights:
    """Weights of the calls, in that order, for a burglary, by the engine."""

    def log_joint(told: np.ndarray) -> Array:
        logs = []
        for part in told:
            heard = np.prod([CALLS[call] for call, yes in zip(calls, part, strict=True) if yes], axis=0) * np.ones(2)
            masks = (np.array([0.0, 0.0, 1.0, 1.0]), np.array([1.0, 1.0, 0.0, 0.0]))
            likelihoods = [(mask[:, None] * heard)[None] for mask in masks]
            logs.append(
                [infer(burglary(), Evidence(components={(0, 0): each})).log_evidence[0] for each in likelihoods]
            )
        return np.array(logs)

    return weigh_in_order(log_joint, len(calls))


def test_both_calls_have_26_decibans_for_a_burglary_and_john_alone_12() -> None:
    """Good (1985) on the inputs of Pearl's example; computed: j 12.184 db, j and m 25.983 db."""
    found = for_burglary("john", "mary")
    assert found.told[0] == pytest.approx(12.184, abs=5e-4)
    assert found.posterior - found.prior == pytest.approx(25.983, abs=5e-4)
    assert chance_of(found.prior) == pytest.approx(0.001, abs=1e-15)
    assert chance_of(found.posterior) == pytest.approx(0.2841718, abs=5e-8)


def test_the_calls_weigh_otherwise_in_the_other_order_but_come_to_the_same() -> None:
    """They are no independent witnesses: both speak of the alarm."""
    one, other = for_burglary("john", "mary"), for_burglary("mary", "john")
    assert one.told[0] - other.told[1] == pytest.approx(12.184 - (25.983 - other.told[0]), abs=1e-3)
    assert abs(one.told[0] - other.told[1]) > 0.5
    assert one.told.sum() == pytest.approx(other.told.sum(), abs=1e-9)
    np.testing.assert_allclose(one.own, other.own[::-1], atol=1e-9)


def test_weights_are_the_log_odds_that_pgmpy_gives() -> None:
    """The change of the log-odds of pgmpy's variable elimination on the network as drawn in the book, to 1e-9."""
    alarm = np.stack([P_ALARM, 1 - P_ALARM], axis=-1)[::-1, ::-1]
    nodes = (
        Node("burglary", (), np.array([P_BURGLARY, 1 - P_BURGLARY])),
        Node("earthquake", (), np.array([P_EARTHQUAKE, 1 - P_EARTHQUAKE])),
        Node("alarm", ("burglary", "earthquake"), alarm),
        *(Node(name, ("alarm",), np.stack([p[::-1], 1 - p[::-1]], axis=1)) for name, p in CALLS.items()),
    )
    found = for_burglary("john", "mary")
    for number, told in enumerate(((), ("john",), ("john", "mary"))):
        yes, no = pgmpy_marginals(Network(nodes, told, 0.0), ["burglary"])["burglary"]
        assert found.odds[number] == pytest.approx(10 * np.log10(yes / no), abs=1e-9)


def by_joint_table(joint: Array) -> Weights:
    """Weights of true findings for the first axis, from the joint table of all of it."""
    findings = joint.ndim - 1

    def log_joint(told: np.ndarray) -> Array:
        rows = []
        for part in told:
            table = joint
            for axis in reversed(range(findings)):
                table = np.take(table, 1, axis=axis + 1) if part[axis] else table.sum(axis=axis + 1)
            rows.append(table)
        return np.log(np.array(rows))

    return weigh_in_order(log_joint, findings)


@effort(60)
@given(joint=arrays(np.float64, (2, 2, 2, 2), elements=st.floats(1e-6, 1.0)), order=st.permutations([1, 2, 3]))
def test_weights_add_up_in_every_order_and_the_last_told_is_its_own_removal(joint: Array, order: list[int]) -> None:
    found, other = by_joint_table(joint), by_joint_table(np.transpose(joint, (0, *order)))
    for each in (found, other):
        assert each.prior + each.told.sum() == pytest.approx(each.posterior, abs=1e-9)
        assert each.told[-1] == pytest.approx(each.own[-1], abs=1e-9)
    assert found.posterior == pytest.approx(other.posterior, abs=1e-9)
    np.testing.assert_allclose(other.own, found.own[[axis - 1 for axis in order]], atol=1e-9)


def test_independent_findings_weigh_the_same_wherever_they_stand() -> None:
    """Given the claim and given its opposite they are independent: weights are 10 log10 of the likelihood ratio."""
    ratios = np.array([[0.2, 0.6], [0.5, 0.4], [0.9, 0.1]])  # [finding, claim]
    joint = np.array([0.3, 0.7])[:, None, None, None]
    for axis, (without, with_it) in enumerate(ratios):
        shape = [2, 1, 1, 1]
        shape[axis + 1] = 2
        joint = joint * np.array([[1 - with_it, with_it], [1 - without, without]]).reshape(shape)
    found = by_joint_table(joint)
    np.testing.assert_allclose(found.told, 10 * np.log10(ratios[:, 1] / ratios[:, 0]), atol=1e-12)
    np.testing.assert_allclose(found.told, found.own, atol=1e-12)


def test_what_rules_a_claim_out_has_no_bound_and_what_follows_adds_nothing() -> None:
    with np.errstate(divide="ignore"):
        found = by_joint_table(np.array([[[0.1, 0.1], [0.0, 0.0]], [[0.2, 0.2], [0.2, 0.2]]]))
    assert found.posterior == -np.inf
    assert list(found.told) == [-np.inf, 0.0]
    assert found.own[0] == -np.inf
    assert found.own[1] == 0.0
    assert chance_of(found.posterior) == 0.0
