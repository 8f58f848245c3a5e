"""Readings whose cylinders share an unknown shift: nodes for the configuration axis, and likelihoods node by node.

All epochs between which nothing was renewed that such a reading hears are one *stage*, with one shift. The nodes of the
first stage are those of `evidence.shift_grid`. The shift of a later stage is tied to an earlier one by every cylinder
that was read in both and stayed as it was: its true value is the same, so the difference of the two shifts is known to
within the instrument's error, and takes a few nodes of Gauss's rule for the normal law about that. Where no cylinder
ties them, the later stage has nodes of its own. Where several readings share a shift each, the nodes of all meet; those
of the reading that has most are thinned until there is room. May import: knowledge_base, casebook, evidence, inference,
numpy.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from diag.casebook import Case, Measured
from diag.evidence import (
    Frame,
    ShiftGrid,
    Taken,
    Together,
    frame_of,
    log_shift_prior,
    shift_grid,
    shifted_likelihood,
    together,
    unshifted_spreads,
    without_limit,
)
from diag.inference import Array
from diag.knowledge_base import Engine, Knowledge, Reading
from diag.network.instances import Key
from diag.network.persisting import reading_patterns
from diag.network.questions import Question, Told
from diag.network.tables import levels_of
from diag.network.targets import Factor

__all__ = ["Belief", "Memory", "Shifted", "is_shifted", "shifted"]

MOST_NODES = 144  # of all shifts of a case together
NEGLIGIBLE = 1e-9  # chance of a joint node below which it is left out
MOST_TIE_NODES = 7  # for the difference of two stages' shifts
TIE_MISSES = 1e-3  # of the logarithm of a likelihood, roughly; of chances it is some fiftieth (measured)
THINNED = 0.75
_COUNTS = (5, 6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40)
_FEWER = (3, 4)  # tried as well where several readings have a shift

Belief = Callable[[Key, int], Array | None]
ToldByQuestion = Mapping[Question, Sequence[Told]]
Named = tuple[str, int, frozenset[tuple[Question, tuple[Told, ...]]]]


class Shifted(Struct, frozen=True):
    """All shifts of a case.

    `log_weights[node]` of the joint nodes, which sum to 1 as chances; `log_scale`: what they and the factors were
    divided by, as a logarithm. `factors[question]` and `implied` are `[1, node, level of each version]`. `now[item]`:
    frames of the present stage with their chances, where it was read; `known`: questions that need not be asked, since
    they follow from the sum. `error`, `apart`: the worst of the grids (see `ShiftGrid`). `log_likely`: logarithm of the
    chance of all of this, by what else is known of each cylinder by itself.
    """

    log_weights: Array
    log_scale: float
    factors: Mapping[Question, Factor]
    implied: tuple[Factor, ...]
    now: Mapping[str, tuple[tuple[Frame, float], ...]]
    known: frozenset[Question]
    error: float
    apart: float
    notes: tuple[str, ...]
    log_likely: float


class _Stage(Struct, frozen=True):
    """One taking of a reading on all cylinders: the version of each cylinder's thing, and what was shown."""

    epoch: int
    versions: Mapping[int, int]
    seen: Together


class _Item(Struct, frozen=True):
    """The shifts of one reading: `places[node, stage]`, `log_weights[node]`, `chance[node]`."""

    item: str
    reading: Reading
    stages: tuple[_Stage, ...]
    places: Array
    log_weights: Array
    chance: Array
    error: float
    apart: float


ByCylinder = Mapping[int, tuple[Key, tuple[int, ...], Array] | None]
ToldByItem = dict[str, dict[Question, Sequence[Told]]]


class Memory(Struct, frozen=True):
    """What was worked out of single readings: their shifts, and what was shown of each cylinder given these."""

    items: dict[Named, _Item] = field(default_factory=dict)
    shown: dict[Named, ByCylinder] = field(default_factory=dict)


