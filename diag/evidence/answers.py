"""What answers about one finding say about the level of what it shows, over the versions which repairs made of it.

May import: numpy, `diag.casebook` and `diag.knowledge_base` records.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from diag.casebook import ABSENT, NOT_LOOKED, NOT_SURE, PRESENT, Answer
from diag.evidence.normal import Array
from diag.knowledge_base import Knowledge

__all__ = ["answer_pattern", "answer_ratio", "decibans"]


def answer_ratio(answer: Answer | str, knowledge: Knowledge) -> float | None:
    """How many times likelier an answer is given when the finding is there than when it is not.

    Infinite for 'present', 0 for 'absent', the soft answer's own ratio, and none for 'not sure' and 'not looked at',
    which tell nothing.
    """
    word = answer.answer if isinstance(answer, Answer) else answer
    if word == PRESENT:
        return math.inf
    if word == ABSENT:
        return 0.0
    soft = knowledge.answers.get(word)
    return soft.ratio.value if soft is not None and word not in (NOT_SURE, NOT_LOOKED) else None


def decibans(ratio: float) -> float:
    """A likelihood ratio as weight of evidence, 10 log10 of it (Good 1985); independent findings add.

    Pearl's burglary: that John calls has 12.184 decibans for it, that both call 25.983.
    """
    return 10.0 * math.log10(ratio)


def answer_pattern(chance_by_version: Sequence[Array], answers: Sequence[tuple[int, float | None]]) -> Array:
    """Likelihood of all answers about one finding under one condition: `[level of version 0, of version 1, ...]`.

    `chance_by_version[version][level]` is P(present | level); an answer is (version, ratio of `answer_ratio`).
    The noise of a finding persists: with one u, uniform on 0 to 1, the finding is present in a version exactly when
    u < P(present | level of that version). So hard answers have max(0, min over present - max over absent), and the
    same answer about the same version again tells nothing, soft ones included. A soft answer of ratio r weighs r
    where present and 1 where absent, divided by the larger.

    With chances (0.1, 0.8) in both versions, present then absent: only (0.8, 0.1) is possible, with 0.8 - 0.1 = 0.7.
    """
    weights = _weights_by_version(len(chance_by_version), answers)
    borders = np.array(sorted({0.0, 1.0}.union(*(chance.tolist() for chance in chance_by_version))))
    lengths, middles = np.diff(borders), 0.5 * (borders[:-1] + borders[1:])
    result = lengths  # [stretch of u, level of version 0, ...], grown version by version
    for chance, (if_present, if_absent) in zip(chance_by_version, weights, strict=True):
        weight = np.where(middles[:, None] < chance[None, :], if_present, if_absent)  # [stretch of u, level]
        result = result[..., None] * weight.reshape(len(lengths), *([1] * (result.ndim - 1)), len(chance))
    return np.asarray(np.sum(result, axis=0), dtype=np.float64)


def _weights_by_version(versions: int, answers: Sequence[tuple[int, float | None]]) -> list[tuple[float, float]]:
    """Weight if present and if absent of all answers about each version; an answer given twice counts once."""
    weights = [(1.0, 1.0)] * versions
    for version, ratio in dict.fromkeys(answers):
        if ratio is None:
            continue
        if_present, if_absent = (1.0, 1.0 / ratio) if ratio > 1 else (ratio, 1.0)
        weights[version] = (weights[version][0] * if_present, weights[version][1] * if_absent)
    return weights
