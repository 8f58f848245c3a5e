"""What a check could still bring, sorted by what it would tell about: the hidden things its answers depend on.

Every finding depends on one hidden thing (the components or degrees of one plate, the configuration, or degrees of the
whole vehicle), so all that its answer can tell is a table: P(answer | cell), where cells are the joint levels of that
thing. May import: knowledge_base, inference, basics, numpy, and `needs`, `tariff` of this room.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import reduce
from typing import Any, Literal, NamedTuple

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.basics import Place, TooLarge
from diag.decision.needs import NetworkView, OutcomesView
from diag.decision.tariff import Tariff
from diag.inference import Array, Evidence, SharedAxis, distinct
from diag.knowledge_base import Check, Knowledge

__all__ = ["Heard", "Hidden", "Known", "Prospect", "joint_answers", "prospects_of"]

MOST_SPELT_OUT = 400  # configurations that are cells of their own
MOST_ANSWERS = 96  # joint answers about one hidden thing that are all told apart
LEAST_TOLD = 1e-12  # difference of chances from which an answer tells something
MOST_HELD = 4096  # questions, and things told of, that are remembered


class Hidden(NamedTuple):
    """One hidden thing. `plate` none: the whole vehicle's (`shared`) or the configuration; `local`: the component or
    axes within the plate; `shared`: axes of the vehicle; `sizes`: its levels, one number for each axis. `alike`: the
    cell of each configuration, as the bytes of whole numbers, where many of these are told alike."""

    kind: Literal["component", "axes", "shared", "configuration"]
    plate: int | None
    local: tuple[int, ...]
    shared: tuple[SharedAxis, ...]
    sizes: tuple[int, ...]
    alike: bytes = b""

    @property
    def cells(self) -> int:
        """Number of joint levels."""
        return math.prod(self.sizes)

    def cell_of(self, configurations: NDArray[np.intp]) -> NDArray[np.intp]:
        """The cell of each of some configurations."""
        return np.frombuffer(self.alike, dtype=np.intp)[configurations] if self.alike else configurations


class Heard(Struct, frozen=True):
    """All that a check could tell about one hidden thing: `table[answer, cell]` sums to 1 over the answers."""

    hidden: Hidden
    table: Array
    names: tuple[str, ...]


class Prospect(Struct, frozen=True):
    """A check at a place with all that it could still bring. `items`: what it yields, as (item, place)."""

    check: str
    place: Place
    heard: tuple[Heard, ...]
    items: tuple[tuple[str, Place], ...]


AskedOf = tuple[str, Place, str | None]
Known = dict[tuple[AskedOf, ...], tuple[float, Heard] | None]


class _Told(NamedTuple):
    """How much a look could tell, what, and which questions it is: of one finding, under several conditions where one
    luck may last over these."""

    telling: float
    heard: Heard
    asked: tuple[AskedOf, ...]


def prospects_of(
    tariff: Tariff, network: NetworkView, check_id: str, places: Sequence[Place], known: Known
) -> list[Prospect]:
    """What a check could bring at each of some places; answers about one hidden thing are joined. `known`: how much
    each question tells, and of what, as far as it was asked of the same network; many checks bring the same."""
    knowledge, check = tariff.knowledge, tariff.knowledge.checks[check_id]
    looks = _looks(knowledge, check)
    prospects = []
    for place in places:
        found: dict[Hidden, list[_Told]] = {}
        items: dict[tuple[str, Place], None] = {}
        for item, conditions in looks:
            for where in _places(knowledge, tariff, item, check, place):
                asked = tuple([(item, where, under) for under in conditions])
                if asked not in known:
                    known[asked] = _told_by(network, asked)
                told = known[asked]
                if told is not None:
                    items[item, where] = None
                    found.setdefault(told[1].hidden, []).append(_Told(*told, asked))
        heard = tuple([_joined(network, some) for some in found.values()])
        prospects.append(Prospect(check_id, place, heard, tuple(items)))
    return prospects


def _looks(knowledge: Knowledge, check: Check) -> list[tuple[str, tuple[str | None, ...]]]:
    """What a check yields, and under which conditions; those together over which one luck may last."""
    found: dict[tuple[str, str | None], list[str | None]] = {}
    for each in check.yields:
        finding = knowledge.findings.get(each.item)
        lasts = finding is not None and finding.lasting.value > 0
        found.setdefault((each.item, None if lasts else each.under), []).append(each.under)
    return [(item, tuple(conditions)) for (item, _), conditions in found.items()]


def _told_by(network: NetworkView, asked: tuple[AskedOf, ...]) -> tuple[float, Heard] | None:
    """How much a look could still tell, and what; none where that is nothing."""
    outcomes = network.outcomes(*asked[0]) if len(asked) == 1 else network.outcomes_together(asked)
    if outcomes is None:
        return None
    known = _TOLD.get(id(outcomes))
    if known is not None and known[0] is outcomes:
        return known[1]
    told = _told_in(outcomes)
    if told is not None and told[1].hidden.plate is not None:
        _let_go(_TOLD)
        _TOLD[id(outcomes)] = outcomes, told
    return told


# of plates alone: these are small, and networks that stand alike give the same outcomes
_TOLD: dict[int, tuple[OutcomesView, tuple[float, Heard]]] = {}
_JOINED: dict[tuple[int, ...], tuple[list[Heard], Heard]] = {}


def _let_go(held: dict[Any, Any]) -> None:
    """Nothing that is held, where that is much."""
    if len(held) >= MOST_HELD:
        held.clear()


def _joined(network: NetworkView, some: list[_Told]) -> Heard:
    """All that is heard of one thing as one; made once of the same."""
    ranked = _most_telling_first(some)
    heard = [each.heard for each in ranked]
    if len(heard) == 1:
        return _told_alike(joint_answers(heard))
    if len(heard[0].hidden.shared) > 1:
        return _linked(network, ranked)
    key = tuple(map(id, heard))
    known = _JOINED.get(key)
    if known is not None and all(one is other for one, other in zip(known[0], heard, strict=True)):
        return known[1]
    joined = _told_alike(joint_answers(heard))
    if joined.hidden.plate is not None:
        _let_go(_JOINED)
        _JOINED[key] = heard, joined
    return joined


def _linked(network: NetworkView, ranked: Sequence[_Told]) -> Heard:
    """Answers about linked severities of the whole vehicle. What is seen is not decided by the cell alone (a rough
    engine may be felt to shake or not), so that two answers about the same are no two facts: they are joined there."""
    chosen = _within_bounds([each.heard for each in ranked])
    if len(chosen) > 1:
        try:
            outcomes = network.outcomes_together([each for number in chosen for each in ranked[number].asked])
        except TooLarge:  # to leave out an answer can only make a check look worth less
            outcomes = None
        heard = None if outcomes is None else _heard(outcomes.evidence, outcomes.names)
        if heard is not None:
            return heard
    return ranked[0].heard


def _told_in(outcomes: OutcomesView) -> tuple[float, Heard] | None:
    heard = _heard(outcomes.evidence, outcomes.names)
    telling = _telling(heard.table) if heard is not None else 0.0
    return (telling, heard) if heard is not None and telling > LEAST_TOLD else None


def _places(knowledge: Knowledge, tariff: Tariff, item: str, check: Check, place: Place) -> tuple[Place, ...]:
    """Where an item of a check is looked at: everywhere within the check's place."""
    entry = knowledge.findings.get(item) or knowledge.readings[item]
    shows = knowledge.components.get(entry.shows) or knowledge.severities[entry.shows]
    if shows.per == "vehicle":
        return (None,)
    if shows.per == "bank":
        return tariff.banks_of(place)
    if check.covers == "cylinder":
        return (place,)
    return tuple(c for c in tariff.engine.cylinders if place is None or tariff.engine.bank_of(c) == place)


