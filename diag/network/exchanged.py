"""What an exchange took from one cylinder to another: one thing in two plates, joined by the configuration axis.

A *traveller* is a component (or several that went the same way, such as an injector and its code) from where it came
into the case to where it stands last, its *home*. It is one thing all along: its state goes with it, and so does what
it once gave to a severity (persistence: Breese & Heckerman 1996), so a poor injector is as poor in the next cylinder.

The plates of the cylinders that it visited are independent once it is known how far evidence from away from home could
tell two travellers apart: by what they gave to the severities heard there, and by states asked after there. These
*classes* become one more variable of the configuration. Its states are kept at home alone, with their chances given
the class, P(states | class) = P(states) P(class | states) / P(class); all else in the plates is as ever. Where nothing
was heard away from home there is one class, and it costs nothing. May import: knowledge_base, inference, numpy.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import product

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from diag.inference import Array
from diag.network.instances import Key, Version, Versions

__all__ = ["Heard", "Stay", "Traveller", "travellers"]

Levels = tuple[int, ...]
Drawn = dict[Levels, float]  # what a part gives to one severity in each of its stays, and how probably


class Stay(Struct, frozen=True):
    """One version of a part that travelled: its key (component and cylinder), the number of the version there."""

    key: Key
    version: int


class Heard(Struct, frozen=True):
    """What was heard by epoch: `severities` pairs of (severity and cylinder, epoch), `states` pairs of (component and
    cylinder, epoch)."""

    severities: frozenset[tuple[Key, int]]
    states: frozenset[tuple[Key, int]]


class Part(Struct, frozen=True):
    """One component of a traveller: its stays in the order of time, and which of them began with being disturbed."""

    component: str
    stays: tuple[Stay, ...]
    disturbed: tuple[bool, ...]

    @property
    def way(self) -> tuple[object, ...]:
        """The cylinders that it visited, one after the other; those that went the same way travel together."""
        cylinders = [stay.key[1] for stay in self.stays]
        return tuple(here for here, before in zip(cylinders, [None, *cylinders], strict=False) if here != before)

    def states_by_stay(self, states: int) -> list[Levels]:
        """Every history, in the order of `History`: the state in each stay."""
        falls = [number for number, disturbed in enumerate(self.disturbed) if disturbed or number == 0]
        ill = [(at, state) for at in falls for state in range(1, states)]
        stays = range(len(self.stays))
        return [tuple(0 for _ in stays), *(tuple(state if stay >= at else 0 for stay in stays) for at, state in ill)]

    @property
    def phases(self) -> int:
        """How many versions of `History` it has: one, and one more each time that it was disturbed."""
        return 1 + sum(self.disturbed[1:])


class Traveller(Struct, frozen=True, eq=False):
    """Parts that travelled together.

    `histories[joint][part]` holds the state of each part in each of its stays; `classes[class]` what evidence away from
    home can tell apart; `chance[joint, class]` is P(class | history). `gives[class][severity axis]`: the level given to
    each axis (severity at a cylinder, version) of the severities in `carried`.
    """

    parts: tuple[Part, ...]
    carried: tuple[str, ...]
    histories: tuple[tuple[Levels, ...], ...]
    chance: Array
    gives: tuple[Mapping[tuple[Key, int], int], ...]
    told: tuple[Mapping[Stay, int], ...]

    @property
    def home(self) -> object:
        """The cylinder where it stands last."""
        return self.parts[0].stays[-1].key[1]

    def given_class(self, prior: Array, classes: NDArray[np.intp]) -> Array:
        """`[configuration, joint history]`: chances of the histories given each configuration's class.

        `prior[configuration or 1, joint history]`: before anything was told.
        """
        joint = prior * self.chance.T[classes]
        return np.asarray(joint / joint.sum(axis=1, keepdims=True))


def travellers(
    versions: Mapping[Key, Versions],
    severities: Mapping[Key, tuple[int, ...]],
    tables: Mapping[str, Mapping[str, Array]],
    states: Mapping[str, int],
    heard: Heard,
) -> tuple[Traveller, ...]:
    """All travellers of a case.

    `tables[component][severity]` is what a component gives to a cylinder's severity, `[state, level]`; `states` holds
    the number of a component's states; `severities[key]` the version of a severity by epoch.
    """
    together: dict[tuple[object, ...], list[Part]] = {}
    for part in _parts(versions):
        epochs = tuple(
            versions[stay.key].versions[stay.version].since for stay in part.stays if _arrived(versions, stay)
        )
        together.setdefault((part.way, epochs), []).append(part)
    return tuple(_traveller(tuple(parts), versions, severities, tables, states, heard) for parts in together.values())


def _arrived(versions: Mapping[Key, Versions], stay: Stay) -> bool:
    return versions[stay.key].versions[stay.version].source is not None


def _parts(versions: Mapping[Key, Versions]) -> list[Part]:
    """Every component that changed its cylinder, from where it came into the case to where it stands last."""
    onward: dict[Stay, Stay] = {}
    for key, known in versions.items():
        for number, version in enumerate(known.versions):
            before = _before(key, number, version)
            if before is not None:
                onward[before] = Stay(key, number)
    parts = []
    for start in [stay for stay in onward if stay not in onward.values()]:
        stays = [start]
        while stays[-1] in onward:
            stays.append(onward[stays[-1]])
        if len({stay.key for stay in stays}) > 1:
            disturbed = tuple(versions[stay.key].versions[stay.version].touch == "disturbed" for stay in stays)
            parts.append(Part(start.key[0], tuple(stays), (False, *disturbed[1:])))
    return parts


def _before(key: Key, number: int, version: Version) -> Stay | None:
    """The version that this one was before it was moved or disturbed; none for a new one."""
    if version.source is not None:
        return Stay((key[0], version.source[0]), version.source[1])
    return Stay(key, number - 1) if version.touch == "disturbed" and number else None


def _traveller(
    parts: tuple[Part, ...],
    versions: Mapping[Key, Versions],
    severities: Mapping[Key, tuple[int, ...]],
    tables: Mapping[str, Mapping[str, Array]],
    states: Mapping[str, int],
    heard: Heard,
) -> Traveller:
    home = parts[0].stays[-1].key[1]
    away = {
        (part.component, stay.key[1], epoch): stay
        for part in parts
        for stay in part.stays
        if stay.key[1] != home
        for epoch in _epochs(versions, stay)
    }
    carried = tuple(
        dict.fromkeys(
            severity
            for (component, cylinder, epoch) in away
            for severity in tables[component]
            if ((severity, cylinder), epoch) in heard.severities
        )
    )
    asked = frozenset(
        stay for (component, cylinder, epoch), stay in away.items() if ((component, cylinder), epoch) in heard.states
    )
    axes = _axes(parts, versions, severities, carried)
    histories = list(product(*(part.states_by_stay(states[part.component]) for part in parts)))
    numbers: dict[object, int] = {}
    rows: list[dict[int, float]] = []
    gives: list[Mapping[tuple[Key, int], int]] = []
    told: list[Mapping[Stay, int]] = []
    for history in histories:
        known = {
            stay: state
            for part, seen in zip(parts, history, strict=True)
            for stay, state in zip(part.stays, seen, strict=True)
            if stay in asked
        }
        row: dict[int, float] = {}
        for levels, chance in _given(parts, history, tables, carried, axes).items():
            number = numbers.setdefault((levels, tuple(known.values())), len(numbers))
            if number == len(gives):
                gives.append(dict(zip(axes, levels, strict=True)))
                told.append(known)
            row[number] = row.get(number, 0.0) + chance
        rows.append(row)
    table = np.zeros((len(histories), len(numbers)))
    for joint, row in enumerate(rows):
        table[joint, list(row)] = list(row.values())
    return Traveller(parts, carried, tuple(histories), table, tuple(gives), tuple(told))


def _epochs(versions: Mapping[Key, Versions], stay: Stay) -> list[int]:
    return [epoch for epoch, number in enumerate(versions[stay.key].by_epoch) if number == stay.version]


def _axes(
    parts: Sequence[Part],
    versions: Mapping[Key, Versions],
    severities: Mapping[Key, tuple[int, ...]],
    carried: Collection[str],
) -> dict[tuple[Key, int], dict[int, int]]:
    """The axes of the carried severities that the parts speak to: for each, which stay of each part does."""
    found: dict[tuple[Key, int], dict[int, int]] = {}
    for number, part in enumerate(parts):
        for place, stay in enumerate(part.stays):
            for severity in carried:
                for epoch in _epochs(versions, stay):
                    axis = ((severity, stay.key[1]), severities[severity, stay.key[1]][epoch])
                    found.setdefault(axis, {})[number] = place
    return found


def _given(
    parts: Sequence[Part],
    history: Sequence[Levels],
    tables: Mapping[str, Mapping[str, Array]],
    carried: Sequence[str],
    axes: Mapping[tuple[Key, int], Mapping[int, int]],
) -> dict[Levels, float]:
    """What all parts together give to each axis (the largest level stands), and how probably."""
    found: dict[Levels, float] = {(0,) * len(axes): 1.0}
    for number, (part, seen) in enumerate(zip(parts, history, strict=True)):
        for severity in carried:
            table = tables[part.component].get(severity)
            if table is None:
                continue
            places = [
                (place, speaking[number])
                for place, (axis, speaking) in enumerate(axes.items())
                if axis[0][0] == severity and number in speaking
            ]
            joined: dict[Levels, float] = {}
            for levels, chance in found.items():
                for by_stay, p in _drawn(table, seen).items():
                    changed = list(levels)
                    for place, stay in places:
                        changed[place] = max(changed[place], by_stay[stay])
                    joined[tuple(changed)] = joined.get(tuple(changed), 0.0) + chance * p
            found = joined
    return found


def _drawn(table: Array, seen: Levels) -> Drawn:
    """What one part gives to one severity in each stay: drawn once, and once more where it falls ill."""
    found: Drawn = {(): 1.0}
    for stay, state in enumerate(seen):
        if stay and state == seen[stay - 1]:
            found = {(*levels, levels[-1]): p for levels, p in found.items()}
            continue
        found = {
            (*levels, level): p * float(q)
            for levels, p in found.items()
            for level, q in enumerate(table[state])
            if q > 0
        }
    return found