def is_shifted(knowledge: Knowledge, engine: Engine, question: Question) -> bool:
    """Whether a question is a reading whose cylinders share a shift on this engine."""
    reading = knowledge.readings.get(question.item)
    return reading is not None and reading.shift is not None and not without_limit(reading, engine)


def shifted(
    knowledge: Knowledge,
    case: Case,
    told: ToldByQuestion,
    standing: Callable[[Key], tuple[int, ...]],
    belief: Belief,
    scale: int = 1,
    most: int | None = None,
    memory: Memory | None = None,
    room: int = MOST_NODES,
) -> Shifted | None:
    """The shifts of a case; none where nothing of the kind was read.

    `standing(key)` holds the version by epoch; `belief(key, version)` what else is known of the levels, if anything.
    `scale` multiplies the numbers of nodes (for measuring what they miss); `most`: so many for each shift at most, and
    `room`: so many for all together. `memory` keeps what was worked out of one reading for a next time with the same
    case, standing and belief: what no numbering moves is the same under all of them.
    """
    memory = Memory() if memory is None else memory
    by_item = _by_item(knowledge, case.engine, told)
    if not by_item:
        return None
    limit = min(MOST_NODES, room)
    names, items, node_of, log_weights = _fitting(
        knowledge, case, by_item, standing, belief, (limit, min(limit, most or limit), scale), memory
    )
    for name, one in zip(names, items, strict=True):
        if name not in memory.shown:
            memory.shown[name] = {each: _factor(knowledge, case.engine, one, each) for each in case.engine.cylinders}
    factors: dict[Question, Factor] = {}
    implied: list[Factor] = []
    log_scale = float(np.logaddexp.reduce(log_weights))
    likely = log_weights - log_scale
    for number, one in enumerate(items):
        for cylinder in case.engine.cylinders:
            made = memory.shown[names[number]][cylinder]
            if made is None:
                continue
            key, versions, logs = made
            logs = logs[node_of[:, number]]
            top = float(logs.max())
            log_scale += top
            factor = Factor(key, versions, np.exp(logs - top)[np.newaxis], by_node=True)
            likely = likely + np.log(np.maximum(_averaged(factor, belief), np.finfo(np.float64).tiny))
            if Question(one.item, cylinder) in by_item[one.item]:
                factors[Question(one.item, cylinder)] = factor
            else:
                implied.append(factor)
    return Shifted(
        log_weights - np.logaddexp.reduce(log_weights),
        log_scale,
        factors,
        tuple(implied),
        {one.item: frames for one in items if (frames := _frames_now(one, standing, knowledge, case))},
        frozenset(Question(one.item, cylinder) for one in items for cylinder in _implied_now(one, standing, knowledge)),
        max(one.error for one in items),
        max(one.apart for one in items),
        tuple(stage.seen.note for one in items for stage in one.stages if stage.seen.note),
        log_scale + float(np.logaddexp.reduce(likely)),
    )


def _by_item(knowledge: Knowledge, engine: Engine, told: ToldByQuestion) -> ToldByItem:
    """What was told of readings that share a shift, by reading."""
    found: ToldByItem = {}
    for question, facts in told.items():
        if is_shifted(knowledge, engine, question):
            found.setdefault(question.item, {})[question] = facts
    return found