def _heard(evidence: Evidence, names: tuple[str, ...]) -> Heard | None:
    """The one likelihood that outcomes bring, as a table over cells; none where there is none."""
    for (plate, component), likelihood in evidence.components.items():
        if likelihood.shape[1] > 1:
            table = likelihood[:, :, 0]
            return Heard(Hidden("configuration", None, (), (), (table.shape[1],)), table, names)
        table = likelihood[:, 0, :]
        return Heard(Hidden("component", plate, (component,), (), (table.shape[1],)), table, names)
    for plate, axes, likelihood in evidence.axes:
        hidden = Hidden("axes", plate, axes, (), likelihood.shape[1:])
        return Heard(hidden, likelihood.reshape(len(likelihood), -1), names)
    for shared, likelihood in evidence.shared:
        hidden = Hidden("shared", None, (), shared, likelihood.shape[1:])
        return Heard(hidden, likelihood.reshape(len(likelihood), -1), names)
    return None


def _told_alike(heard: Heard) -> Heard:
    """Many configurations by what their answers tell of them: most differ in what no answer speaks of."""
    if heard.hidden.kind != "configuration" or heard.hidden.cells <= MOST_SPELT_OUT:
        return heard
    cells, first = distinct(heard.table.T)
    hidden = heard.hidden._replace(sizes=(len(first),), alike=cells.tobytes())
    return Heard(hidden, heard.table[:, first], heard.names)


def _telling(table: Array) -> float:
    """How far chances of an answer lie apart at most."""
    return float((table.max(axis=1) - table.min(axis=1)).max())


def _most_telling_first(some: Sequence[_Told]) -> list[_Told]:
    return sorted(some, key=lambda each: -each.telling) if len(some) > 1 else [*some]


def _within_bounds(listed: Sequence[Heard]) -> list[int]:
    """Which of some answers are joined: the first ones, as far as they make at most 96 joint answers."""
    chosen: list[int] = []
    count = 1
    for number, heard in enumerate(listed):
        if count * len(heard.table) <= MOST_ANSWERS:
            chosen.append(number)
            count *= len(heard.table)
    return chosen


def joint_answers(listed: Sequence[Heard]) -> Heard:
    """Several answers about one hidden thing that decides each of them by itself (but for noise of their own), the most
    telling first, as one; beyond 96 joint answers those stand
    alone (to leave out an answer can only make a check look worth less)."""
    if len(listed) == 1 and len(listed[0].table) <= MOST_ANSWERS:
        return listed[0]
    chosen = [listed[number] for number in _within_bounds(listed)]
    table = reduce(lambda one, two: (one[:, None, :] * two[None]).reshape(-1, one.shape[1]), [h.table for h in chosen])
    names = reduce(lambda one, two: tuple(f"{a}; {b}" for a in one for b in two), [h.names for h in chosen])
    return Heard(listed[0].hidden, table, names)
