"""The steps of a plan in the order in which one works: what is opened is opened once, worked at, and closed once.

Dismantling that a job needs together is one group; groups that share something are one. Within a group the order is
that of work_steps.yaml. May import: decision, knowledge_base, basics, and `exchanges` of this room.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from diag.basics import Place
from diag.decision import Job
from diag.knowledge_base import Engine, Knowledge, WorkStep, access_order
from diag.worksheet.exchanges import partners

__all__ = ["Section", "StepAt", "access_keys", "sections_of"]

Key = tuple[str, str]  # (kind of access, bank)


@dataclass(frozen=True)
class StepAt:
    """A step with the places where it is ticked off; no places: it is ticked once."""

    id: str
    step: WorkStep
    places: tuple[Place, ...] = ()


@dataclass(frozen=True)
class Section:
    """Steps that belong together. `opens`: what is opened at its beginning and closed at its end, outermost first.
    'standing' closes what stands open although no job of the plan needs it."""

    kind: Literal["before", "opened", "free", "standing", "codes", "after"]
    steps: tuple[StepAt, ...]
    opens: tuple[Key, ...] = ()
    jobs: tuple[Job, ...] = ()


def access_keys(knowledge: Knowledge, engine: Engine, job: Job) -> tuple[Key, ...]:
    """What must be open for a job, outermost first: on its bank; for work on the vehicle, on each bank that it takes
    time to open (on the first, where none is known to take any)."""
    keys: list[Key] = []
    for kind in access_order(knowledge, knowledge.repairs[job.repair].access):
        minutes = engine.access_minutes.get(kind, {})
        if isinstance(job.place, int):
            banks = [engine.bank_of(job.place)]
        elif job.place is not None:
            banks = [job.place]
        else:
            banks = [bank for bank in engine.banks if minutes.get(bank, 0.0) > 0] or [next(iter(engine.banks))]
        keys += [(kind, bank) for bank in banks]
    return tuple(keys)


def sections_of(
    knowledge: Knowledge, engine: Engine, jobs: Sequence[Job], open_already: Iterable[Key] = ()
) -> tuple[Section, ...]:
    """All the work in order: before, each opened group, what needs no opening, what stands open besides, the codes,
    after. `open_already`: all that stands open before it, with what that includes."""
    left = set(open_already) - {key for job in jobs for key in access_keys(knowledge, engine, job)}
    standing = _standing(knowledge, engine, left)
    after = Section("after", _after(knowledge, engine, jobs, left))
    if not jobs:
        return (*standing, after) if after.steps else standing
    groups = _groups(knowledge, engine, jobs)
    sections = [Section("before", _steps(knowledge, engine, jobs, ("before",)))]
    for keys, members in groups:
        steps = (
            *_opening(knowledge, engine, keys, members),
            *_steps(knowledge, engine, members, ("work",)),
            *_closing(knowledge, engine, keys, members),
        )
        sections.append(Section("opened", steps, keys, members))
    grouped = {job for _, members in groups for job in members}
    free = tuple(job for job in jobs if job not in grouped)
    sections.append(Section("free", _steps(knowledge, engine, free, ("work",)), (), free))
    sections += standing
    sections.append(Section("codes", _steps(knowledge, engine, jobs, ("codes",))))
    sections.append(after)
    return tuple(section for section in sections if section.steps)


def _standing(knowledge: Knowledge, engine: Engine, left: Collection[Key]) -> tuple[Section, ...]:
    """What stands open and is closed by no job: the engine is bled and started afterwards, and the vehicle goes out."""
    steps = []
    for bank in engine.banks:
        for kind in reversed(_outermost_first(knowledge)):
            if (kind, bank) in left:
                for name in knowledge.vocabulary.access[kind].close:
                    step = knowledge.steps[name]
                    alone = (bank,) if len(engine.banks) > 1 else ()
                    steps.append(StepAt(name, step, engine.banks[bank] if step.each == "place" else alone))
    return (Section("standing", tuple(steps)),) if steps else ()


def _after(knowledge: Knowledge, engine: Engine, jobs: Sequence[Job], left: Collection[Key]) -> tuple[StepAt, ...]:
    """What follows once all is closed: the jobs' own steps, and those of what is closed by no job."""
    own = {each.id: each for each in _steps(knowledge, engine, jobs, ("after",))}
    more = {name for kind, _ in left for name in knowledge.vocabulary.access[kind].then}
    every = {*own, *more}
    return tuple(
        own.get(name) or StepAt(name, step, ())
        for name, step in knowledge.steps.items()
        if name in every and step.unless not in every
    )


