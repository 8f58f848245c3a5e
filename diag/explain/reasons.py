"""Why a fault is as likely as it is: weights of the findings, the contrast with a rival, and the other cylinders.

Everything is read from the engine: probabilities of a claim together with parts of what was told (`log_joint`).
May import: network, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diag.basics import Place, UsageError
from diag.explain.faults import Fault, leading_fault, mask_of, rival_of
from diag.explain.weights import Weights, chance_of, difference, log_odds, parts_in_order, weights_of
from diag.inference import Array
from diag.network import CaseNetwork, Claim, ToldStep, Weighed, component_states, log_joint, part_posterior, told_steps

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
    rival = rival or rival_of(weighed, fault)
    steps, mask = told_steps(network), mask_of(network, fault)
    claims: list[Claim] = [{fault.key: mask}, {fault.key: 1.0 - mask}, *_apart(network, fault, rival)]
    logs = log_joint(network, steps, parts_in_order(len(steps)), claims)
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
        neighbours=neighbours(weighed, fault.component, steps),
        course=course(weighed, (fault, rival), steps),
    )


def _apart(network: CaseNetwork, fault: Fault, rival: Fault) -> list[Claim]:
    """'The first and not the second', and 'the second and not the first'."""
    one, other = mask_of(network, fault), mask_of(network, rival)
    if fault.key != rival.key:
        return [{fault.key: one, rival.key: 1.0 - other}, {fault.key: 1.0 - one, rival.key: other}]
    only_one, only_other = one * (1.0 - other), other * (1.0 - one)
    if not only_one.any() or not only_other.any():
        raise UsageError("there is nothing to tell apart: one of the two faults contains the other")
    return [{fault.key: only_one}, {fault.key: only_other}]


def neighbours(weighed: Weighed, component: str, steps: Sequence[ToldStep] | None = None) -> Neighbours:
    """What the findings of each place do to one component wherever it is."""
    network = weighed.network
    known = told_steps(network) if steps is None else steps
    told_of = {step.question.place for step in known}
    order: list[Place] = [*network.case.engine.cylinders, *network.case.engine.banks, None]
    sources = tuple(place for place in order if place in told_of)
    targets = tuple(place for name, place in network.layout.versions if name == component)
    unsound = np.ones(len(network.knowledge.components[component].states))
    unsound[0] = 0.0
    claims: list[Claim] = [{(component, place): mask} for place in targets for mask in (unsound, 1.0 - unsound)]
    told = np.array([[True] * len(known), *([step.question.place != place for step in known] for place in sources)])
    logs = log_joint(network, known, told, claims)
    odds = np.stack([log_odds(logs[:, 2 * at : 2 * at + 2]) for at in range(len(targets))], axis=1)
    chances = np.vectorize(chance_of, otypes=[np.float64])(odds)
    weight = np.array([[difference(now, then) for now, then in zip(odds[0], row, strict=True)] for row in odds[1:]])
    return Neighbours(component, sources, targets, weight.reshape(len(sources), len(targets)), chances[0], chances[1:])


def course(weighed: Weighed, always: Sequence[Fault] = (), steps: Sequence[ToldStep] | None = None) -> Course:
    """Belief before and after each finding, of `always` and of everything that was likely at some time."""
    network = weighed.network
    known = told_steps(network) if steps is None else steps
    beginnings = np.tril(np.ones((len(known) + 1, len(known)), dtype=np.bool_), -1)
    states = [  # one after the other: a posterior of a case with many configurations is large
        component_states(network, part_posterior(network, known, beginnings[[number]], unseen=False))
        for number in range(len(beginnings))
    ]
    faults = list(dict.fromkeys(always))
    highest: dict[Fault, float] = {}
    for key in states[0]:
        entry = network.knowledge.components[key[0]]
        if entry.fault and key not in {fault.key for fault in faults}:
            highest[Fault(*key, tuple(entry.states)[1:])] = max(float(each[key][1:].sum()) for each in states)
    likely = sorted((fault for fault in highest if highest[fault] >= COURSE_FROM), key=lambda each: -highest[each])
    faults += likely[: max(0, COURSE_AT_MOST - len(faults))]
    chance = [[float(each[fault.key] @ mask_of(network, fault)) for fault in faults] for each in states]
    return Course(tuple(faults), np.array(chance))
