"""Which things there are in a case: components at their places, and their versions over the epochs.

An epoch begins with the work that was tried at its start. A component that this work renews or disturbs has a new
version from that epoch on; one that is left alone stays the same variable. A severity has as many versions as there
are different sets of versions of its causes, so epochs between which nothing that matters to it was renewed share
one version. May import: knowledge_base, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from diag.basics import Place
from diag.casebook import Case, Work
from diag.knowledge_base import Component, Engine, Knowledge, Repair

__all__ = [
    "Key",
    "Touch",
    "Version",
    "Versions",
    "component_versions",
    "covers",
    "numbered",
    "places_of",
    "strongest",
    "touched",
]

Key = tuple[str, Place]  # (id of a component or severity, where)
Touch = Literal["found", "renewed", "disturbed"]


@dataclass(frozen=True)
class Version:
    """One version of a component: since which epoch, and what brought it about (`found`: there when the case began)."""

    since: int
    touch: Touch = "found"
    works: tuple[str, ...] = ()


@dataclass(frozen=True)
class Versions:
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

    A component that is disturbed but has no `disturbed` chances comes to no harm: it counts as left alone.
    """
    if not covers(work.place, place, engine):
        return "found"
    if component_id in repair.renews:
        return "renewed"
    return "disturbed" if component_id in repair.disturbs and component.disturbed else "found"


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
        (component_id, place): _versions(knowledge, case, component_id, component, place)
        for component_id, component in knowledge.components.items()
        for place in places_of(component.per, case.engine)
    }


def _versions(knowledge: Knowledge, case: Case, component_id: str, component: Component, place: Place) -> Versions:
    versions, by_epoch = [Version(0)], [0]
    for epoch, told in enumerate(case.epochs[1:], start=1):
        touches = {
            work.repair: touched(work, component_id, component, place, knowledge.repairs[work.repair], case.engine)
            for work in told.work
        }
        touch = strongest(touches.values())
        if touch != "found":
            works = tuple(repair for repair, what in touches.items() if what != "found")
            versions.append(Version(epoch, touch, works))
        by_epoch.append(len(versions) - 1)
    return Versions(tuple(versions), tuple(by_epoch))


def numbered(causes: Sequence[Sequence[int]], epochs: int) -> tuple[int, ...]:
    """Number the different combinations of versions of `causes` (each its `by_epoch`) in the order of their epochs."""
    seen: dict[tuple[int, ...], int] = {}
    return tuple(seen.setdefault(tuple(cause[epoch] for cause in causes), len(seen)) for epoch in range(epochs))
