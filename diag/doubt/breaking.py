"""Break-even: where along one number another work begins to win, and where any two works change places.

Curves give every crossing there can be between the works that are set against one another. The best plan wherever it
lies is asked for between all of them; a plan that was not among the works is added, and everything is traced again.
May import: decision, basics, numpy, and `curves`, `ground` of this room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Protocol

import numpy as np

from diag.decision import Job, PlanOption, Reckoning, decide_repair, price_by_policy
from diag.doubt.curves import EXACT, Curve, Sample, trace
from diag.doubt.ground import Work, work_of
from diag.inference import Array

__all__ = ["BreakEven", "Crossing", "Evaluate", "Turn", "break_even"]


class Evaluate(Protocol):
    """The case at a value of the number, reckoned so that sets of jobs can be priced; `alone`: for nothing else."""

    def __call__(self, value: float, jobs: Sequence[Sequence[Job]], alone: bool = False) -> Reckoning:
        """Reckon it."""
        ...


ROUNDS = 4  # of adding plans that win somewhere
HALVES = 40  # of bisection where what is barred changes
SAME = 1e-9  # relative difference of two totals that counts as none


@dataclass(frozen=True)
class Crossing:
    """Below `value` the first work is the cheaper of the two, above it the second."""

    value: float
    below: Work
    above: Work


@dataclass(frozen=True)
class Turn:
    """Where the advice changes: below `value` the first is best, above it the second; `barred` where that is because
    something dangerous begins or ceases to be likely, and not money."""

    value: float
    below: Work
    above: Work
    barred: bool = False


@dataclass(frozen=True)
class BreakEven:
    """Everything that happens along one number from `low` to `high`; `now` is its present value.

    `turns`: where the advice changes; `crossings`: where any two works change places. `error`: measured relative error
    of the curves between their nodes; `evaluations`: how often the case was reckoned anew.
    """

    low: float
    high: float
    now: float
    turns: tuple[Turn, ...]
    crossings: tuple[Crossing, ...]
    works: tuple[Work, ...]
    error: float
    evaluations: int
    curve: Curve

    def nearest(self) -> Turn | None:
        """The turn next to the present value, in its logarithm where that makes sense; none where there is none."""
        return min(self.turns, key=lambda turn: abs(turn.value - self.now), default=None)


class _Costs:
    """The works' costs along one number, and what is best at any value of it."""

    def __init__(self, evaluate: Evaluate, works: Sequence[Work], called: Mapping[frozenset[Job], Work]) -> None:
        self.evaluate, self.works, self.called = evaluate, list(works), called
        self.ready: dict[float, tuple[Reckoning, int]] = {}
        self.best: dict[float, PlanOption] = {}

    def at(self, value: float) -> Reckoning:
        """The case at a value, with the works known when it was first asked for."""
        if value not in self.ready:
            self.ready[value] = self.evaluate(value, [work.jobs for work in self.works], alone=True), len(self.works)
        return self.ready[value][0]

    def sample(self, value: float) -> Sample:
        """What every work costs at a value; a work that came later is priced where its treatments are at hand, and
        else everything is reckoned anew."""
        rows = self._rows(self.at(value))
        if any(row is None for row in rows) and self.ready[value][1] < len(self.works):
            del self.ready[value]
            rows = self._rows(self.at(value))
        width = max((len(row) for row in rows if row is not None), default=1)
        costs = [row if row is not None else np.full(width, np.nan) for row in rows]
        ready = self.at(value)
        return Sample(np.concatenate(costs), float(np.exp(ready.posterior.log_evidence[0] + _scale(ready))))

    def _rows(self, ready: Reckoning) -> list[Array | None]:
        return [price_by_policy(ready, work.jobs) for work in self.works]

    def best_at(self, value: float) -> PlanOption:
        if value not in self.best:
            full = self.evaluate(value, [work.jobs for work in self.works])
            self.ready.setdefault(value, (full, len(self.works)))
            self.best[value] = decide_repair(full).best
        return self.best[value]

    def add(self, option: PlanOption) -> None:
        self.works.append(self.work(option))

    def work(self, option: PlanOption) -> Work:
        """The work of an option, by the name that it has in the case as it is."""
        return self.called.get(frozenset(option.jobs)) or work_of(option)

    def holds(self, option: PlanOption) -> bool:
        return any(work.key == frozenset(option.jobs) for work in self.works)


def _scale(ready: Reckoning) -> float:
    return float(getattr(ready.network, "log_scale", 0.0))


