"""Which things there are in a case: components at their places, and their versions over the epochs.

An epoch begins with the work that was tried at its start. A component that this work renews or disturbs has a new
version from that epoch on; one that is left alone stays the same variable. A severity has as many versions as there
are different sets of versions of its causes, so epochs between which nothing that matters to it was renewed share
one version. What an exchange moves has a new version at both cylinders: the thing that stood at the other, with its
state. May import: knowledge_base, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from msgspec import Struct

from diag.basics import Place
from diag.casebook import Case, Work
from diag.knowledge_base import Component, Engine, Knowledge, Repair

__all__ = [
    "Key",
    "Touch",
    "Version",
    "Versions",
    "came_from",
    "component_versions",
    "covers",
    "lapses_of",
    "numbered",
    "places_of",
    "root_of",
    "strongest",
    "touched",
]

Key = tuple[str, Place]  # (id of a component or severity, where)
Touch = Literal["found", "renewed", "disturbed", "moved"]


class Version(Struct, frozen=True):
    """One version of a component: since which epoch, and what brought it about (`found`: there when the case began).

    `lapses`: what was left undone at the work. `source`: the cylinder from which it came at that time, and the number
    of its version there.
    """

    since: int
    touch: Touch = "found"
    works: tuple[str, ...] = ()
    source: tuple[int, int] | None = None
    lapses: tuple[str, ...] = ()


class Versions(Struct, frozen=True):
    """The versions of one thing, and which of them stands in each epoch (`by_epoch[epoch]` is its index)."""

    versions: tuple[Version, ...]
    by_epoch: tuple[int, ...]

    @property
    def current(self) -> int:
        """The index of the version that stands now."""
        return self.by_epoch[-1]

    def __len__(self) -> int:
        return len(self.versions)


def places_of(per: str, engine: Engine) -> tuple[Place, ...]:
    """All places of a thing that exists once per cylinder, bank or vehicle."""
    if per == "cylinder":
        return engine.cylinders
    if per == "bank":
        return tuple(engine.banks)
    return (None,)


def touched(work: Work, component_id: str, component: Component, place: Place, repair: Repair, engine: Engine) -> Touch:
    """What one piece of work did to a component at a place; work with no place was done everywhere.

    Work on it that was not done as it should be leaves it as if renewed badly. One that is disturbed but has no
    `disturbed` chances comes to no harm: it counts as left alone.
    """
    if not any(covers(worked, place, engine) for worked in work.places):
        return "found"
    if component_id in repair.renews or lapses_of((work,), component_id, component, place, repair, engine):
        return "renewed"
    return "disturbed" if component_id in repair.disturbs and component.disturbed else "found"


def lapses_of(
    works: Iterable[Work], component_id: str, component: Component, place: Place, repair: Repair, engine: Engine
) -> tuple[str, ...]:
    """What was left undone at these works of one repair on a component at a place."""
    if component_id not in (*repair.renews, *repair.disturbs, *repair.moves):
        return ()
    here = (work for work in works if any(covers(worked, place, engine) for worked in work.places))
    return tuple(dict.fromkeys(lapse for work in here for lapse in work.but if lapse in component.lapses))


def covers(worked: Place, place: Place, engine: Engine) -> bool:
    """Whether work at one place touches what sits at another: a bank holds its cylinders, the vehicle everything."""
    if worked is None or place is None or worked == place:
        return True
    if isinstance(worked, int):
        return isinstance(place, str) and engine.bank_of(worked) == place
    return isinstance(place, int) and engine.bank_of(place) == worked


def strongest(touches: Iterable[Touch]) -> Touch:
    """What several pieces of work at one time amount to: renewing outweighs disturbing, whatever the order told."""
    seen = set(touches)
    return "renewed" if "renewed" in seen else "disturbed" if "disturbed" in seen else "found"


def component_versions(knowledge: Knowledge, case: Case) -> dict[Key, Versions]:
    """The versions of every component at every place, components in the order of the knowledge."""
    return {
        (component_id, place): versions
        for component_id, component in knowledge.components.items()
        for place, versions in _versions(knowledge, case, component_id, component).items()
    }


def _versions(knowledge: Knowledge, case: Case, component_id: str, component: Component) -> dict[Place, Versions]:
    """The versions of one component at all its places, epoch by epoch."""
    places = places_of(component.per, case.engine)
    versions = {place: [Version(0)] for place in places}
    by_epoch = {place: [0] for place in places}
    for epoch, told in enumerate(case.epochs[1:], start=1):
        came = came_from(knowledge, told.work, component_id)
        stood = {place: number[-1] for place, number in by_epoch.items()}
        for place in places:
            touches = [
                touched(work, component_id, component, place, knowledge.repairs[work.repair], case.engine)
                for work in told.work
            ]
            touch = strongest(touches)
            works = tuple(work.repair for work, what in zip(told.work, touches, strict=True) if what != "found")
            source = came.get(place, place) if isinstance(place, int) and touch != "renewed" else place
            if source != place and isinstance(source, int):
                moved: Touch = "disturbed" if touch == "disturbed" else "moved"
                versions[place].append(Version(epoch, moved, works, (source, stood[source])))
            elif touch != "found":
                lapses = tuple(
                    lapse
                    for work in told.work
                    for lapse in lapses_of(
                        (work,), component_id, component, place, knowledge.repairs[work.repair], case.engine
                    )
                )
                versions[place].append(Version(epoch, touch, works, lapses=lapses))
            by_epoch[place].append(len(versions[place]) - 1)
    return {place: Versions(tuple(versions[place]), tuple(by_epoch[place])) for place in places}


def came_from(knowledge: Knowledge, works: Sequence[Work], component_id: str) -> dict[Place, Place]:
    """For each cylinder that takes part in exchanges of a component, done in this order: whose it has afterwards."""
    holds: dict[Place, Place] = {}
    for work in works:
        if work.other is not None and component_id in knowledge.repairs[work.repair].moves:
            first, second = holds.get(work.place, work.place), holds.get(work.other, work.other)
            holds[work.place], holds[work.other] = second, first
    return holds


def root_of(versions: Mapping[Key, Versions], key: Key, number: int) -> tuple[Key, int]:
    """Where a version of a component came into the case: the cylinder and version from which exchanges took it, and
    the version that was there before work only disturbed it."""
    version = versions[key].versions[number]
    while version.source is not None or version.touch == "disturbed":
        key, number = ((key[0], version.source[0]), version.source[1]) if version.source else (key, number - 1)
        version = versions[key].versions[number]
    return key, number


def numbered(causes: Sequence[Sequence[int]], epochs: int) -> tuple[int, ...]:
    """Number the different combinations of versions of `causes` (each its `by_epoch`) in the order of their epochs."""
    seen: dict[tuple[int, ...], int] = {}
    return tuple(seen.setdefault(tuple(cause[epoch] for cause in causes), len(seen)) for epoch in range(epochs))
