"""Sites before any number is looked at: which components are decided together, and which jobs have to do with them.

All of it is kept in the shape of the tariff, since cases are reckoned again and again under other numbers.
May import: basics, and of this room `parts`, `sites`, `tariff`, `treatments`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

from diag.basics import Place
from diag.decision.parts import Key, Part, groups_of
from diag.decision.sites import Job
from diag.decision.tariff import Tariff
from diag.decision.treatments import places_renewed

__all__ = ["Frame", "frames_of", "relative"]


class Frame(Struct, frozen=True):
    """What no number changes of a site: its components, the jobs that have to do with them, and the cylinders of these
    with the local severities that decide the jobs' risks."""

    keys: tuple[Key, ...]
    jobs: tuple[Job, ...]
    own: frozenset[Job]
    relative: tuple[object, ...]  # the jobs as they are called at any cylinder that is alike
    cylinders: tuple[int, ...]
    severities: tuple[str, ...]
    renewing: tuple[tuple[int, ...], ...]  # of each job where among the components those stand that it renews


def frames_of(tariff: Tariff, parts: Mapping[Key, Part]) -> tuple[Frame, ...]:
    """The frames of all sites, worked out once for each way in which components stand in plates."""
    known, shape = tariff.held_by_shape, ("frames", tuple((key, part.spot) for key, part in parts.items()))
    if shape not in known:
        jobs = [job for job in tariff.jobs() if any(key in parts for key in tariff.renewed(job))]
        known[shape] = tuple(_frame(tariff, group, jobs) for group in groups_of(tariff, parts, jobs))
    found = known[shape]
    assert isinstance(found, tuple)
    return found


def _frame(tariff: Tariff, group: Sequence[Part], jobs: Sequence[Job]) -> Frame:
    keys, severities = tuple(part.key for part in group), tariff.knowledge.severities
    own = tuple(job for job in jobs if not tariff.renewed(job).isdisjoint(keys))
    named = {risk.by for job in own for risk in tariff.knowledge.repairs[job.repair].risks if risk.by is not None}
    return Frame(
        keys,
        own,
        frozenset(own),
        relative(keys[0][1], own),
        tuple(sorted({job.place for job in own if isinstance(job.place, int)})),
        tuple(name for name in sorted(named) if name in severities and severities[name].per == "cylinder"),
        places_renewed(tariff, keys, own),
    )


def relative(place: Place, jobs: Iterable[Job]) -> tuple[object, ...]:
    """Jobs as they are called at any cylinder that is alike."""
    return tuple((job.repair, job.place == place or job.place) for job in jobs)