def break_even(
    evaluate: Evaluate,
    works: Sequence[Work],
    ends: tuple[float, float],
    now: float,
    exact: float = EXACT,
    bent: bool = False,
    called: Mapping[frozenset[Job], Work] | None = None,
) -> BreakEven:
    """All crossings between the works, and all turns of the advice, between two ends.

    `evaluate(value, jobs)` reckons the case at a value so that the sets of jobs can be priced; `exact`: relative error
    up to which the curves must agree with it; `bent`: curves are traced over the number's logarithm; `called`: works by
    their jobs whose names are kept wherever they win.
    """
    (low, high), costs = ends, _Costs(evaluate, works, called or {})
    for best in [costs.best_at(value) for value in (low, (low + high) / 2.0, now, high)]:
        if not costs.holds(best):
            costs.add(best)
    for _ in range(ROUNDS):
        curve = trace(costs.sample, low, high, exact, bent)
        crossings = _crossings(curve, costs.works)
        asked = _between(low, high, now, [turn.value for turn in _envelope(curve, costs.works, crossings)])
        new = {frozenset(best.jobs): best for best in map(costs.best_at, asked) if not costs.holds(best)}
        if not new:
            break
        for option in new.values():
            costs.add(option)
    turns = _turns(costs, _envelope(curve, costs.works, crossings), asked)
    return BreakEven(low, high, now, turns, crossings, tuple(costs.works), curve.error, len(costs.ready), curve)


def _plan_costs(curve: Curve, works: int, value: float) -> Array:
    """`[work]`: the least over the ways of acting later."""
    return np.asarray(curve.at(value).reshape(works, -1).min(axis=1))


def _meetings(curve: Curve, works: int, one: int, other: int) -> list[float]:
    """Values at which two works may change places: where any way of acting after the one meets any after the other."""
    ways = curve.pieces[0].product.shape[1] // works
    found = {
        value
        for mine in range(one * ways, (one + 1) * ways)
        for theirs in range(other * ways, (other + 1) * ways)
        for value in curve.meets(mine, theirs)
    }
    return sorted(found)


def _crossings(curve: Curve, works: Sequence[Work]) -> tuple[Crossing, ...]:
    found = []
    for one, other in combinations(range(len(works)), 2):
        cuts = [curve.low, *_meetings(curve, len(works), one, other), curve.high]
        signs = []
        for left, right in pairwise(cuts):
            costs = _plan_costs(curve, len(works), (left + right) / 2.0)
            signs.append(np.sign(costs[one] - costs[other]) if right - left > 1e-12 * (curve.high - curve.low) else 0.0)
        last = 0.0
        for cut, sign in zip(cuts[:-1], signs, strict=True):
            if sign and last and sign != last:
                below, above = (works[one], works[other]) if last < 0 else (works[other], works[one])
                found.append(Crossing(cut, below, above))
            last = sign or last
    return tuple(sorted(found, key=lambda each: each.value))


def _envelope(curve: Curve, works: Sequence[Work], crossings: Sequence[Crossing]) -> list[Turn]:
    """Where the cheapest of the works changes, whatever is barred; `crossings`: all of theirs."""
    cuts = sorted({crossing.value for crossing in crossings})
    edges = [curve.low, *cuts, curve.high]
    cheapest = [int(np.nanargmin(_plan_costs(curve, len(works), (a + b) / 2.0))) for a, b in pairwise(edges)]
    return [
        Turn(cut, works[one], works[other])
        for cut, (one, other) in zip(cuts, pairwise(cheapest), strict=True)
        if one != other
    ]


def _between(low: float, high: float, now: float, cuts: Sequence[float]) -> list[float]:
    """Where the best plan is asked for: at both ends, at present, and within and at the ends of every stretch."""
    edges = [low, *cuts, high]
    inside = [a + (b - a) * share for a, b in pairwise(edges) for share in (0.001, 0.5, 0.999)]
    return sorted({low, high, now, *inside})


def _turns(costs: _Costs, predicted: Sequence[Turn], asked: Sequence[float]) -> tuple[Turn, ...]:
    """Where the best plan changes between two neighbours of those that were asked: at the crossing of the curves, or,
    where that is not the reason, by bisection."""
    found = []
    for left, right in pairwise(asked):
        one, other = costs.work(costs.best_at(left)), costs.work(costs.best_at(right))
        if one.key == other.key:
            continue
        here = [t for t in predicted if left <= t.value <= right and (t.below.key, t.above.key) == (one.key, other.key)]
        found += here or _bisected(costs, left, right)
    return tuple(found)


def _bisected(costs: _Costs, left: float, right: float) -> list[Turn]:
    one, other = costs.best_at(left), costs.best_at(right)
    for _ in range(HALVES):
        middle = (left + right) / 2.0
        found = costs.best_at(middle)
        if frozenset(found.jobs) == frozenset(one.jobs):
            left = middle
        elif frozenset(found.jobs) == frozenset(other.jobs):
            right = middle
        else:
            return [*_bisected(costs, left, middle), *_bisected(costs, middle, right)]
    return [Turn((left + right) / 2.0, costs.work(one), costs.work(other), barred=True)]
