"""Any part of what was told as evidence, many parts at once: one case of the batch for each part and each claim.

A *step* is what was told of one question in one situation (one version of what it shows), so that a repair that was
tried parts what was told before from what was told after. May import: knowledge_base, casebook, inference, basics,
numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from diag.casebook import NOT_LOOKED, Answer, Measured
from diag.inference import Array, Evidence, Posterior, infer
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.likelihoods import before, factor_of, in_lucks, key_of
from diag.network.questions import Question, paused_in
from diag.network.targets import Factor

__all__ = ["Claim", "Parts", "ToldStep", "part_evidence", "part_posterior", "told_steps"]


Claim = Mapping[Key, Array]
"""What is supposed of some components as they stand now: `[state]`, 1 where it may be in that state, else 0."""


class ToldStep(Struct, frozen=True):
    """What was told of a question about one version of what it shows: the epoch in which that was first told, and all
    epochs in which that version stands."""

    question: Question
    version: int
    epoch: int
    epochs: tuple[int, ...]
    what: tuple[Answer | Measured, ...]


def told_steps(network: CaseNetwork) -> tuple[ToldStep, ...]:
    """Everything that was told, in its order: epoch by epoch, in each the findings and then the readings."""
    found: dict[tuple[Question, int], int] = {}
    for number, epoch in enumerate(network.case.epochs):
        answers = [each for each in epoch.answers if each.answer != NOT_LOOKED]
        told: list[Answer | Measured] = [*answers, *epoch.measured]
        for each in told:
            question = network.question(each.item, each.place, each.condition)
            version = _standing(network, question)[number]
            found.setdefault((question, version), number)
    return tuple(
        ToldStep(question, version, epoch, _epochs(network, question, version), network.told[question][version])
        for (question, version), epoch in found.items()
    )


def _standing(network: CaseNetwork, question: Question) -> tuple[int, ...]:
    return network.targets.standing(key_of(network.knowledge, question))


def _epochs(network: CaseNetwork, question: Question, version: int) -> tuple[int, ...]:
    return tuple(epoch for epoch, stands in enumerate(_standing(network, question)) if stands == version)


def part_evidence(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], claims: Sequence[Claim] = ()
) -> Evidence:
    """The evidence of parts of what was told: `told[case, step]`, and where given one claim for each case."""
    return Parts(network, steps, told).evidence(np.arange(len(told)), claims)


class Parts:
    """Parts of what was told, `told[part, step]`, from which evidence is made: what they say is worked out once."""

    def __init__(self, network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_]) -> None:
        self.network = network
        self.plain: list[Factor] = []  # by part
        self.by_node: list[tuple[Factor, NDArray[np.bool_]]] = []  # and in which parts: these are many numbers
        for questions in in_lucks(network.knowledge, (step.question for step in steps)):
            whole = network.factors[questions[0]]
            if whole.by_node:
                mine = [number for number, step in enumerate(steps) if step.question in questions]
                self.by_node.append((whole, np.all(told[:, mine], axis=1)))
            else:
                self.plain.append(_factor(network, steps, questions, told))
        self.by_node += _implied(network, steps, told)

    def evidence(self, parts: NDArray[np.intp], claims: Sequence[Claim] = ()) -> Evidence:
        """Of a case for each of `parts`, and where given one claim for each of these."""
        plain = (replace(factor, likelihood=factor.likelihood[parts]) for factor in self.plain)
        by_node = (_where(factor, told[parts]) for factor, told in self.by_node if np.any(told[parts]))
        return self.network.targets.evidence([*plain, *by_node, *_claimed(self.network, claims)], len(parts))


def part_posterior(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], unseen: bool = True
) -> Posterior:
    """The posterior of each part of what was told, `told[case, step]`; `unseen` as in `infer`."""
    return infer(network.model, part_evidence(network, steps, told), unseen=unseen)


def _factor(
    network: CaseNetwork, steps: Sequence[ToldStep], questions: Sequence[Question], told: NDArray[np.bool_]
) -> Factor:
    """All that was told of some questions of one luck, by part; where nothing of it was, a likelihood of ones."""
    wholes = [network.factors[question] for question in questions]
    versions = tuple(sorted({version for whole in wholes for version in whole.versions}))
    levels = wholes[0].likelihood.shape[1]
    mine = [number for number, step in enumerate(steps) if step.question in questions]
    patterns, which = np.unique(told[:, mine], axis=0, return_inverse=True)
    rows = []
    for pattern in patterns:
        heard = {
            (steps[number].question, steps[number].version) for number, one in zip(mine, pattern, strict=True) if one
        }
        some = {
            question: {
                version: what for version, what in network.told[question].items() if (question, version) in heard
            }
            for question in questions
        }
        row = np.ones([levels] * len(versions))
        for question in questions:
            if some[question]:
                row = row * _widened(network, question, {key: each for key, each in some.items() if each}, versions)
        rows.append(row)
    return Factor(wholes[0].key, versions, np.stack(rows)[which.reshape(-1)])


def _where(factor: Factor, told: NDArray[np.bool_]) -> Factor:
    """A factor in the cases in which it is told; ones in the others."""
    if np.all(told):
        return factor
    shape = (len(told), *(1 for _ in factor.likelihood.shape[1:]))
    parts = tuple(_where(part, told) for part in factor.parts)
    return replace(factor, likelihood=np.where(told.reshape(shape), factor.likelihood, 1.0), parts=parts)


def _implied(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_]
) -> list[tuple[Factor, NDArray[np.bool_]]]:
    """What follows from readings that sum to zero, and the parts in which all of these are told."""
    shifted = network.shifted
    if shifted is None:
        return []
    shared = [number for number, step in enumerate(steps) if step.question in shifted.factors]
    return [(factor, np.all(told[:, shared], axis=1)) for factor in shifted.implied]


def _widened(
    network: CaseNetwork,
    question: Question,
    told: Mapping[Question, Mapping[int, tuple[Answer | Measured, ...]]],
    versions: tuple[int, ...],
) -> Array:
    """The likelihood of a part of what was told of a question, given what of the part comes before it, over the
    versions of the whole; of length 1 where it does not depend on one."""
    paused = paused_in(network.case, network.targets.standing(key_of(network.knowledge, question)))
    given = before(network.knowledge, question, told)
    part = factor_of(network.knowledge, network.case.engine, question, told[question], paused, given).factor
    sizes = dict(zip(part.versions, part.likelihood.shape[1:], strict=True))
    shape = [sizes.get(version, 1) for version in versions]
    return np.asarray(part.likelihood[0].reshape(shape))


def _claimed(network: CaseNetwork, claims: Sequence[Claim]) -> list[Factor]:
    keys = dict.fromkeys(key for claim in claims for key in claim)
    found = []
    for key in keys:
        count = len(network.knowledge.components[key[0]].states)
        rows = np.stack([claim.get(key, np.ones(count)) for claim in claims])
        found.append(Factor(key, (network.current_version(key),), rows))
    return found
