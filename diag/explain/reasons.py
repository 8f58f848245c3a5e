"""Why a fault is as likely as it is: weights of the findings, the contrast with a rival, and the other cylinders.

Everything is read from the engine: what is believed after parts of what was told, with the fault there and without
it; what is too unlikely for the digits of that is supposed, and so asked for by itself.
May import: network, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diag.basics import Place, UsageError
from diag.explain.beliefs import Beliefs, without_places
from diag.explain.faults import TIE, Fault, leading_fault, mask_of, rival_given
from diag.explain.weights import Weights, chance_of, difference, log_odds, parts_in_order, weights_of
from diag.inference import Array
from diag.network import CaseNetwork, Claim, ToldStep, Weighed, log_joint, supposed, told_steps

__all__ = ["Contrast", "Course", "Neighbours", "Reasons", "course", "explain", "neighbours"]

COURSE_FROM = 0.05
COURSE_AT_MOST = 8


@dataclass(frozen=True)
class Contrast:
    """Why one fault and not another: weights of 'the first and not the second' against 'the second and not the first'.

    `only_fault`, `only_rival`, `both`: chances now of the one alone, of the other alone, and of both together.
    """

    fault: Fault
    rival: Fault
    weights: Weights
    only_fault: float
    only_rival: float
    both: float


@dataclass(frozen=True)
class Neighbours:
    """What the findings of each place do to one component on every place that has it.

    `sources`: where findings were told; `targets`: where the component is. `weight[source, target]` in decibans: by how
    much the log-odds of the target fall when all findings of the source are taken back. `chance[target]` now,
    `without[source, target]` then.
    """

    component: str
    sources: tuple[Place, ...]
    targets: tuple[Place, ...]
    weight: Array
    chance: Array
    without: Array


@dataclass(frozen=True)
class Course:
    """Belief after each finding: `chance[number told, fault]`, the first row before anything was told."""

    faults: tuple[Fault, ...]
    chance: Array


@dataclass(frozen=True)
class Reasons:
    """Everything about one fault. `steps`: what was told, in its order; all weights speak of these."""

    fault: Fault
    steps: tuple[ToldStep, ...]
    weights: Weights
    contrast: Contrast
    neighbours: Neighbours
    course: Course

    @property
    def before(self) -> float:
        """Chance of the fault before anything was told."""
        return chance_of(self.weights.prior)

    @property
    def now(self) -> float:
        """Chance of the fault now."""
        return chance_of(self.weights.posterior)


def explain(weighed: Weighed, fault: Fault | None = None, rival: Fault | None = None) -> Reasons:
    """Why a fault (none: the leading one) is as likely as it is, and why it and not its rival (none: the strongest).

    Raises UsageError where the fault and the rival contain each other.
    """
    network = weighed.network
    fault = fault or leading_fault(weighed)
    steps, order = told_steps(network), parts_in_order(len(told_steps(network)))
    beginnings = order[: len(steps) + 1]
    beliefs = Beliefs(network, steps, np.concatenate([beginnings, without_places(network, steps)[1]]))
    if rival is None:
        absent = supposed(network, steps, beginnings[-1:], ({fault.key: 1.0 - mask_of(network, fault)},))
        rival = rival_given(weighed, fault, {key: table[0, 0] for key, table in absent.states.items()})
    logs = _logs(beliefs, order, fault, rival)
    with_all = logs[len(steps)]
    shares = np.exp(with_all - with_all[:2].max())
    only_one, only_other = float(shares[2] / shares[:2].sum()), float(shares[3] / shares[:2].sum())
    fault_share = float(shares[0] / shares[:2].sum())
    return Reasons(
        fault=fault,
        steps=steps,
        weights=weights_of(log_odds(logs[:, :2])),
        contrast=Contrast(
            fault=fault,
            rival=rival,
            weights=weights_of(log_odds(logs[:, 2:])),
            only_fault=only_one,
            only_rival=only_other,
            both=max(0.0, fault_share - only_one),
        ),
        neighbours=neighbours(weighed, fault.component, beliefs),
        course=course(weighed, (fault, rival), beliefs),
    )


def _logs(beliefs: Beliefs, order: NDArray[np.bool_], fault: Fault, rival: Fault) -> Array:
    """`[part, 4]`: logarithms of the probability of the fault, of its absence, of 'the fault and not the rival', and of
    'the rival and not the fault', each together with the part. What is believed after the beginnings is known."""
    network, steps, (beginnings, rest) = beliefs.network, beliefs.steps, np.split(order, [len(beliefs.steps) + 1])
    mask, apart, rows = mask_of(network, fault), _apart(network, fault, rival), beliefs.rows(beginnings)
    known = np.stack([beliefs.logs(rows, fault.key, each) for each in (mask, 1.0 - mask)], axis=1)
    begun = np.concatenate([known, log_joint(network, steps, beginnings, apart)], axis=1)
    claims: list[Claim] = [{fault.key: mask}, {fault.key: 1.0 - mask}, *apart]
    return np.concatenate([begun, log_joint(network, steps, rest, claims)])


def _apart(network: CaseNetwork, fault: Fault, rival: Fault) -> list[Claim]:
    """'The first and not the second', and 'the second and not the first'."""
    one, other = mask_of(network, fault), mask_of(network, rival)
    if fault.key != rival.key:
        return [{fault.key: one, rival.key: 1.0 - other}, {fault.key: 1.0 - one, rival.key: other}]
    only_one, only_other = one * (1.0 - other), other * (1.0 - one)
    if not only_one.any() or not only_other.any():
        raise UsageError("there is nothing to tell apart: one of the two faults contains the other")
    return [{fault.key: only_one}, {fault.key: only_other}]


def neighbours(weighed: Weighed, component: str, beliefs: Beliefs | None = None) -> Neighbours:
    """What the findings of each place do to one component wherever it is. `beliefs` has them, if given."""
    network = weighed.network
    steps = told_steps(network)
    sources, apart = without_places(network, steps)
    told = np.concatenate([np.ones((1, len(steps)), dtype=np.bool_), apart])
    held = Beliefs(network, steps, told) if beliefs is None else beliefs
    targets = tuple(place for name, place in network.layout.versions if name == component)
    odds = held.odds(told, component, targets)
    chances = np.vectorize(chance_of, otypes=[np.float64])(odds)
    weight = np.array([[difference(now, then) for now, then in zip(odds[0], row, strict=True)] for row in odds[1:]])
    return Neighbours(component, sources, targets, weight.reshape(len(sources), len(targets)), chances[0], chances[1:])


def course(weighed: Weighed, always: Sequence[Fault] = (), beliefs: Beliefs | None = None) -> Course:
    """Belief before and after each finding, of `always` and of everything that was likely at some time. `beliefs` has
    them, if given."""
    network = weighed.network
    steps = told_steps(network)
    beginnings = parts_in_order(len(steps))[: len(steps) + 1]
    held = Beliefs(network, steps, beginnings) if beliefs is None else beliefs
    rows = held.rows(beginnings)
    faults = list(dict.fromkeys(always))
    highest: dict[Fault, float] = {}
    for key in network.layout.versions:
        entry = network.knowledge.components[key[0]]
        if entry.fault and key not in {fault.key for fault in faults}:
            highest[Fault(*key, tuple(entry.states)[1:])] = float(held.chances(key)[rows, 1:].sum(axis=1).max())
    likely = sorted(
        (fault for fault in highest if highest[fault] >= COURSE_FROM), key=lambda each: -round(highest[each], TIE)
    )
    faults += likely[: max(0, COURSE_AT_MOST - len(faults))]
    chance = [held.chances(fault.key)[rows] @ mask_of(network, fault) for fault in faults]
    return Course(tuple(faults), np.stack(chance, axis=1) if chance else np.zeros((len(rows), 0)))
