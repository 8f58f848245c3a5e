"""Do the findings of a case agree? Measures of conflict, which answers pull apart, and how rare such findings are.

Jensen's measure of conflict (Jensen, Chamberlain, Nordahl & Jensen, UAI 1990) is

    conf(e) = ln( P(e_1) P(e_2) ... / P(e) )

It is positive where the findings are together less likely than if they had nothing to do with each other. The product
of the P(e_i) is a distribution of findings of its own, so by Markov's inequality conf(e) >= ln 20 comes up in at most
1 of 20 vehicles that the model describes, whatever is asked of them.

Two findings that always mislead now and then contradict each other at a small price, and conf(e) hardly sees it. So
everything that shows one thing (a severity or component at its place) is held against the same findings, where each
may be an error with the chance `MAY_ERR`. An erring answer about x is one that is given of some other vehicle, whose
level may as well be any: q_i is its likelihood averaged over the levels. Then

    strain = P(e | answers may err) / P(e) = sum over x of P(x | e) prod_i (1 - MAY_ERR + MAY_ERR q_i / P(e_i | x))

Like every quotient of two distributions of findings it is 1 on average over vehicles of the model. How rare so much
strain is, is the *tail*: the chance that a vehicle of which all else is known gives answers about this thing that
strain it as much, by the sum over all answers it could give. Where many things have several answers one of them is
strained now and then, so the tail is held against their number (Bonferroni). What customers tell of the whole vehicle
(that is why it is there) is taken as it stands. The two limits were chosen on vehicles drawn with one seed; what they
miss and what they say in vain is measured on others (tests/network/test_agreement.py).
May import: knowledge_base, casebook, inference, basics, numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from math import prod

import numpy as np
from msgspec import Struct, structs

from diag.casebook import ABSENT, PRESENT, Answer, Measured
from diag.inference import Array, Evidence, Posterior, infer, log_evidence, mixture, with_configurations
from diag.knowledge_base import Knowledge
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.likelihoods import before, beside, chance_by_level
from diag.network.marginals import relative_probabilities
from diag.network.questions import Question
from diag.network.rarity import Rarity, rarity_of
from diag.network.tables import levels_of
from diag.network.targets import Factor

__all__ = [
    "CONFLICT_FROM",
    "MAY_ERR",
    "MOST_COMBINATIONS",
    "SELDOM",
    "STRAINED_FROM",
    "Agreement",
    "Doubt",
    "Opinion",
    "agreement",
    "chance_present",
    "conflict_measure",
    "is_complaint",
    "marginal",
    "strain_of",
    "strain_tail",
    "vehicle_marginal",
]

MAY_ERR = 0.2
CONFLICT_FROM = math.log(20.0)
STRAINED_FROM = 6.0  # strain of one thing from which its answers are said to contradict each other ...
SELDOM = 0.08  # ... where so few vehicles are strained as much by any of the things that several answers are about
MOST_ANSWERS = 10  # plain answers about one thing whose combinations are looked through
MOST_COMBINATIONS = 128  # levels of the vehicle's severities told of, up to which these are looked into as well


class Opinion(Struct, frozen=True):
    """One answer about a thing: how far it speaks for or against it, and how likely it is to mislead.

    `log_ratio` is the natural logarithm of P(answer | the levels above the first, on average) / P(answer | the first);
    `p_error` is the chance that this answer is an error, given all that was told and that answers err with the chance
    `MAY_ERR`; `apart` is Jensen's partial conflict of this answer with all the others, ln P(e_i) / P(e_i | the others).
    """

    question: Question
    log_ratio: float
    p_error: float
    apart: float


class Doubt(Struct, frozen=True):
    """A thing (severity or component at its place) about which answers pull apart; the answers to check first come
    first. `strain` and `tail` as in the head of this module."""

    key: Key
    strain: float
    tail: float
    opinions: tuple[Opinion, ...]


class Agreement(Struct, frozen=True):
    """How far the findings agree with each other and with the model.

    `conflict`: Jensen's measure (natural logarithm). `doubts`: everything about which something was told, most strained
    first. `contradicts`: whether either measure is beyond what vehicles of the model show. `unlisted` and
    `unlisted_before`: chance that something is wrong that the knowledge does not list, and before anything was told.
    """

    conflict: float
    doubts: tuple[Doubt, ...]
    unlisted: float
    unlisted_before: float
    rarity: Rarity | None

    @property
    def contradicting(self) -> tuple[Doubt, ...]:
        """What several answers contradict each other about, most strained first."""
        several = [doubt for doubt in self.doubts if len(doubt.opinions) > 1]
        seldom = SELDOM / max(len(several), 1)
        return tuple(each for each in several if each.strain >= STRAINED_FROM and each.tail <= seldom)

    @property
    def contradicts(self) -> bool:
        """Whether the findings are to be called contradictory."""
        return self.conflict >= CONFLICT_FROM or bool(self.contradicting)


def conflict_measure(log_singles: Array, log_together: float) -> float:
    """Jensen's conflict measure from ln P(e_i) and ln P(e). In Pearl's burglary, John and Mary calling: -1.22549."""
    return float(np.sum(log_singles) - log_together)


def strain_of(posterior: Array, likelihoods: Array, may_err: float = MAY_ERR) -> tuple[float, Array]:
    """The strain of one thing, and the chance of each answer to be an error: `posterior[level]`,
    `likelihoods[answer, level]`, each but for a factor of its own. See the head of this module."""
    possible = (posterior > 0) & np.all(likelihoods > 0, axis=0)
    # in logarithms: one level may be as unlikely as a number can be, and the ratio beyond what a number can be
    err = np.log(may_err) + np.log(likelihoods.mean(axis=1))[:, np.newaxis] - np.log(likelihoods[:, possible])
    each = np.logaddexp(np.log1p(-may_err), err)
    weight = np.log(posterior[possible]) + each.sum(axis=0)
    strain = float(np.exp(weight).sum())
    return strain, np.asarray(np.exp(weight + err - each).sum(axis=1) / strain)


def strain_tail(
    posterior: Array, likelihoods: Array, present: Sequence[Array | None], strain: float, may_err: float = MAY_ERR
) -> float:
    """Chance that a vehicle of the model, of which all is known but its plain answers about one thing, is strained as
    much by them: summed over all that they could have been.

    `posterior[level]` and `likelihoods[answer, level]` as in `strain_of`; `present[answer][level]` is the chance of
    'present' of each plain answer, none for what stays as it was told. Of more than `MOST_ANSWERS` plain answers the
    last ones stay as well. Where there is no plain answer it is the bound of Markov, 1 / strain.
    """
    plain = [index for index, chance in enumerate(present) if chance is not None][:MOST_ANSWERS]
    if not plain:
        return min(1.0, 1.0 / strain)
    known = np.all(likelihoods > 0, axis=0) & (posterior > 0)
    rest = np.zeros_like(posterior)  # what is known of the levels but for the plain answers
    rest[known] = posterior[known] / np.prod(likelihoods[plain][:, known], axis=0)
    kept = np.delete(likelihoods, plain, axis=0)
    chances = np.stack([chance for chance in present if chance is not None][:MOST_ANSWERS])
    outcomes = np.array(list(product((True, False), repeat=len(plain))))
    rows = np.where(outcomes[:, :, np.newaxis], chances, 1.0 - chances)
    weight = rest * np.prod(rows, axis=1)
    every = np.concatenate([rows, np.broadcast_to(kept, (len(rows), *kept.shape))], axis=1)
    ratio = every.mean(axis=2, keepdims=True) / np.maximum(every, np.finfo(np.float64).tiny)
    erring = np.prod(1.0 - may_err + may_err * ratio, axis=1)
    total = weight.sum(axis=1)
    possible = total > 0
    strains = np.where(weight > 0, weight * erring, 0.0).sum(axis=1)[possible] / total[possible]
    return float(total[possible][strains >= strain * (1 - 1e-9)].sum() / total.sum())


def is_complaint(network: CaseNetwork, question: Question) -> bool:
    """Whether an answer is what the customer tells of the whole vehicle."""
    finding = network.knowledge.findings.get(question.item)
    return question.place is None and finding is not None and finding.kind == "symptom"


def agreement(network: CaseNetwork, posterior: Posterior, rarity: bool = True) -> Agreement:
    """Whether the findings of a case agree. `posterior` is that of all of them; `rarity`: also by simulation."""
    unlisted = _unlisted(network, float(posterior.log_evidence[0]))
    posterior, nodes = _likeliest_numbering(network, posterior)
    factors, plain = _at_the_shift(network, nodes), _without_nodes(network)
    singles = _log_singles(plain, _each_alone(network, factors))
    together = float(posterior.log_evidence[0])
    if any(factor.by_node for factor in network.factors.values()):
        together = float(_log_evidence(plain, plain.targets.evidence(factors.values()))[0])
    conflict = conflict_measure(np.array(list(singles.values())), together)
    doubts = _doubts(network, posterior, factors, singles)
    complaints = {question for question in network.told if is_complaint(network, question)}
    return Agreement(
        conflict=conflict,
        doubts=tuple(sorted(doubts, key=lambda each: -each.strain)),
        unlisted=unlisted,
        unlisted_before=_unlisted_before(network),
        rarity=rarity_of(network, complaints) if rarity else None,
    )


def _likeliest_numbering(network: CaseNetwork, posterior: Posterior) -> tuple[Posterior, Array]:
    """The posterior, and the chance of each node of the configuration axis, given the likeliest numbering of the
    cylinders by the control unit: answers are held together as they are believed to belong."""
    configurations = network.targets.configurations
    weights = posterior.configurations[0]
    numbered = network.numbered
    if numbered is not None and len(numbered.numbers) > 1:
        best = int(np.argmax(numbered.chances(configurations, weights)))
        kept = np.flatnonzero(numbered.of_node[configurations.nodes] == best)
        posterior = infer(*with_configurations(network.model, network.evidence, kept), unseen=False)
        weights = np.zeros(len(configurations))
        weights[kept] = posterior.configurations[0]
        posterior = replace(posterior, configurations=weights[np.newaxis])
    count = max((each.likelihood.shape[1] for each in network.factors.values() if each.by_node), default=1)
    return posterior, np.bincount(configurations.nodes, weights=weights, minlength=count).astype(np.float64)


def _without_nodes(network: CaseNetwork) -> CaseNetwork:
    """The network with configurations as one that differ in nothing but the node, for evidence that hears no node."""
    known = network.targets.configurations
    rows = np.column_stack([known.states, known.classes])
    _, first, group = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    if len(first) == len(known):
        return network
    prior = np.bincount(group.reshape(-1), weights=network.model.configurations).astype(np.float64)
    model, _ = with_configurations(network.model, Evidence(1), first)
    nodes = np.zeros(len(first), dtype=np.intp)
    alike = structs.replace(known, states=known.states[first], prior=prior, nodes=nodes, classes=known.classes[first])
    return replace(
        network,
        model=structs.replace(model, configurations=prior),
        targets=structs.replace(network.targets, configurations=alike),
    )


def _at_the_shift(network: CaseNetwork, chance: Array) -> dict[Question, Factor]:
    """The factors, those by node with the nodes as they are believed now: alone, some would tell nothing. Of several
    cylinders that of the likeliest numbering counts, the only one to which this gives anything."""
    found = {}
    for question, factor in network.factors.items():
        if factor.by_node:
            seen = [np.tensordot(chance, part.likelihood[0], 1) for part in factor.whole]
            tells = int(np.argmax([np.ptp(each) for each in seen]))
            part = factor.whole[tells]
            factor = Factor(part.key, part.versions, seen[tells][np.newaxis])
        found[question] = factor
    return found


def _each_alone(network: CaseNetwork, factors: Mapping[Question, Factor]) -> dict[Question, Factor]:
    """The factors, those that stand given what was told under other conditions each by itself instead."""
    return {
        question: network.alone(question) if before(network.knowledge, question, factors) else factor
        for question, factor in factors.items()
    }


def _log_singles(network: CaseNetwork, factors: Mapping[Question, Factor]) -> dict[Question, float]:
    """ln P(e_i) of every question alone. All that stay within cylinders and components are one batch; the others are
    one batch for each severity of the vehicle, so that each batch hears no more than it needs."""
    batches: dict[str, list[Question]] = {}
    for question, factor in factors.items():
        heard = factor.key[0] if factor.key[0] in network.targets.chain.nodes else ""
        batches.setdefault(heard, []).append(question)
    found: dict[Question, float] = {}
    for questions in batches.values():
        count = len(questions)
        alone = [_in_one_case(factors[each], case, count) for case, each in enumerate(questions)]
        told = network.targets.evidence(alone, count)
        logs = _log_evidence(network, told) if told.shared else log_evidence(network.model, told)
        found |= {question: float(log) for question, log in zip(questions, logs, strict=True)}
    return {question: found[question] for question in factors}


def _in_one_case(factor: Factor, case: int, cases: int) -> Factor:
    """A factor that is told in one case of a batch, and of which nothing is known in the others."""
    likelihood = np.ones((cases, *factor.likelihood.shape[1:]))
    likelihood[case] = factor.likelihood[0]
    return Factor(factor.key, factor.versions, likelihood)


def _log_evidence(network: CaseNetwork, evidence: Evidence) -> Array:
    """`[case]`: ln P(evidence), without any posterior."""
    options: list[list[dict[int, Array]]] = [[{}] for _ in network.model.plates]
    return mixture(network.model, evidence, options).log_evidence


def marginal(network: CaseNetwork, posterior: Posterior, key: Key, version: int, levels: int) -> Array | None:
    """`[level]`: what is known of one version of a thing; none for severities of the vehicle, which a posterior does
    not hold."""
    targets = network.targets
    if key[0] in targets.chain.nodes:
        return None
    if key in targets.components:
        plate, index = targets.component_at(key, version)
        return np.asarray(posterior.components[plate][index][0])
    if key in targets.axes:
        plate, indices = targets.axes[key]
        return np.asarray(posterior.axes[plate][indices[version]][0])
    states = targets.configurations.column(key, version)
    return np.bincount(states, weights=posterior.configurations[0], minlength=levels).astype(np.float64)


def _doubts(
    network: CaseNetwork, posterior: Posterior, factors: Mapping[Question, Factor], singles: Mapping[Question, float]
) -> list[Doubt]:
    """Every thing about which something was told that may err."""
    about: dict[tuple[Key, int], list[Question]] = {}
    for question, factor in factors.items():
        tells = float(np.ptp(factor.likelihood)) > 0
        if tells and len(factor.versions) == 1 and not is_complaint(network, question):
            about.setdefault((factor.key, factor.versions[0]), []).append(question)
    found = []
    for (key, version), questions in about.items():
        now = marginal(network, posterior, key, version, factors[questions[0]].likelihood.shape[1])
        if now is None and _heard(network).count(key[0]) > 1:
            now = vehicle_marginal(network, key, version)
        if now is not None:
            found.append(_doubt(network, key, {question: factors[question] for question in questions}, now, singles))
    return found


def chance_present(
    knowledge: Knowledge, question: Question, told: Mapping[int, Sequence[Answer | Measured]]
) -> Array | None:
    """`[level]`: chance that a plain answer is 'present'; none for readings and soft answers."""
    if question.item not in knowledge.findings:
        return None
    answers = {each.answer for what in told.values() for each in what if isinstance(each, Answer)}
    if answers.isdisjoint((PRESENT, ABSENT)):
        return None
    return chance_by_level(knowledge, question.item, question.condition)


def _heard(network: CaseNetwork) -> list[str]:
    """The vehicle's severities that something was told of, as often as it was."""
    nodes = network.targets.chain.nodes
    return [factor.key[0] for factor in network.factors.values() if factor.key[0] in nodes]


