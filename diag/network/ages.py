"""How old things are: the vehicle's distance and age, and what history says of each component.

Where distance or age was not told, a stated default stands and a note says so. May import: knowledge_base, casebook,
basics.
"""

from __future__ import annotations

from msgspec import Struct

from diag.basics import Place, counted
from diag.casebook import Case, Work
from diag.knowledge_base import Component, Knowledge
from diag.network.instances import Touch, Version, came_from, covers, lapses_of, strongest, touched

__all__ = ["DEFAULT_AGE_YEARS", "DEFAULT_DISTANCE_KM", "Origin", "Used", "age_notes", "origin_of", "vehicle_used",
           "years_before"]  # fmt: skip

DEFAULT_DISTANCE_KM = 150_000.0
DEFAULT_AGE_YEARS = 10.0


class Used(Struct, frozen=True):
    """How long something has been in use."""

    km: float
    years: float


class Origin(Struct, frozen=True):
    """Where a version of a component comes from.

    `used`: since it was renewed, or since the vehicle was new. `touches`: what work did to it so lately that it has
    not settled. `lapses`: what was left undone then. `works`: ids of all work told that touched it, or is one of its
    `only_after`.
    """

    used: Used
    touches: frozenset[Touch]
    works: frozenset[str]
    lapses: frozenset[str] = frozenset()


class _Day(Struct, frozen=True):
    """One date of the history: where something stood after it; each work, how long ago, and what it did there."""

    place: Place
    works: tuple[tuple[Used, Work, Touch], ...]


def vehicle_used(knowledge: Knowledge, case: Case) -> Used:
    """Distance and age of the vehicle; what is not told follows from the other, or is the stated default, and is no
    less than what history says was done so long ago."""
    km_per_year = knowledge.prices.customer.km_per_year.value
    km, years = case.distance_km, case.age_years
    if km is None:
        usual = DEFAULT_DISTANCE_KM if years is None else years * km_per_year
        km = max([usual, *(work.km_ago for work in case.history if work.km_ago is not None)])
    if years is None:
        driven = case.distance_km if case.distance_km is not None and km_per_year else None
        usual = DEFAULT_AGE_YEARS if driven is None else driven / km_per_year
        years = max([usual, *(work.months_ago / 12 for work in case.history if work.months_ago is not None)])
    return Used(km, years)


def age_notes(knowledge: Knowledge, case: Case) -> tuple[str, ...]:
    """What had to be assumed about distance, age and dates, in sentences for people."""
    used, notes = vehicle_used(knowledge, case), []
    if case.distance_km is None:
        notes.append(f"The distance is not known; {used.km:,.0f} km is assumed.")
    if case.age_years is None:
        notes.append(f"The age is not known; {counted(f'{used.years:.0f}'):year|years} is assumed.")
    undated = [work for work in case.history if work.km_ago is None and work.months_ago is None]
    for work in undated:
        name = knowledge.repairs[work.repair].name
        notes.append(f"When '{name}' was done is not known; half the vehicle's age ago is assumed.")
    return tuple(dict.fromkeys(notes))


def origin_of(knowledge: Knowledge, case: Case, component_id: str, place: Place, version: Version) -> Origin:
    """Where a version of a component comes from, out of history and of the work tried in the case.

    Work of `only_after` that makes no version of its own counts whenever it was done in the case.
    """
    if not case.history and not any(epoch.work for epoch in case.epochs):
        return _untouched(knowledge, case)
    component = knowledge.components[component_id]
    so_far = [*case.history, *(work for epoch in case.epochs[: version.since + 1] for work in epoch.work)]
    later = [work for epoch in case.epochs[version.since + 1 :] for work in epoch.work]

    days = _days(knowledge, case, component_id, component, place)

    def touches(work: Work) -> bool:
        return touched(work, component_id, component, place, knowledge.repairs[work.repair], case.engine) != "found"

    works = frozenset(work.repair for day in days for _, work, touch in day.works if touch != "found")
    works |= frozenset(work.repair for work in so_far[len(case.history) :] if touches(work))
    works |= frozenset(
        work.repair
        for work in (*so_far, *(work for work in later if not touches(work)))
        if work.repair in component.only_after and any(covers(at, place, case.engine) for at in work.places)
    )
    if version.touch != "found":
        return Origin(Used(0.0, 0.0), frozenset({version.touch}), works, frozenset(version.lapses))
    return _from_history(knowledge, case, component_id, component, days, works)


def years_before(knowledge: Knowledge, case: Case, component: str, place: Place) -> float:
    """Years that a component had been in use when the case began."""
    return origin_of(knowledge, case, component, place, Version(0)).used.years


_LATEST: list[tuple[Knowledge, Case, Origin]] = []


def _untouched(knowledge: Knowledge, case: Case) -> Origin:
    """The origin of everything where nothing was ever done; asked for with every component, and so remembered."""
    for known, asked, origin in tuple(_LATEST):
        if known is knowledge and asked is case:
            return origin
    found = Origin(vehicle_used(knowledge, case), frozenset(), frozenset())
    _LATEST[:] = [(knowledge, case, found)]
    return found


def _from_history(
    knowledge: Knowledge, case: Case, component_id: str, component: Component, days: list[_Day], works: frozenset[str]
) -> Origin:
    used, touches, lapses = vehicle_used(knowledge, case), set[Touch](), set[str]()
    for day in days:
        touch = strongest(what for _, _, what in day.works)
        if touch == "renewed":  # what was done to the old one before is gone with it
            used = min((ago for ago, _, what in day.works if what == "renewed"), key=lambda ago: ago.km)
            touches.clear()
            lapses.clear()
        if touch != "found" and 12 * day.works[0][0].years <= component.settles_months.value:
            touches.add(touch)
            for _, work, _ in day.works:
                known = knowledge.repairs[work.repair]
                lapses.update(lapses_of((work,), component_id, component, day.place, known, case.engine))
    return Origin(used, frozenset(touches), works, frozenset(lapses))


def _days(knowledge: Knowledge, case: Case, component_id: str, component: Component, place: Place) -> list[_Day]:
    """The dates of the history, the oldest first, along the way of what stands at `place` now: an exchange brought it
    there with all that had been done to it at the other cylinder."""
    dated: dict[float, list[tuple[Used, Work]]] = {}
    for work in case.history:
        ago = _ago(knowledge, case, work)
        dated.setdefault(ago.years, []).append((ago, work))
    found: list[_Day] = []
    for _, then in sorted(dated.items()):
        told = tuple(
            (ago, work, touched(work, component_id, component, place, knowledge.repairs[work.repair], case.engine))
            for ago, work in then
        )
        found.append(_Day(place, told))
        if strongest(what for _, _, what in told) != "renewed":
            place = came_from(knowledge, [work for _, work in then], component_id).get(place, place)
    return found[::-1]


def _ago(knowledge: Knowledge, case: Case, work: Work) -> Used:
    """How long ago work was done; a missing one of the two figures is in proportion to the vehicle's own distance and
    age, so that nothing on it is older than it is."""
    vehicle = vehicle_used(knowledge, case)
    if work.km_ago is None and work.months_ago is None:
        return Used(vehicle.km / 2, vehicle.years / 2)
    if work.months_ago is not None:
        years = work.months_ago / 12
        if work.km_ago is not None:
            return Used(work.km_ago, years)
        return Used(vehicle.km * years / vehicle.years if vehicle.years else vehicle.km, years)
    km = work.km_ago or 0.0
    return Used(km, vehicle.years * km / vehicle.km if vehicle.km else vehicle.years)