def _fitting(
    knowledge: Knowledge,
    case: Case,
    by_item: ToldByItem,
    standing: Callable[[Key], tuple[int, ...]],
    belief: Belief,
    numbers: tuple[int, int, int],
    memory: Memory,
) -> tuple[list[Named], list[_Item], NDArray[np.intp], Array]:
    """The readings, named as in `memory`, and their joint nodes (see `_joint`): as many as each needs, and where these
    are more than there is room for, the reading with most nodes has fewer. `numbers`: nodes of all together at most,
    of each at most, and the scale."""
    limit, most, scale = numbers
    budgets = dict.fromkeys(by_item, scale * most)
    while True:
        names: list[Named] = []
        for item, mine in by_item.items():
            name = (item, budgets[item], frozenset((each, tuple(facts)) for each, facts in mine.items()))
            if name not in memory.items:
                counts = _COUNTS if len(by_item) == 1 else (*_FEWER, *_COUNTS)
                memory.items[name] = _item(knowledge, case, item, mine, standing, belief, budgets[item], scale, counts)
            names.append(name)
        items = [memory.items[name] for name in names]
        node_of, log_weights = _joint(items)
        sizes = {one.item: len(one.log_weights) for one in items}
        largest = max(sizes, key=sizes.__getitem__)
        thinner = min(budgets[largest], int(THINNED * sizes[largest]))
        if len(node_of) <= limit * scale ** len(items) or sizes[largest] <= 2 * scale or len(items) == 1:
            return names, items, node_of, log_weights
        budgets[largest] = thinner


def _averaged(factor: Factor, belief: Belief) -> Array:
    """`[node]`: a factor averaged over the levels, each version's by what else is known of it."""
    found = factor.likelihood[0]
    for version in reversed(factor.versions):
        chances = belief(factor.key, version)
        found = found.mean(axis=-1) if chances is None else found @ chances
    return np.asarray(found, dtype=np.float64)


def _joint(items: Sequence[_Item]) -> tuple[NDArray[np.intp], Array]:
    """`[node, item]`: the node of each item, for all joint nodes that are not negligible; and log weights `[node]`."""
    sizes = [len(one.log_weights) for one in items]
    node_of = np.indices(sizes).reshape(len(items), -1).T
    chance = np.prod([one.chance[node_of[:, k]] for k, one in enumerate(items)], axis=0)
    node_of = node_of[chance >= NEGLIGIBLE * chance.max()]
    log_weights = np.sum([one.log_weights[node_of[:, k]] for k, one in enumerate(items)], axis=0)
    return node_of, np.asarray(log_weights)


# ---- one reading ---------------------------------------------------------------------------------------------------