def vehicle_marginal(network: CaseNetwork, key: Key, version: int) -> Array | None:
    """`[level]` of a vehicle severity given all that was told: its levels tried as evidence. None where nothing was
    told of it, or so much of others that this would take long."""
    heard = _heard(network)
    combinations = prod(len(levels_of(network.knowledge, name)) for name in set(heard))
    if key[0] not in heard or combinations > MOST_COMBINATIONS:
        return None
    count = len(levels_of(network.knowledge, key[0]))
    tried = {Question(key[0], None): Factor(key, (version,), np.eye(count))}
    chances = relative_probabilities(network, network.with_factors(tried, count), count)
    return np.asarray(chances / chances.sum())


def _doubt(
    network: CaseNetwork,
    key: Key,
    factors: Mapping[Question, Factor],
    now: Array,
    singles: Mapping[Question, float],
) -> Doubt:
    likelihoods = np.concatenate([factor.likelihood for factor in factors.values()])
    strain, errors = strain_of(now, likelihoods)
    present = [chance_present(network.knowledge, question, network.told[question]) for question in factors]
    tail = strain_tail(now, likelihoods, present, strain)
    opinions = [
        Opinion(question, _log_ratio(likelihood), float(error), singles[question] + _log_left_out(now, left))
        for question, likelihood, error, left in zip(
            factors, likelihoods, errors, _given_the_others(network, factors), strict=True
        )
    ]
    return Doubt(key, strain, tail, tuple(sorted(opinions, key=lambda each: -each.p_error)))


