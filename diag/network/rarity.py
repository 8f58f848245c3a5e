"""How rare it is that so much is found: against vehicles drawn from the model, asked the same questions.

What is compared is the sum over the answers of -ln P(answer), each answer by itself: how much was found that is out
of the ordinary. Whether it fits together is another question (`conflict`): -ln P(all) is this sum plus Jensen's
measure. A reading counts by the stretch of its scale that it falls into (`reading_outcomes`), so that its unit does
not matter. Soft answers do not count. May import: knowledge_base, casebook, evidence, basics, numpy.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.casebook import ABSENT, PRESENT, Answer, Measured
from diag.evidence import reading_outcomes, without_limit
from diag.inference import Array
from diag.network.casenetwork import CaseNetwork
from diag.network.instances import Key
from diag.network.likelihoods import chance_by_level, key_of
from diag.network.questions import Question
from diag.network.simulating import Draws, Luck, simulate
from diag.network.tables import levels_of

__all__ = ["Rarity", "rarity_of"]

DRAWS = 2000
SEED = 20260101


class Rarity(Struct, frozen=True):
    """`tail` of `draws` vehicles that come with a complaint show as much out of the ordinary; `error` is the standard
    error of that share. `among_complaints` is false where no symptom was told, and all vehicles are compared with."""

    tail: float
    error: float
    draws: int
    among_complaints: bool


class _Asked(Struct, frozen=True):
    """A question with its outcomes: `by_level[outcome, level]`, and which of them was told of each version."""

    key: Key
    by_level: Array
    told: Mapping[int, int]


def rarity_of(
    network: CaseNetwork, complaints: Collection[Question], count: int = DRAWS, seed: int = SEED
) -> Rarity | None:
    """How rare it is; none where nothing was told that counts. `complaints`: what brings vehicles to the workshop."""
    draws = Draws(network, count, seed)
    luck = Luck(network.knowledge, draws)
    surprise, observed = np.zeros(count), 0.0
    complains = np.zeros(count, dtype=bool)
    complained = False
    counted = 0
    for question in network.told:
        asked = _asked(network, question)
        if asked is None:
            continue
        drawn = simulate(draws, asked.key, tuple(asked.told), asked.by_level, luck.of(question))
        for version, outcome in asked.told.items():
            chance = asked.by_level.T[draws.levels(asked.key, version)].mean(axis=0)
            log_chance = np.log(np.maximum(chance, 1.0 / count))
            surprise -= log_chance[drawn[version]]
            observed -= float(log_chance[outcome])
            counted += 1
            if question in complaints:
                complains |= drawn[version] == 0
                complained = complained or outcome == 0
    if not counted:
        return None
    compared = surprise[complains] if complained and complains.any() else surprise
    return _tail(compared, observed, complained and bool(complains.any()))


def _tail(compared: Array, observed: float, among_complaints: bool) -> Rarity:
    """The share at or beyond what was observed, the case itself counted among them (so it is never 0)."""
    number = len(compared) + 1
    tail = (1 + int(np.sum(compared >= observed - 1e-9))) / number
    return Rarity(tail, float(np.sqrt(tail * (1.0 - tail) / number)), len(compared), among_complaints)


def _asked(network: CaseNetwork, question: Question) -> _Asked | None:
    """None for questions that were answered softly or have no effect."""
    knowledge, told = network.knowledge, network.told[question]
    key = key_of(knowledge, question)
    if question.item in knowledge.findings:
        chance = chance_by_level(knowledge, question.item, question.condition)
        hard = {version: _hard(answers) for version, answers in told.items()}
        plain = {version: outcome for version, outcome in hard.items() if outcome is not None}
        return _Asked(key, np.stack([chance, 1.0 - chance]), plain) if plain else None
    reading = knowledge.readings[question.item]
    if without_limit(reading, network.case.engine):
        return None
    outcomes = reading_outcomes(reading, network.case.engine, levels_of(knowledge, key[0]))
    bins = {version: _bin(outcomes.edges, measured) for version, measured in told.items()}
    plain = {version: outcome for version, outcome in bins.items() if outcome is not None}
    return _Asked(key, np.asarray(outcomes.likelihood), plain) if plain else None


def _hard(answers: Sequence[Answer | Measured]) -> int | None:
    """0 for 'present', 1 for 'absent'."""
    said = {answer.answer for answer in answers if isinstance(answer, Answer)}
    return 0 if PRESENT in said else 1 if ABSENT in said else None


def _bin(edges: NDArray[np.float64], measured: Sequence[Answer | Measured]) -> int | None:
    """The stretch that the first plain value falls into."""
    values = [each.value for each in measured if isinstance(each, Measured) and not each.censored]
    return int(np.searchsorted(edges, values[0], side="right")) if values else None
