"""The content of a work sheet: sections, parts and tools counted, the rack, the trim codes, what is read again.

May import: decision, casebook, knowledge_base, basics, and `choosing`, `exchanges`, `order` of this room.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from diag.basics import Place
from diag.casebook import Case, Measured
from diag.decision import Job, Tariff
from diag.knowledge_base import Knowledge, Repair, Risk
from diag.worksheet.choosing import Chosen
from diag.worksheet.exchanges import minutes_at, parts_at
from diag.worksheet.order import Section, sections_of

__all__ = ["Counted", "ReadAgain", "Work", "minutes_of", "work_of"]

INJECTOR, CODE = "injector", "trim_code"


@dataclass(frozen=True)
class Counted:
    """A part and how many of it the plan takes."""

    part: str
    count: int


@dataclass(frozen=True)
class ReadAgain:
    """A reading to take once more, at a place; `before`: what was measured there last, as usual where it was."""

    reading: str
    place: Place
    before: Measured | None


@dataclass(frozen=True)
class Work:
    """Everything that a work sheet holds, without words.

    `rack`: cylinders whose injector comes out. `codes`: cylinders whose trim code is looked after; `new_codes`: those
    among them that get another. `risks`: what can go wrong, with the places. `minutes`: access, work and finish.
    """

    chosen: Chosen
    sections: tuple[Section, ...]
    parts: tuple[Counted, ...]
    tools: tuple[str, ...]
    rack: tuple[int, ...]
    codes: tuple[int, ...]
    new_codes: tuple[int, ...]
    read_again: tuple[ReadAgain, ...]
    risks: tuple[tuple[Risk, tuple[Place, ...]], ...]
    minutes: float


def work_of(knowledge: Knowledge, case: Case, chosen: Chosen) -> Work:
    """The work of a chosen plan on a case's engine."""
    engine, jobs = case.engine, chosen.jobs
    sections = sections_of(knowledge, engine, jobs, Tariff(knowledge, engine).open_already(case.open_access))
    repairs = [knowledge.repairs[job.repair] for job in jobs]
    out = {
        place
        for section in sections
        for each in section.steps
        if each.step.removes_injector
        for place in each.places
        if isinstance(place, int)
    }
    written = {place for section in sections if section.kind == "codes" for at in section.steps for place in at.places}
    return Work(
        chosen=chosen,
        sections=sections,
        parts=parts_of(knowledge, jobs),
        tools=tuple(dict.fromkeys(tool for section in sections for at in section.steps for tool in at.step.tools)),
        rack=tuple(cylinder for cylinder in engine.cylinders if cylinder in out),
        codes=tuple(cylinder for cylinder in engine.cylinders if cylinder in out | written),
        new_codes=tuple(cylinder for cylinder in engine.cylinders if cylinder in written),
        read_again=_read_again(knowledge, case, repairs),
        risks=_risks(knowledge, jobs),
        minutes=minutes_of(Tariff(knowledge, engine), case, jobs),
    )


def parts_of(knowledge: Knowledge, jobs: Sequence[Job]) -> tuple[Counted, ...]:
    """All parts of some work, added up."""
    counts: Counter[str] = Counter()
    for parts in parts_at(knowledge, jobs).values():
        counts.update(parts)
    return tuple(Counted(part, count) for part, count in counts.items())


def minutes_of(tariff: Tariff, case: Case, jobs: Sequence[Job]) -> float:
    """Minutes of opening and closing, of the jobs, and of leak check and road test; what is open already left out."""
    opened = tariff.open_already(case.open_access)
    keys = frozenset().union(*(tariff.job_opens(job) for job in jobs)) - opened
    finish = tariff.knowledge.prices.finish_minutes.value if finishes(tariff.knowledge, jobs) else 0.0
    return sum(tariff.opening_minutes(key) for key in keys) + sum(minutes_at(tariff, jobs).values()) + finish


def finishes(knowledge: Knowledge, jobs: Sequence[Job]) -> bool:
    """Whether there is a leak check and road test at the end: after any mending, and whatever opens something."""
    repairs = [knowledge.repairs[job.repair] for job in jobs]
    return any(repair.kind == "mend" or repair.access != "none" for repair in repairs)


def _read_again(knowledge: Knowledge, case: Case, repairs: Sequence[Repair]) -> tuple[ReadAgain, ...]:
    told = [measured for epoch in case.epochs for measured in epoch.measured]
    usual = [measured for measured in told if measured.condition is None]  # as it is read again: warm, at idle
    last = {(measured.item, measured.place): measured for measured in (*told, *usual)}
    found = []
    for name in dict.fromkeys(name for repair in repairs for name in repair.read_again):
        shown = knowledge.readings[name].shows
        per = (knowledge.components.get(shown) or knowledge.severities[shown]).per
        places: Sequence[Place] = (None,)
        if per != "vehicle":
            places = case.engine.cylinders if per == "cylinder" else tuple(case.engine.banks)
        found += [ReadAgain(name, place, last.get((name, place))) for place in places]
    return tuple(found)


def _risks(knowledge: Knowledge, jobs: Sequence[Job]) -> tuple[tuple[Risk, tuple[Place, ...]], ...]:
    """What can go wrong, that of one name together; the first repair's figures stand for all."""
    found: dict[str, tuple[Risk, dict[Place, None]]] = {}
    for job in jobs:
        for risk in knowledge.repairs[job.repair].risks:
            found.setdefault(risk.name, (risk, {}))[1][job.place] = None
    return tuple((risk, tuple(places)) for risk, places in found.values())
