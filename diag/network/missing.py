"""Fault codes that would have been expected under what is believed now, and are missing.

May import: knowledge_base, casebook, inference, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from diag.basics import Place
from diag.casebook import ABSENT, Answer
from diag.inference import Array, Posterior
from diag.network.casenetwork import CaseNetwork
from diag.network.conflict import marginal, vehicle_marginal
from diag.network.instances import Key, places_of
from diag.network.likelihoods import chance_by_level, key_of
from diag.network.questions import Question
from diag.network.tables import levels_of

__all__ = ["ExpectedCode", "expected_codes"]

EXPECTED_FROM = 0.5


class ExpectedCode(Struct, frozen=True):
    """A code that is expected with `probability`, given all that was told but of itself. `looked_for`: whether it was
    told that it is not stored; where it was not, nothing was told of it."""

    item: str
    place: Place
    probability: float
    looked_for: bool


def expected_codes(
    network: CaseNetwork, posterior: Posterior, least: float = EXPECTED_FROM
) -> tuple[ExpectedCode, ...]:
    """Codes of the knowledge that are likelier there than `least` and were not told, likeliest first; none where no
    code at all was told of, for then nobody read them. A vehicle's severity counts where something was told of it."""
    knowledge = network.knowledge
    if not any(_is_code(network, question.item) for question in network.told):
        return ()
    found, known = [], dict[Key, Array | None]()
    for item, place in _codes(network):
        question = Question(item, place)
        told = [each for answers in network.told.get(question, {}).values() for each in answers]
        absent = bool(told) and all(isinstance(each, Answer) and each.answer == ABSENT for each in told)
        key = key_of(knowledge, question)
        if (not told or absent) and key not in known:
            known[key] = _now(network, posterior, key)
        now = None if told and not absent else known[key]
        if now is None:
            continue
        chance = chance_by_level(knowledge, item, None)
        without = _without(now, 1.0 - chance) if absent else now
        probability = float(without @ chance)
        if probability >= least:
            found.append(ExpectedCode(item, place, probability, absent))
    return tuple(sorted(found, key=lambda code: -code.probability))


def _is_code(network: CaseNetwork, item: str) -> bool:
    return item in network.knowledge.findings and network.knowledge.findings[item].code is not None


def _codes(network: CaseNetwork) -> Iterator[tuple[str, Place]]:
    """Every code of the knowledge at each of its places."""
    knowledge = network.knowledge
    for item, finding in knowledge.findings.items():
        if finding.code is not None:
            known = knowledge.severities.get(finding.shows) or knowledge.components[finding.shows]
            yield from ((item, place) for place in places_of(known.per, network.case.engine))


def _now(network: CaseNetwork, posterior: Posterior, key: Key) -> Array | None:
    """`[level]` of what a code shows, as it stands now."""
    version = network.current_version(key)
    if key[0] in network.targets.chain.nodes:
        return vehicle_marginal(network, key, version)
    return marginal(network, posterior, key, version, len(levels_of(network.knowledge, key[0])))


def _without(now: Array, likelihood: Array) -> Array:
    """What is known of the levels without one answer: P(x | e) / P(answer | x), made to sum to 1."""
    possible = likelihood > 0
    weights = np.divide(now, likelihood, out=np.zeros_like(now), where=possible)
    return np.asarray(weights / weights.sum())
