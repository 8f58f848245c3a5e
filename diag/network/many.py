"""Many cases weighed at once, where they are of one sort: the faults, and whether the findings agree.

What each case comes to is what `weigh` and `agreement` say of it alone, but for rounding (the tests hold it to 1e-9).
May import: knowledge_base, casebook, inference, basics, numpy, and the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import prod

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import Place
from diag.casebook import ABSENT, Answer, Case, Measured
from diag.inference import Array, Evidence, Posterior, infer, infer_with_alternatives
from diag.knowledge_base import Knowledge
from diag.network.alike import Alike, Likelihoods, Shape, alike, prior_tables, shape_of, shaped_evidence, told_of
from diag.network.conflict import (
    CONFLICT_FROM,
    MAY_ERR,
    MOST_COMBINATIONS,
    SELDOM,
    STRAINED_FROM,
    chance_present,
    is_complaint,
    strain_tail,
)
from diag.network.instances import Key
from diag.network.likelihoods import key_of
from diag.network.marginals import cylinders_of_all, multiplied
from diag.network.numbering import numberings
from diag.network.questions import Question, told_in
from diag.network.shifted import is_shifted
from diag.network.tables import levels_of
from diag.network.targets import Factor

__all__ = ["Many", "sort_of", "weigh_many"]

Told = Mapping[int, tuple[Answer | Measured, ...]]


class Many(Struct, frozen=True):
    """Cases weighed at once.

    `states[component, place][case, state]`; `cylinders[cylinder][case]`: chance that anything on it is at fault;
    `conflict[case]`: Jensen's measure; `contradicts[case]`: whether the findings are to be called contradictory.
    """

    states: Mapping[tuple[str, Place], Array]
    cylinders: Mapping[int, Array]
    conflict: Array
    contradicts: NDArray[np.bool_]


def sort_of(knowledge: Knowledge, case: Case) -> Shape | None:
    """What cases must agree in to be weighed at once; none for a case that is weighed alone: with work done, or with
    readings that share an unknown shift (its nodes are placed for each case), or where what the control unit shows may
    belong to several cylinders.

    The severities that were told of are part of it, since what some cases of a batch heard, all pay for. So is the age
    where it reaches, by a life that shared causes shorten, into both a cylinder's severity and one of the vehicle that
    follows from it, and both were told of: such cylinders would need a large table for each case, and a batch of cases
    of different ages was measured to be dearer than one by one.
    """
    if case.history or len(case.epochs) > 1:
        return None
    heard: dict[str, bool] = {}
    told = told_in(case)
    if len(numberings(knowledge, case, told)) > 1:
        return None
    for question, items in told.items():
        if is_shifted(knowledge, case.engine, question):
            return None
        shows = key_of(knowledge, question)[0]
        known = knowledge.severities.get(shows)
        if known is not None:
            absent = all(isinstance(each.what, Answer) and each.what.answer == ABSENT for each in items)
            heard[shows] = known.per == "vehicle" and heard.get(shows, True) and absent
    age = (case.distance_km, case.age_years) if _ages_apart(knowledge, heard) else ()
    return shape_of(knowledge, case), tuple(sorted(heard.items())), age


def _ages_apart(knowledge: Knowledge, heard: Iterable[str]) -> bool:
    """Whether cases that heard this are weighed with those of their age alone (see `sort_of`).

    So it is where such a component is the first cause of a cylinder's severity: a rule of thumb, measured on the
    shipped knowledge, that decides about time alone.
    """
    severities, told = knowledge.severities, set(heard)
    shortened = {name for name, known in knowledge.components.items() if known.life and known.life.scale_under}
    first = {name: next(iter(severities[name].causes), "") for name in told if severities[name].per == "cylinder"}
    aged = {name for name, cause in first.items() if cause in shortened}
    return any(aged & set(severities[name].causes) for name in told)


def weigh_many(knowledge: Knowledge, cases: Sequence[Case]) -> Many:
    """Weigh cases of one sort. Raises ImpossibleEvidence with the cases that are, TooLarge as `weigh` does."""
    group = alike(knowledge, cases)
    network, count = group.network, len(cases)
    told = [told_of(knowledge, case, network).questions for case in cases]
    tables, made = prior_tables(group), Likelihoods(network)
    ages, _ = shaped_evidence(group, tables, [{}] * count, made=made)
    factors = _factors(group, told, made)
    evidence = multiplied(ages, network.targets.evidence([each for each, _ in factors.values()], count))
    on_chain = [factor for factor, _ in factors.values() if factor.key[0] in network.targets.chain.nodes]
    posterior, vehicle = _with_levels(group, evidence, on_chain, _doubtful(group, told, factors))
    singles = _log_singles(group, ages, _factors(group, told, made, alone=True))
    conflict = singles - posterior.log_evidence
    return Many(
        states={key: _states(group, posterior, key) for key in network.layout.versions},
        cylinders=cylinders_of_all(network, posterior),
        conflict=conflict,
        contradicts=(conflict >= CONFLICT_FROM) | _strained(group, told, factors, posterior, vehicle),
    )


def _with_levels(
    group: Alike, evidence: Evidence, on_chain: Sequence[Factor], wanted: Iterable[tuple[Key, int]]
) -> tuple[Posterior, dict[tuple[Key, int], Array]]:
    """The posterior, and `[case, level]` of some severities of the vehicle: their levels tried as evidence."""
    targets, count = group.network.targets, evidence.cases
    levels = {at: np.eye(targets.chain.nodes[at[0][0]].levels) for at in wanted}
    tried = [
        targets.evidence([*on_chain, Factor(key, (version,), row[np.newaxis])], count).shared
        for (key, version), rows in levels.items()
        for row in rows
    ]
    if not tried:
        return infer(group.network.model, evidence, unseen=False), {}
    posterior, chances = infer_with_alternatives(group.network.model, evidence, tried, unseen=False)
    found: dict[tuple[Key, int], Array] = {}
    for at, rows in levels.items():
        some, chances = chances[:, : len(rows)], chances[:, len(rows) :]
        found[at] = some / some.sum(axis=1, keepdims=True)
    return posterior, found


def _factors(
    group: Alike, told: Sequence[Mapping[Question, Told]], made: Likelihoods, alone: bool = False
) -> dict[Question, tuple[Factor, NDArray[np.bool_]]]:
    """The factor of each question, 1 in the cases in which it was not asked, and the cases in which it was. `alone`:
    whatever was told of the same finding under other conditions."""
    found: dict[Question, tuple[Factor, NDArray[np.bool_]]] = {}
    for case, questions in enumerate(told):
        for question, items in questions.items():
            versions, likelihood = made.of(question, {question: items} if alone else questions)
            if question not in found:
                every = np.ones((len(told), *likelihood.shape))
                key = key_of(group.network.knowledge, question)
                found[question] = Factor(key, versions, every), np.zeros(len(told), dtype=bool)
            found[question][0].likelihood[case] = likelihood
            found[question][1][case] = True
    return found


def _doubtful(
    group: Alike, told: Sequence[Mapping[Question, Told]], factors: Mapping[Question, tuple[Factor, NDArray[np.bool_]]]
) -> list[tuple[Key, int]]:
    """The severities of the vehicle about which several answers of a case could pull apart."""
    network = group.network
    nodes = network.targets.chain.nodes
    heard = {factor.key[0] for factor, _ in factors.values() if factor.key[0] in nodes}
    if prod(len(levels_of(network.knowledge, name)) for name in heard) > MOST_COMBINATIONS:
        return []
    found: dict[tuple[Key, int], None] = {}
    for questions in told:
        names = [key_of(network.knowledge, question) for question in questions]
        for question, key in zip(questions, names, strict=True):
            if key[0] in nodes and names.count(key) > 1 and not is_complaint(network, question):
                found[key, factors[question][0].versions[0]] = None
    return list(found)


def _log_singles(group: Alike, ages: Evidence, factors: Mapping[Question, tuple[Factor, NDArray[np.bool_]]]) -> Array:
    """`[case]`: sum of ln P(e_i) over its answers, each by itself: what it shows is as likely as in the prior."""
    nodes = group.network.targets.chain.nodes
    wanted = {(factor.key, factor.versions[0]): None for factor, _ in factors.values() if factor.key[0] in nodes}
    silent = [  # severities of the vehicle are asked after one by one, so that no terms over all of them are needed
        Factor(factor.key, factor.versions, np.ones((1, *factor.likelihood.shape[1:])))
        for factor, _ in factors.values()
        if factor.key[0] not in nodes
    ]
    asked_of = multiplied(ages, group.network.targets.evidence(silent, ages.cases))
    prior, vehicle = _with_levels(group, asked_of, (), wanted)
    total = np.zeros(ages.cases)
    for factor, asked in factors.values():
        now = _marginal(group, prior, factor.key, factor.versions[0], vehicle)
        assert now is not None
        total += np.where(asked, np.log((now * factor.likelihood).sum(axis=1)), 0.0)
    return total


def _strained(
    group: Alike,
    told: Sequence[Mapping[Question, Told]],
    factors: Mapping[Question, tuple[Factor, NDArray[np.bool_]]],
    posterior: Posterior,
    vehicle: Mapping[tuple[Key, int], Array],
) -> NDArray[np.bool_]:
    """`[case]`: whether several answers about one thing contradict each other (see the head of `conflict`)."""
    network = group.network
    about: dict[tuple[Key, int], list[tuple[Question, Array, NDArray[np.bool_]]]] = {}
    for question, (factor, _) in factors.items():
        if len(factor.versions) == 1 and not is_complaint(network, question):
            tells = np.ptp(factor.likelihood, axis=1) > 0
            about.setdefault((factor.key, factor.versions[0]), []).append((question, factor.likelihood, tells))
    several = np.zeros(len(posterior.log_evidence))
    tails: list[tuple[int, float]] = []
    for (key, version), parts in about.items():
        now = _marginal(group, posterior, key, version, vehicle)
        answers = np.sum([tells for _, _, tells in parts], axis=0)
        if now is None or answers.max() < 2:
            continue
        several += answers > 1
        strain = np.where(answers > 1, _strain(now, parts), 0.0)
        for case in map(int, np.flatnonzero(strain >= STRAINED_FROM)):
            mine = [(question, likelihood[case]) for question, likelihood, tells in parts if tells[case]]
            present = [chance_present(network.knowledge, question, told[case][question]) for question, _ in mine]
            rows = np.stack([each for _, each in mine])
            tails.append((case, strain_tail(now[case], rows, present, float(strain[case]))))
    found = np.zeros(len(several), dtype=np.bool_)
    for case, tail in tails:
        found[case] |= tail <= SELDOM / max(several[case], 1.0)
    return found


def _strain(now: Array, parts: Sequence[tuple[Question, Array, NDArray[np.bool_]]]) -> Array:
    """`[case]`: the strain of one thing."""
    weight = now.copy()
    for _, likelihood, tells in parts:
        ratio = np.divide(
            likelihood.mean(axis=1, keepdims=True), likelihood, out=np.zeros_like(likelihood), where=likelihood > 0
        )
        weight *= np.where(tells[:, np.newaxis], 1.0 - MAY_ERR + MAY_ERR * ratio, 1.0)
    return np.asarray(weight.sum(axis=1))


def _marginal(
    group: Alike, posterior: Posterior, key: Key, version: int, vehicle: Mapping[tuple[Key, int], Array]
) -> Array | None:
    """`[case, level]`: what is known of one version of a thing; none of a vehicle's severity that was not tried."""
    targets = group.network.targets
    if key[0] in targets.chain.nodes:
        return vehicle.get((key, version))
    if key in targets.components:
        plate, index = targets.component_at(key, version)
        return posterior.components[plate][index]
    if key in targets.axes:
        plate, indices = targets.axes[key]
        return posterior.axes[plate][indices[version]]
    states = targets.configurations.column(key, version)
    count = len(levels_of(group.network.knowledge, key[0]))
    return np.stack([posterior.configurations[:, states == level].sum(axis=1) for level in range(count)], axis=1)


def _states(group: Alike, posterior: Posterior, key: Key) -> Array:
    """`[case, state]` of a component as it stands now."""
    known = _marginal(group, posterior, key, group.network.layout.versions[key].current, {})
    assert known is not None
    return known
