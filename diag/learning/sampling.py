"""Which cases of a large book stand for the others where each is gone through by itself, as intervals need.

A case is taken with the chance min(1, ENOUGH / n), n being how many cases share the rarest thing told of it (an answer
to a question, a fault found, a kind of case), and counts for as many as it stands for (Horvitz & Thompson 1952). So
what is rare is taken whole, and of what is common ENOUGH cases at least, in expectation: the information about a
figure is then some 1 / sqrt(ENOUGH) uncertain, its interval half of that. No dice: cases are taken at even steps of the
sum of chances. May import: the standard library.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

__all__ = ["ENOUGH", "LARGE", "sampled"]

LARGE = 4000  # cases up to which all are taken
ENOUGH = 400

Thing = TypeVar("Thing")


def sampled(
    batches: Sequence[Sequence[Thing]],
    marks: Callable[[Thing], Iterable[Hashable]],
    times: Callable[[Thing], float],
    counted: Callable[[Thing, float], Thing],
    enough: int = ENOUGH,
) -> tuple[tuple[Thing, ...], ...]:
    """Those that stand for all. `marks` are what may be rare about a thing, `times` how often it counts, and `counted`
    makes it count otherwise."""
    often: Counter[Hashable] = Counter()
    for batch in batches:
        for thing in batch:
            for mark in marks(thing):
                often[mark] += 1
    taken, sum_of_chances = [], 0.5
    for batch in batches:
        some = []
        for thing in batch:
            chance = min(1.0, max((enough / often[mark] for mark in marks(thing)), default=1.0))
            before, sum_of_chances = sum_of_chances, sum_of_chances + chance
            if chance >= 1.0 or math.floor(sum_of_chances) > math.floor(before):
                some.append(thing if chance >= 1.0 else counted(thing, times(thing) / chance))
        if some:
            taken.append(tuple(some))
    return tuple(taken)
