"""Any part of what was told as evidence, many parts at once: one case of the batch for each part and each claim.

A *step* is what was told of one question in one situation (one version of what it shows), so that a repair that was
tried parts what was told before from what was told after. May import: knowledge_base, casebook, inference, basics,
numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from diag.basics import ImpossibleEvidence, TooLarge
from diag.casebook import NOT_LOOKED, Answer, Measured
from diag.inference import Array, Evidence, Mixture, Posterior, infer, mixture, with_configurations
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.likelihoods import factor_of, key_of
from diag.network.questions import Question, paused_in
from diag.network.targets import Factor

__all__ = ["Claim", "ToldStep", "log_joint", "part_evidence", "part_posterior", "told_steps"]

PARTS_AT_ONCE = 8
CONFIGURATIONS_AT_ONCE = 8192  # for the memory: a case with an exchange has a hundred thousand
PRECISION = 1e-9  # bound on the relative error from its signs above which a claim becomes evidence of its own

Chosen = tuple[list[int], int]  # the option of each plate, and that of the configuration
Options = tuple[list[list[dict[int, Array]]], list[Array], list[Chosen]]
Claim = Mapping[Key, Array]
"""What is supposed of some components as they stand now: `[state]`, 1 where it may be in that state, else 0."""


@dataclass(frozen=True)
class ToldStep:
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
    factors = [*_factors(network, steps, told), *_claimed(network, claims)]
    return network.targets.evidence(factors, len(told))


def _factors(network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_]) -> list[Factor]:
    """Everything that was told, and what follows from it, by case."""
    factors = [_factor(network, steps, question, told) for question in dict.fromkeys(step.question for step in steps)]
    return [*factors, *_implied(network, steps, told)]


def part_posterior(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], unseen: bool = True
) -> Posterior:
    """The posterior of each part of what was told, `told[case, step]`; `unseen` as in `infer`."""
    return infer(network.model, part_evidence(network, steps, told), unseen=unseen)


def log_joint(
    network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_], claims: Sequence[Claim]
) -> Array:
    """`[part, claim]`: logarithm of the probability of a claim together with a part of what was told,
    `told[part, step]`; minus infinity where that is impossible.

    Each claim is a sum over the terms of the evidence; what its signs cost is measured, and where that is too much the
    claim becomes evidence of its own, so that the relative precision is that of the engine however rare it is. Parts
    differ by a factor that is common to their claims.
    """
    parts, which = np.unique(told, axis=0, return_inverse=True)
    pieces = [parts[first : first + PARTS_AT_ONCE] for first in range(0, len(parts), PARTS_AT_ONCE)]
    return np.concatenate([_log_joint(network, steps, piece, claims) for piece in pieces])[which.reshape(-1)]


def _log_joint(
    network: CaseNetwork, steps: Sequence[ToldStep], parts: NDArray[np.bool_], claims: Sequence[Claim]
) -> Array:
    """As `log_joint`, of a few parts; the configurations in windows, since they add up."""
    options, factors = _options(network, claims), _factors(network, steps, parts)
    every = np.arange(len(network.model.configurations))
    windows = [every[at : at + CONFIGURATIONS_AT_ONCE] for at in range(0, len(every), CONFIGURATIONS_AT_ONCE)]
    found: list[tuple[Array, Array, Array]] = []
    for window in windows:
        try:
            found.append(_in_window(network, factors, len(parts), window, options))
        except ImpossibleEvidence:
            if len(windows) == 1:
                raise
            if len(parts) > 1:  # it may be possible under some of them
                return np.concatenate([_log_joint(network, steps, part[np.newaxis], claims) for part in parts])
        except TooLarge:
            return np.array([[_alone(network, steps, part, claim) for claim in claims] for part in parts])
    if not found:
        raise ImpossibleEvidence([0])
    scale = np.max([log for log, _, _ in found], axis=0)
    shares = [np.exp(log - scale)[:, np.newaxis] for log, _, _ in found]
    total, error = (sum(share * each[at] for share, each in zip(shares, found, strict=True)) for at in (1, 2))
    logs = np.empty((len(parts), len(claims)))
    for case, number in np.ndindex(logs.shape):
        chance, off = float(total[case, number]), float(error[case, number])
        if off <= PRECISION * chance and chance > 0:
            logs[case, number] = scale[case] + float(np.log(total[case, number]))
        else:
            logs[case, number] = _alone(network, steps, parts[case], claims[number]) if off > 0 else -np.inf
    return logs


def _in_window(
    network: CaseNetwork, factors: Sequence[Factor], cases: int, window: NDArray[np.intp], options: Options
) -> tuple[Array, Array, Array]:
    """Of some configurations: `[case]` the logarithm of their share of the probability, and `[case, claim]` the share
    of each claim in that, and what its signs may cost it."""
    choices, shared, chosen = options
    model, _ = with_configurations(network.model, Evidence(), window)
    told = network.targets.on(window).evidence(factors, cases)
    mixed = mixture(model, told, choices, [one[window] for one in shared])
    sums = [(product.sum(axis=1), np.abs(product).sum(axis=1)) for product in _products(mixed, chosen)]
    share = float(network.model.configurations[window].sum())
    total, size = (np.stack(each, axis=1) for each in zip(*sums, strict=True))
    return mixed.log_evidence + np.log(share), total, 4 * float(np.finfo(size.dtype).eps) * size


def _products(mixed: Mixture, chosen: Sequence[Chosen]) -> Iterator[Array]:
    """For each choice of options `[case, term]`: what the mixture sums over. Most claims are about one or two plates,
    so what the others bring is multiplied once for all claims about these."""
    plain = [values[0] for values in mixed.values]
    moved = {plate for options, _ in chosen for plate, option in enumerate(options) if option}
    still = [plain[plate] for plate in range(len(plain)) if plate not in moved]
    common = reduce(np.multiply, sorted(still, key=len), np.ones((1, mixed.weights.shape[1])))
    rest: dict[frozenset[int], Array] = {}
    for options, on_configuration in chosen:
        mine = frozenset(plate for plate, option in enumerate(options) if option)
        if mine not in rest:
            others = sorted((plain[plate] for plate in moved - mine), key=len)
            rest[mine] = reduce(np.multiply, others, common) * mixed.weights
        product = rest[mine]
        if on_configuration:
            product = product * mixed.configuration_values[on_configuration]
        yield reduce(np.multiply, (mixed.values[plate][options[plate]] for plate in sorted(mine)), product)


def _options(network: CaseNetwork, claims: Sequence[Claim]) -> Options:
    """Options of each plate, options of the configuration, and for each claim which of them it is."""
    plates = range(len(network.model.plates))
    choices: list[list[dict[int, Array]]] = [[{}] for _ in plates]
    shared = [np.ones(len(network.model.configurations))]
    chosen = []
    for claim in claims:
        factors: dict[int, dict[int, Array]] = {}
        on_configuration = shared[0]
        for key, may in claim.items():
            at = network.component_at(*key)
            if at is None:
                on_configuration = on_configuration * may[network.configuration_states(*key)]
            else:
                factors.setdefault(at[0], {})[at[1]] = may[np.newaxis]
        for plate, wanted in factors.items():
            choices[plate].append(wanted)
        if on_configuration is not shared[0]:
            shared.append(on_configuration)
        at_configuration = len(shared) - 1 if on_configuration is not shared[0] else 0
        chosen.append(([len(choices[plate]) - 1 if plate in factors else 0 for plate in plates], at_configuration))
    return choices, shared, chosen


def _alone(network: CaseNetwork, steps: Sequence[ToldStep], part: NDArray[np.bool_], claim: Claim) -> float:
    """The same for one part and claim, the claim being evidence."""
    try:
        return float(infer(network.model, part_evidence(network, steps, part[np.newaxis], [claim])).log_evidence[0])
    except ImpossibleEvidence:
        return -np.inf


def _factor(network: CaseNetwork, steps: Sequence[ToldStep], question: Question, told: NDArray[np.bool_]) -> Factor:
    """All that was told of one question, by case; where nothing of it was, a likelihood of ones."""
    whole = network.factors[question]
    mine = [number for number, step in enumerate(steps) if step.question == question]
    if whole.by_node:
        return _where(whole, np.all(told[:, mine], axis=1))
    patterns, which = np.unique(told[:, mine], axis=0, return_inverse=True)
    rows = []
    for pattern in patterns:
        chosen = {steps[number].version for number, heard in zip(mine, pattern, strict=True) if heard}
        some = {version: what for version, what in network.told[question].items() if version in chosen}
        rows.append(_widened(network, question, some, whole) if some else np.ones(whole.likelihood.shape[1:]))
    return Factor(whole.key, whole.versions, np.stack(rows)[which.reshape(-1)])


def _where(factor: Factor, told: NDArray[np.bool_]) -> Factor:
    """A factor in the cases in which it is told; ones in the others."""
    shape = (len(told), *(1 for _ in factor.likelihood.shape[1:]))
    parts = tuple(_where(part, told) for part in factor.parts)
    return replace(factor, likelihood=np.where(told.reshape(shape), factor.likelihood, 1.0), parts=parts)


def _implied(network: CaseNetwork, steps: Sequence[ToldStep], told: NDArray[np.bool_]) -> list[Factor]:
    """What follows from readings that sum to zero, in the cases in which all of these are told."""
    shifted = network.shifted
    if shifted is None:
        return []
    shared = [number for number, step in enumerate(steps) if step.question in shifted.factors]
    return [_where(factor, np.all(told[:, shared], axis=1)) for factor in shifted.implied]


def _widened(
    network: CaseNetwork, question: Question, told: Mapping[int, tuple[Answer | Measured, ...]], whole: Factor
) -> Array:
    """The likelihood of a part of what was told of a question, over the versions of the whole."""
    paused = paused_in(network.case, network.targets.standing(whole.key))
    part = factor_of(network.knowledge, network.case.engine, question, told, paused).factor
    sizes = whole.likelihood.shape[1:]
    shape = [size if version in part.versions else 1 for version, size in zip(whole.versions, sizes, strict=True)]
    return np.broadcast_to(part.likelihood[0].reshape(shape), sizes)


def _claimed(network: CaseNetwork, claims: Sequence[Claim]) -> list[Factor]:
    keys = dict.fromkeys(key for claim in claims for key in claim)
    found = []
    for key in keys:
        count = len(network.knowledge.components[key[0]].states)
        rows = np.stack([claim.get(key, np.ones(count)) for claim in claims])
        found.append(Factor(key, (network.current_version(key),), rows))
    return found
