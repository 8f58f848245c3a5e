"""Looking one check further: pairs of checks that are useful only together, and what else to do while it is open.

With the joint cost of every candidate plan and every cell of two hidden things (exact: all cells are enumerated), what
a first check is worth together with the second is the least of

    cost(first) + sum over its answers of the lesser of  [stop: least cost of a plan there]
                  and  [cost(second, with what the first opened) + sum over its answers of the least cost of a plan]

so the second is done only after those answers that ask for it (Raiffa 1968; Heckerman, Breese & Rommelse 1995 look one
step ahead where this looks two). Each check stands for the one thing that it tells most of. Pairs are taken in the
order of a bound: where the costs of plans add up over the two things, a pair is worth no more than the sum of how far
each thing by itself can move the plans against each other. Pairs of which not even that betters the best single check
are left out, and where many pairs remain, only the foremost are looked at: what is left out can only make looking
ahead look worth less.
May import: inference, numpy, and the modules of this room below it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import cached_property
from typing import NamedTuple

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from diag.basics import TooLarge
from diag.decision.answers import Heard, Hidden
from diag.decision.appraisal import Found, Question, Setting, options_at, pool_of, saved_by
from diag.decision.ground import Cells, cells_of
from diag.decision.pool import Candidates
from diag.decision.sampled import Drawn, Hearing, sampled_cost
from diag.decision.sites import AccessKey
from diag.inference import Array

__all__ = ["Ahead", "PairWorth", "look_ahead"]

MOST_PAIRS, FEWEST_PAIRS, WORK = 24, 6, 12_000  # pairs of hidden things that are laid out: as keep pairs x terms below
MOST_CELLS = 400  # joint cells of two things
LEAST = 1e-6  # money


class PairWorth(Struct, frozen=True):
    """Two checks, by their numbers. `value`: expected total now less that of doing the first and then the second where
    its answer asks for it; `both`: the same where both are done in any case; money, all costs paid. `shared`: the
    second costs less because the first is open."""

    first: int
    second: int
    value: float
    both: float
    shared: bool


class Ahead(Struct, frozen=True):
    """All pairs that were looked at, and how many pairs of hidden things were not, though they might have paid."""

    pairs: tuple[PairWorth, ...]
    left_out: int


class _Joint(Struct, frozen=True, dict=True):
    """`costs[plan, cell]` and `chance[cell]` over the joint cells of two things; `index[thing][cell]`: the thing's own
    cell in each."""

    pool: Candidates
    costs: Array
    chance: Array
    index: dict[Hidden, NDArray[np.intp]]
    opened: dict[frozenset[AccessKey], Array] = field(default_factory=dict)  # costs with that access open

    @cached_property
    def before(self) -> float:
        """What the best plan costs before any answer."""
        return float(self.costs.sum(axis=1).min())


class _Alone(NamedTuple):
    """A check of a pair by itself: `table[answer, joint cell]`, `chance[answer]`, and `stop[answer]`: what the best
    plan costs jointly with each answer."""

    table: Array
    chance: Array
    stop: Array


CostAfter = Callable[[int, int], float]  # cost of the second check with what the first opened


def look_ahead(setting: Setting, questions: Sequence[Question], found: Sequence[Found], after: CostAfter) -> Ahead:
    """Value of pairs of checks that speak of plates; `after(first, second)` is the cost of the second after the first.

    Exact for the things that the checks are taken to speak of, with the plans of the pool around both.
    """
    telling: dict[int, Heard] = {}
    for number, each in enumerate(found):
        if each.telling is not None and _can_pair(setting, each.telling):
            telling[number] = each.telling
    least = max((each.appraisal.net(question.cost) for each, question in zip(found, questions, strict=True)), default=0)
    by_things: dict[frozenset[Hidden], list[tuple[int, int]]] = {}
    bound: dict[frozenset[Hidden], float] = {}
    for one, two, spare in _bounds(list(telling), questions, found, after, max(least, 0.0) + LEAST):
        key = frozenset((telling[one].hidden, telling[two].hidden))
        if math.prod(thing.cells for thing in key) <= MOST_CELLS:
            by_things.setdefault(key, []).append((one, two))
            bound[key] = max(spare, bound.get(key, 0.0))
    ordered = sorted(by_things, key=lambda key: -round(bound[key], 6))  # rounding decides nothing
    chosen = ordered[: int(np.clip(WORK // len(setting.ground.weights), FEWEST_PAIRS, MOST_PAIRS))]
    left_out = len(ordered) - len(chosen)
    pairs: list[PairWorth] = []
    cells = _cells(setting, chosen)
    for key in chosen:
        if any(thing not in cells for thing in _laid(setting, _in_order(key))):
            left_out += 1
            continue
        joint = _joint(setting, _in_order(key), cells)
        numbers = dict.fromkeys(number for pair in by_things[key] for number in pair)
        alone = {number: _alone(setting, joint, questions[number], telling[number]) for number in numbers}
        for pair in by_things[key]:
            pairs += _worths(setting, joint, questions, pair, alone, after)
    return Ahead(tuple(pairs), left_out)


def _bounds(
    numbers: Sequence[int], questions: Sequence[Question], found: Sequence[Found], after: CostAfter, least: float
) -> list[tuple[int, int, float]]:
    """The pairs of checks of which it can be hoped that they are worth more than `least`, and how much at most."""
    cost = np.array([questions[number].cost for number in numbers])
    most = np.array([found[n].reach + min(found[n].appraisal.credit, questions[n].cost) for n in numbers])
    by_opened: dict[frozenset[AccessKey], Array] = {}
    for number in numbers:  # what the second costs depends only on what the first opens
        if questions[number].opened not in by_opened:
            by_opened[questions[number].opened] = np.array([after(number, second) for second in numbers])
    in_order = [each + by_opened[questions[n].opened] for n, each in zip(numbers, cost, strict=True)]
    both = np.array(in_order).reshape(len(numbers), len(numbers))
    spare = most[:, None] + most - np.minimum(both, both.T)
    pairs = np.argwhere(np.triu(spare > least, 1))
    return [(numbers[one], numbers[two], float(spare[one, two])) for one, two in pairs.tolist()]


def _can_pair(setting: Setting, heard: Heard) -> bool:
    """Whether a check speaks of a plate; versions of one history, which have no axis of their own, are left out."""
    if heard.hidden.plate is None:
        return False
    plate = setting.ground.model.plates[heard.hidden.plate]
    return heard.hidden.kind == "axes" or plate.components[heard.hidden.local[0]].base is None


def _in_order(key: frozenset[Hidden]) -> tuple[Hidden, ...]:
    return tuple(sorted(key, key=lambda thing: (thing.plate, thing.kind, thing.local)))


def _laid(setting: Setting, things: Sequence[Hidden]) -> tuple[Hidden, ...]:
    """The things as the posterior is laid out for them: two of one plate as one, a component by its states' axis."""
    if len(things) == 1 or things[0].plate != things[1].plate:
        return tuple(things)
    sizes = {axis: size for thing in things for axis, size in _axes(setting, thing).items()}
    order = tuple(sorted(sizes))
    return (Hidden("axes", things[0].plate, order, (), tuple(sizes[axis] for axis in order)),)