def _given_the_others(network: CaseNetwork, factors: Mapping[Question, Factor]) -> list[Array]:
    """The likelihood of each answer given those of one luck with it, whichever were told first."""
    return [
        (network.given_others(each) if beside(network.knowledge, each, factors) else factor).likelihood[0]
        for each, factor in factors.items()
    ]


def _log_left_out(now: Array, likelihood: Array) -> float:
    """ln P(all others) / P(all): P(x | e) / P(e_i | x), summed over the levels x."""
    possible = now > 0
    return math.log(float(np.sum(now[possible] / likelihood[possible])))


def _log_ratio(likelihood: Array) -> float:
    """How far an answer speaks for 'not the first level'."""
    tiny = float(np.finfo(np.float64).tiny)
    return math.log(max(float(likelihood[1:].mean()), tiny)) - math.log(max(float(likelihood[0]), tiny))


def _unlisted(network: CaseNetwork, log_together: float) -> float:
    """Chance that any component which stands for 'something that is not listed' is not sound; `log_together`: natural
    logarithm of the probability of all that was told."""
    told = dict(network.evidence.components)
    for plate, index, states in _unlisted_components(network):
        sound = np.eye(1, states)[np.newaxis]
        told[plate, index] = told[plate, index] * sound if (plate, index) in told else sound
    none = log_evidence(network.model, structs.replace(network.evidence, components=told))[0]
    return min(max(1.0 - math.exp(float(none) - log_together), 0.0), 1.0)


def _unlisted_before(network: CaseNetwork) -> float:
    """The same before anything was told, from the priors: components are independent given the configuration."""
    sound = network.model.configurations
    for plate, index, _ in _unlisted_components(network):
        sound = sound * network.model.plates[plate].components[index].prior[:, 0]
    return min(max(1.0 - float(sound.sum()), 0.0), 1.0)


def _unlisted_components(network: CaseNetwork) -> list[tuple[int, int, int]]:
    """Plate, component and number of states of everything that stands for 'something that is not listed'."""
    found = []
    for component, place in network.layout.versions:
        at = network.component_at(component, place) if "unlisted" in component else None
        if at is not None:
            found.append((*at, len(network.knowledge.components[component].states)))
    return found
