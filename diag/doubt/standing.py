"""Whether the advice stands when every number is drawn again by its strength.

May import: basics, decision, numpy, and `ground`, `laws`, `numbers`, `workers` of this room.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from diag.basics import DiagError
from diag.decision import Reckoning, decide_repair, price_by_policy
from diag.doubt.ground import Ground, Work, work_of
from diag.doubt.laws import draw, law_of
from diag.doubt.numbers import Number
from diag.doubt.workers import ask_each

__all__ = ["Drawn", "Standing", "Winner", "stand", "standing_of"]

LOT = 32  # draws that are reckoned together
SHARED = 4  # lots, or a multiple, in which more draws than that come, so that processes have as much to do
TRIES = 20  # of drawing once, where numbers come out that contradict each other or what was told


@dataclass(frozen=True)
class Drawn:
    """One draw: the best work under it, its total, and that of today's advice (none where it would be barred)."""

    best: Work
    total: float
    advised: float | None
    refused: int


@dataclass(frozen=True)
class Winner:
    """Work that is best in some draws, and in what share of them."""

    work: Work
    share: float


@dataclass(frozen=True)
class Standing:
    """In what share of the draws the advice stands; `error`: the standard deviation of what endless draws would say, by
    these alone (Laplace's law of succession: a hundred that all agree are not yet all). `others`: what is best in the
    other draws, most often first. `regret`: what today's advice costs more than the best of each draw, on average over
    all draws in which it is not barred. `refused`: draws that contradicted themselves and were drawn again."""

    draws: int
    seed: int
    numbers: int
    share: float
    error: float
    others: tuple[Winner, ...]
    regret: float
    refused: int


def stand(ground: Ground, draws: int, seed: int, workers: int = 1, numbers: Sequence[Number] | None = None) -> Standing:
    """Draw all numbers (or these) again and decide again, so many times. The same seed gives the same draws, whatever
    the number of processes."""
    known = tuple(ground.numbers if numbers is None else numbers)
    given = known if numbers is not None else None
    lots = [_Lot(seed, first, end - first, given) for first, end in pairwise(_ends(draws))]
    drawn = [each for some in ask_each(_drawn_together, ground, lots, workers) for each in some]
    return standing_of(ground.best, drawn, seed, len(known))


def _ends(draws: int) -> list[int]:
    """Where lots begin and end: as long as each other, and dependent on the number of draws alone."""
    lots = math.ceil(draws / LOT)
    lots = SHARED * math.ceil(lots / SHARED) if lots > 1 else lots
    return [draws * lot // lots for lot in range(lots)] + [draws] if lots else []


def _error(stands: int, count: int) -> float:
    """The standard deviation of a Beta law with one draw more on either side."""
    middle = (stands + 1.0) / (count + 2.0)
    return math.sqrt(middle * (1.0 - middle) / (count + 3.0))


def standing_of(advised: Work, drawn: Sequence[Drawn], seed: int, numbers: int) -> Standing:
    """What many draws come to."""
    count = len(drawn)
    stands = sum(each.best.key == advised.key for each in drawn)
    wins: dict[frozenset[object], list[Drawn]] = {}
    for each in drawn:
        if each.best.key != advised.key:
            wins.setdefault(frozenset(each.best.key), []).append(each)
    others = sorted(wins.values(), key=len, reverse=True)
    losses = [each.advised - each.total for each in drawn if each.advised is not None]
    share = stands / count if count else 0.0
    return Standing(
        draws=count,
        seed=seed,
        numbers=numbers,
        share=share,
        error=_error(stands, count),
        others=tuple(Winner(some[0].best, len(some) / count) for some in others),
        regret=float(np.mean(losses)) if losses else 0.0,
        refused=sum(each.refused for each in drawn),
    )


@dataclass(frozen=True)
class _Lot:
    """Draws that are reckoned together: so many from the first, of all numbers of the case or of these."""

    seed: int
    first: int
    count: int
    numbers: tuple[Number, ...] | None


def _drawn_together(ground: Ground, lot: _Lot) -> list[Drawn]:
    """The draws of a lot. Those that contradict themselves, or that need more digits, are done one by one."""
    numbers = ground.numbers if lot.numbers is None else lot.numbers
    which = range(lot.first, lot.first + lot.count)
    values = law_of(tuple(numbers)).draws([np.random.default_rng([lot.seed, number]) for number in which])
    together = ground.one_by_one(values, [ground.best.jobs])
    return [
        _drawn_once(ground, (lot.seed, number, lot.numbers)) if ready is None else _decided(ground, ready, 0)
        for number, ready in zip(which, together, strict=True)
    ]


def _drawn_once(ground: Ground, question: tuple[int, int, tuple[Number, ...] | None]) -> Drawn:
    seed, number, given = question
    numbers = ground.numbers if given is None else given
    random = np.random.default_rng([seed, number])
    for attempt in range(TRIES):
        try:
            ready = ground.under(draw(numbers, random), [ground.best.jobs], roughly=True)
        except DiagError:
            if attempt == TRIES - 1:
                raise
            continue
        return _decided(ground, ready, attempt)
    raise AssertionError("unreachable")


def _decided(ground: Ground, ready: Reckoning, refused: int) -> Drawn:
    """What is best in a draw, and what today's advice costs there."""
    advised, decision = ground.best, decide_repair(ready, briefly=True)
    costs = price_by_policy(ready, advised.jobs)
    barred = any(option.barred and frozenset(option.jobs) == advised.key for option in decision.options)
    total = decision.best.total.amount
    known = None if costs is None or barred else max(float(costs.min()), total)
    best = ground.called.get(frozenset(decision.best.jobs)) or work_of(decision.best)
    return Drawn(best, total, known, refused)