def _axes(setting: Setting, thing: Hidden) -> dict[int, int]:
    """Axis of the plate to its size."""
    assert thing.plate is not None
    shift = 0 if thing.kind == "axes" else len(setting.ground.model.plates[thing.plate].axes)
    return {shift + place: size for place, size in zip(thing.local, thing.sizes, strict=True)}


def _cells(setting: Setting, chosen: Sequence[frozenset[Hidden]]) -> dict[Hidden, Cells]:
    """The posterior jointly with the cells of all things that are needed."""
    needed: dict[Hidden, None] = {}
    wanted: dict[int, set[int]] = {}
    for key in chosen:
        needed |= dict.fromkeys(_laid(setting, _in_order(key)))
        plates = {thing.plate for thing in key if thing.plate is not None}
        for plate in plates:
            wanted.setdefault(plate, set()).update(options_at(setting, pool_of(setting, plates), plate))
    options = {plate: sorted(some) for plate, some in wanted.items()}
    try:
        return cells_of(setting.ground, tuple(needed), options)
    except TooLarge:  # much was renewed on one cylinder: some of its things cannot be kept apart from each other
        found: dict[Hidden, Cells] = {}
        for thing in needed:
            with suppress(TooLarge):
                found |= cells_of(setting.ground, (thing,), options)
        return found


def _joint(setting: Setting, things: Sequence[Hidden], cells: dict[Hidden, Cells]) -> _Joint:
    laid = _laid(setting, things)
    pool = pool_of(setting, {thing.plate for thing in laid if thing.plate is not None})
    sizes = [thing.cells for thing in laid]
    places = np.indices(sizes).reshape(len(sizes), -1)
    hearings = [Hearing(Heard(thing, np.eye(thing.cells), ()), cells[thing], np.ones(thing.cells)) for thing in laid]
    drawn = Drawn(places.T, places.shape[1], np.zeros(0), 0)
    costs, chance = sampled_cost(setting.catalogue, pool, hearings, drawn, setting.ratios)
    if len(laid) == len(things):
        return _Joint(pool, costs, chance, dict(zip(things, places, strict=True)))
    levels = dict(zip(laid[0].local, np.indices(laid[0].sizes).reshape(len(laid[0].sizes), -1), strict=True))
    index = {}
    for thing in things:
        mine = tuple(levels[axis] for axis in _axes(setting, thing))
        index[thing] = np.asarray(np.ravel_multi_index(mine, thing.sizes), dtype=np.intp)
    return _Joint(pool, costs, chance, index)


def _alone(setting: Setting, joint: _Joint, question: Question, heard: Heard) -> _Alone:
    """A check of a pair by itself, with what it opens open."""
    table = np.take(heard.table, joint.index[heard.hidden], axis=1)
    return _Alone(table, table @ joint.chance, (_costs(setting, joint, question.opened) @ table.T).min(axis=0))


def _costs(setting: Setting, joint: _Joint, opened: frozenset[AccessKey]) -> Array:
    """`[plan, cell]`: the costs with some access open."""
    if opened not in joint.opened:
        saved = saved_by(setting, joint.pool, opened)
        joint.opened[opened] = joint.costs - saved[:, None] * joint.chance if saved.any() else joint.costs
    return joint.opened[opened]


def _worths(
    setting: Setting,
    joint: _Joint,
    questions: Sequence[Question],
    numbers: tuple[int, int],
    alone: Mapping[int, _Alone],
    after: CostAfter,
) -> list[PairWorth]:
    """The pair in both orders."""
    one, two = (alone[number].table for number in numbers)
    answers = (one[:, None] * two).reshape(-1, one.shape[1])
    costs = _costs(setting, joint, questions[numbers[0]].opened | questions[numbers[1]].opened)
    least = (costs @ answers.T).min(axis=0).reshape(len(one), len(two))  # [answer of one, answer of two]
    every = float(least.sum())
    found = []
    for first, second, then in ((*numbers, least.sum(axis=1)), (*numbers[::-1], least.sum(axis=0))):
        more, spent = after(first, second), joint.before - questions[first].cost
        go = more * alone[first].chance + then
        value = spent - float(np.minimum(alone[first].stop, go).sum())
        found.append(PairWorth(first, second, value, spent - more - every, more < questions[second].cost - LEAST))
    return found