def _item(
    knowledge: Knowledge,
    case: Case,
    item: str,
    told: ToldByQuestion,
    standing: Callable[[Key], tuple[int, ...]],
    belief: Belief,
    budget: int,
    scale: int,
    tried: Sequence[int],
) -> _Item:
    reading = knowledge.readings[item]
    levels = levels_of(knowledge, reading.shows)
    stages = _stages(reading, case.engine, told, standing)
    ties = [_tie(reading, stages[:number], stage) for number, stage in enumerate(stages)]
    fewest = min(tried[0] * scale, max(budget, 2))
    finest = _finest(reading, case.engine, levels)
    wanted = [0 if tie is None else scale * _tie_nodes(tie, finest) for tie in ties]
    if math.prod(max(count, 1) for count in wanted) * fewest > budget:
        wanted = [min(count, 1) for count in wanted]
    for_ties = math.prod(max(count, 1) for count in wanted)
    counts = [scale * count for count in tried if scale * count * for_ties <= budget] or [fewest]
    missed = math.fsum(_tie_misses(tie, finest, count) for tie, count in zip(ties, wanted, strict=True) if tie)
    grids: list[ShiftGrid] = []
    places, log_weights, chance = np.zeros((1, 0)), np.zeros(1), np.ones(1)
    for number, stage in enumerate(stages):
        weights = _weights(reading, stage, belief)
        tie = ties[number]
        if tie is None:
            left = max(fewest, budget // (len(log_weights) * math.prod(max(count, 1) for count in wanted[number:])))
            few = [c for c in counts if c <= left] or [fewest]
            grid = shift_grid(reading, case.engine, levels, stage.seen, weights, few)
            grids.append(grid)
            new, weight, now = (np.tile(each, len(places)) for each in (grid.nodes, grid.log_weights, grid.chance))
        else:
            new, weight, now = _tied(places, tie, wanted[number])
            prior = log_shift_prior(reading, case.engine, levels, stage.seen, weights)
            weight = weight + prior(new)
        wide = len(new) // len(places)
        places = np.column_stack([np.repeat(places, wide, axis=0), new])
        log_weights = np.repeat(log_weights, wide) + weight
        chance = np.repeat(chance, wide) * now
    error, apart = max(grid.error for grid in grids) + missed / 50, max(grid.apart for grid in grids)
    return _Item(item, reading, stages, places, log_weights, chance, error, apart)


def _stages(
    reading: Reading, engine: Engine, told: ToldByQuestion, standing: Callable[[Key], tuple[int, ...]]
) -> tuple[_Stage, ...]:
    """The stages of a case in which a reading was taken, in their order."""
    by_epoch = [standing((reading.shows, cylinder)) for cylinder in engine.cylinders]
    measured: dict[tuple[int, ...], dict[int, list[Measured]]] = {}
    epochs: dict[tuple[int, ...], int] = {}
    for question, items in told.items():
        for each in items:
            if isinstance(each.what, Measured) and isinstance(question.place, int):
                kind = tuple(versions[each.epoch] for versions in by_epoch)
                measured.setdefault(kind, {}).setdefault(question.place, []).append(each.what)
                epochs[kind] = min(epochs.get(kind, each.epoch), each.epoch)
    return tuple(
        _Stage(epochs[kind], dict(zip(engine.cylinders, kind, strict=True)), together(reading, engine, measured[kind]))
        for kind in sorted(measured, key=epochs.__getitem__)
    )


def _weights(reading: Reading, stage: _Stage, belief: Belief) -> dict[int, Array]:
    found = {cylinder: belief((reading.shows, cylinder), version) for cylinder, version in stage.versions.items()}
    return {cylinder: chances for cylinder, chances in found.items() if chances is not None}


class _Tie(Struct, frozen=True):
    """The earlier stage (`number`) that ties a shift best: it is higher by `off`, give or take `error`; `moved`: how
    many cylinders were read of which that is not said."""

    number: int
    off: float
    error: float
    moved: int


def _tie(reading: Reading, earlier: Sequence[_Stage], stage: _Stage) -> _Tie | None:
    """What ties the shift of a stage to an earlier one, if anything does."""
    best: _Tie | None = None
    for number, before in enumerate(earlier):
        marks = []
        for cylinder, readings in stage.seen.shown.items():
            first = before.seen.shown.get(cylinder, ())
            plain = not any(each.censored for each in (*first, *readings))
            if first and plain and before.versions[cylinder] == stage.versions[cylinder]:
                marks.append(_difference(reading, first, readings))
        if marks:
            precision = math.fsum(error**-2 for _, error in marks)
            mean = math.fsum(off * error**-2 for off, error in marks) / precision
            if best is None or precision**-0.5 < best.error:
                best = _Tie(number, mean, precision**-0.5, len(stage.seen.all_readings()) - len(marks))
    return best


def _finest(reading: Reading, engine: Engine, levels: Sequence[str]) -> float:
    """The smallest width of any law, on the scale of the shift."""
    laws = [law for each in unshifted_spreads(reading, engine, levels) for law in each.laws]
    relative = reading.shift is not None and reading.shift.kind == "common factor"
    widths = [law.width / abs(law.middle) if relative and law.shape != "log-normal" else law.width for law in laws]
    return min(widths)


def _tie_misses(tie: _Tie, finest: float, count: int) -> float:
    """What so many nodes of Gauss's rule miss of the logarithm of the likelihoods of the cylinders that moved, roughly:
    for a normal law, (moved x (error / width)^2 / 2)^count."""
    return float((tie.moved * (tie.error / finest) ** 2 / 2) ** count)


def _tie_nodes(tie: _Tie, finest: float) -> int:
    counts = range(1, MOST_TIE_NODES)
    return next((count for count in counts if _tie_misses(tie, finest, count) <= TIE_MISSES), MOST_TIE_NODES)


def _difference(reading: Reading, first: Sequence[Taken], second: Sequence[Taken]) -> tuple[float, float]:
    """How much higher the second stage's shift is by one cylinder, and the standard deviation."""
    one, other = _mean(first), _mean(second)
    if reading.shift is not None and reading.shift.kind == "common factor":
        low = 0.1 * (one.error + other.error)
        before, after = max(one.value, low), max(other.value, low)
        return math.log(after / before), math.hypot(one.error / before, other.error / after)
    return one.value - other.value, math.hypot(one.error, other.error)


def _mean(readings: Sequence[Taken]) -> Taken:
    total = math.fsum(each.error**-2 for each in readings)
    return Taken(math.fsum(each.value * each.error**-2 for each in readings) / total, "", total**-0.5)


def _tied(places: Array, tie: _Tie, count: int) -> tuple[Array, Array, Array]:
    """Nodes of a later stage for each node of those before it; logarithms of the plain measure; chances."""
    nodes, gauss = np.polynomial.hermite_e.hermegauss(count)
    log_measure = np.log(gauss) + 0.5 * nodes * nodes + math.log(tie.error)
    new = (places[:, tie.number, None] + tie.off + tie.error * nodes).ravel()
    return new, np.tile(log_measure, len(places)), np.tile(gauss / gauss.sum(), len(places))


def _factor(
    knowledge: Knowledge, engine: Engine, one: _Item, cylinder: int
) -> tuple[Key, tuple[int, ...], Array] | None:
    """Logarithms `[node, level of each version]` of all that was shown of one cylinder; none where nothing was."""
    by_version: dict[int, list[tuple[Taken, int]]] = {}
    for stage, each in enumerate(one.stages):
        for reading in each.seen.all_readings().get(cylinder, ()):
            by_version.setdefault(each.versions[cylinder], []).append((reading, stage))
    if not by_version:
        return None
    key, versions = (one.reading.shows, cylinder), tuple(sorted(by_version))
    laws = unshifted_spreads(one.reading, engine, levels_of(knowledge, key[0]))
    shift = one.reading.shift
    assert shift is not None
    framed = [
        [[(reading, frame_of(shift, float(node[stage]))) for reading, stage in by_version[v]] for v in versions]
        for node in one.places
    ]
    if len(versions) == 1:
        return key, versions, shifted_likelihood(laws, [node[0] for node in framed])
    jacobian = [
        math.fsum(math.log(f.scale) for told in node for reading, f in told if not reading.censored) for node in framed
    ]
    seen = [[[frame.of(reading) for reading, frame in told] for told in node] for node in framed]
    by_node = reading_patterns(laws, seen)
    return key, versions, by_node + np.reshape(jacobian, (-1, *(1 for _ in versions)))


def _frames_now(
    one: _Item, standing: Callable[[Key], tuple[int, ...]], knowledge: Knowledge, case: Case
) -> tuple[tuple[Frame, float], ...]:
    """Frames of the present stage and their chances; nothing where it was not read."""
    stage = _present(one, standing, knowledge)
    shift = one.reading.shift
    if stage is None or shift is None:
        return ()
    return tuple(
        (frame_of(shift, float(place)), float(chance))
        for place, chance in zip(one.places[:, stage], one.chance / one.chance.sum(), strict=True)
        if chance > 1e-4 * one.chance.max()
    )


def _implied_now(one: _Item, standing: Callable[[Key], tuple[int, ...]], knowledge: Knowledge) -> tuple[int, ...]:
    stage = _present(one, standing, knowledge)
    return () if stage is None else tuple(one.stages[stage].seen.implied)


def _present(one: _Item, standing: Callable[[Key], tuple[int, ...]], knowledge: Knowledge) -> int | None:
    """The stage that stands now, where it was read."""
    last = one.stages[-1]
    shows = one.reading.shows
    same = all(standing((shows, cylinder))[-1] == version for cylinder, version in last.versions.items())
    return len(one.stages) - 1 if same else None
