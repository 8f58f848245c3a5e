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

__all__ = ["answer_pattern", "answer_ratio", "common_number", "decibans"]


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


def answer_pattern(
    chances: Sequence[Array], answers: Sequence[tuple[int, float | None]], axes: Sequence[int] | None = None
) -> Array:
    """Likelihood of all answers about one finding that one luck stands behind: `[level of version 0, version 1, ...]`.

    `chances[look][level]` is P(present | level); an answer is (look, ratio of `answer_ratio`). A look is a version, or
    where `axes[look]` names its version several may be of one and the same, under different conditions.
    The noise of a finding persists: with one u, uniform on 0 to 1, the finding is present at a look exactly when
    u < P(present | level then). So hard answers have max(0, min over present - max over absent), and the
    same answer about the same look again tells nothing, soft ones included. A soft answer of ratio r weighs r
    where present and 1 where absent, divided by the larger.

    With chances (0.1, 0.8) in both versions, present then absent: only (0.8, 0.1) is possible, with 0.8 - 0.1 = 0.7.
    """
    weights = _weights_by_look(len(chances), answers)
    places = range(len(chances)) if axes is None else axes
    borders = np.array(sorted({0.0, 1.0}.union(*(chance.tolist() for chance in chances))))
    lengths, middles = np.diff(borders), 0.5 * (borders[:-1] + borders[1:])
    dimensions = 1 + max(places) + 1
    result = lengths.reshape(-1, *([1] * (dimensions - 1)))  # [stretch of u, level of version 0, ...]
    for chance, (if_present, if_absent), place in zip(chances, weights, places, strict=True):
        weight = np.where(middles[:, None] < chance[None, :], if_present, if_absent)  # [stretch of u, level]
        shape = [1] * dimensions
        shape[0], shape[1 + place] = weight.shape
        result = result * weight.reshape(shape)
    return np.asarray(np.sum(result, axis=0), dtype=np.float64)


def common_number(lasting: float, told: Sequence[tuple[float, bool]], draw: tuple[float, float]) -> float | None:
    """The one number behind a finding under all conditions of a vehicle that is drawn; none where each condition has
    its own. `told`: the chance of 'present' at each look so far, and whether it was; `draw`: two numbers from 0 to 1.

    By Bayes: one luck behind all brings what was told with min over present - max over absent, a luck each with the
    product of the chances. Raises ValueError where what was told is impossible.
    """
    low = max((chance for chance, there in told if not there), default=0.0)
    high = min((chance for chance, there in told if there), default=1.0)
    together = lasting * max(high - low, 0.0)
    apart = (1.0 - lasting) * math.prod(chance if there else 1.0 - chance for chance, there in told)
    if together + apart <= 0.0:
        raise ValueError("no vehicle shows what was told")
    return low + draw[1] * (high - low) if draw[0] * (together + apart) < together else None


def _weights_by_look(looks: int, answers: Sequence[tuple[int, float | None]]) -> list[tuple[float, float]]:
    """Weight if present and if absent of all answers about each look; an answer given twice counts once."""
    weights = [(1.0, 1.0)] * looks
    for look, ratio in dict.fromkeys(answers):
        if ratio is None:
            continue
        if_present, if_absent = (1.0, 1.0 / ratio) if ratio > 1 else (ratio, 1.0)
        weights[look] = (weights[look][0] * if_present, weights[look][1] * if_absent)
    return weights