def _groups(
    knowledge: Knowledge, engine: Engine, jobs: Sequence[Job]
) -> tuple[tuple[tuple[Key, ...], tuple[Job, ...]], ...]:
    """Jobs that share anything that is opened, with all that is opened for them; by bank, then as the words stand. For
    an exchange both cylinders are open at a time."""
    groups: list[tuple[set[Key], list[Job]]] = []
    other = partners(knowledge, jobs)
    for job in jobs:
        needed = [job, other[job]] if job in other else [job]
        keys = {key for each in needed for key in access_keys(knowledge, engine, each)}
        if not keys:
            continue
        joined, members = keys, [job]
        for group in [each for each in groups if each[0] & keys]:
            joined, members = joined | group[0], [*group[1], *members]
            groups.remove(group)
        groups.append((joined, members))
    depth = _outermost_first(knowledge)
    banks = list(engine.banks)

    def place(key: Key) -> tuple[int, int]:
        return banks.index(key[1]), depth.index(key[0])

    ordered = [(tuple(sorted(keys, key=place)), tuple(job for job in jobs if job in set(m))) for keys, m in groups]
    return tuple(sorted(ordered, key=lambda group: min(place(key) for key in group[0])))


def _outermost_first(knowledge: Knowledge) -> list[str]:
    """All access kinds, each after those that it includes."""
    return list(dict.fromkeys(kind for name in knowledge.vocabulary.access for kind in access_order(knowledge, name)))


def _steps(knowledge: Knowledge, engine: Engine, jobs: Iterable[Job], stages: Sequence[str]) -> tuple[StepAt, ...]:
    """The jobs' own steps of these stages, each once with all its places."""
    places: dict[str, dict[Place, None]] = {}
    for job in jobs:
        for name in knowledge.repairs[job.repair].steps:
            step = knowledge.steps[name]
            if step.stage in stages:
                found = places.setdefault(name, {})
                if step.each == "place":
                    found.update(dict.fromkeys(_places(engine, job, step)))
    done = {name for job in jobs for name in knowledge.repairs[job.repair].steps}
    return tuple(
        StepAt(name, step, _in_order(engine, places[name]))
        for name, step in knowledge.steps.items()
        if name in places and step.unless not in done
    )


def _places(engine: Engine, job: Job, step: WorkStep) -> tuple[Place, ...]:
    """Where a job's step is ticked; codes and injectors are of cylinders, whatever the job is of."""
    if (step.stage == "codes" or step.removes_injector) and not isinstance(job.place, int):
        return engine.banks[job.place] if job.place is not None else engine.cylinders
    return (job.place,)


def _in_order(engine: Engine, places: Iterable[Place]) -> tuple[Place, ...]:
    known: list[Place] = [None, *engine.banks, *engine.cylinders]
    return tuple(sorted(places, key=known.index))


def _opening(knowledge: Knowledge, engine: Engine, keys: Sequence[Key], jobs: Sequence[Job]) -> tuple[StepAt, ...]:
    return tuple(
        _dismantling(knowledge, engine, name, key, jobs)
        for key in keys
        for name in knowledge.vocabulary.access[key[0]].open
    )


def _closing(knowledge: Knowledge, engine: Engine, keys: Sequence[Key], jobs: Sequence[Job]) -> tuple[StepAt, ...]:
    return tuple(
        _dismantling(knowledge, engine, name, key, jobs)
        for key in reversed(keys)
        for name in knowledge.vocabulary.access[key[0]].close
    )


def _dismantling(knowledge: Knowledge, engine: Engine, name: str, key: Key, jobs: Sequence[Job]) -> StepAt:
    """A step of opening or closing: ticked for the bank, or for each cylinder that is worked at behind it."""
    step = knowledge.steps[name]
    if step.each != "place":
        return StepAt(name, step, (key[1],) if len(engine.banks) > 1 else ())
    cylinders: dict[Place, None] = {}
    for job in jobs:
        if key in access_keys(knowledge, engine, job):
            own = (job.place,) if isinstance(job.place, int) else engine.banks[key[1]]
            cylinders.update(dict.fromkeys(each for each in own if each in engine.banks[key[1]]))
    return StepAt(name, step, _in_order(engine, cylinders))
