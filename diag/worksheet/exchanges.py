"""Exchanges: work between two cylinders, which stands as a job at each of them and is charged once.

May import: decision, knowledge_base, basics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.basics import UsageError
from diag.decision import Job, Tariff
from diag.knowledge_base import Knowledge

__all__ = ["charges_at", "minutes_at", "partners", "parts_at", "refuse_half"]


def partners(knowledge: Knowledge, jobs: Sequence[Job]) -> dict[Job, Job]:
    """For each job of an exchange that at the other cylinder, first and second alike."""
    waiting: dict[str, Job] = {}
    found: dict[Job, Job] = {}
    for job in jobs:
        if knowledge.repairs[job.repair].kind != "exchange":
            continue
        first = waiting.pop(job.repair, None)
        if first is None:
            waiting[job.repair] = job
        else:
            found |= {first: job, job: first}
    return found


def refuse_half(tariff: Tariff, jobs: Sequence[Job]) -> None:
    """Raise UsageError for an exchange of which only one cylinder is named."""
    known = partners(tariff.knowledge, jobs)
    for job in jobs:
        if tariff.knowledge.repairs[job.repair].kind == "exchange" and job not in known:
            other = next((each for each in tariff.engine.cylinders if each != job.place), None)
            hint = "this engine has only one" if other is None else f"write --repair {job.repair}@{job.place},{other}"
            message = f"'{job.repair}' is done between two cylinders, and cylinder {job.place} stands alone; {hint}"
            raise UsageError(message)


def _seconds(knowledge: Knowledge, jobs: Sequence[Job]) -> frozenset[Job]:
    """The second job of each exchange."""
    known, order = partners(knowledge, jobs), list(jobs)
    return frozenset(job for job, other in known.items() if order.index(other) < order.index(job))


def parts_at(knowledge: Knowledge, jobs: Sequence[Job]) -> dict[Job, Mapping[str, int]]:
    """The parts of each job; those of an exchange are shared between its two cylinders."""
    both, second = partners(knowledge, jobs), _seconds(knowledge, jobs)
    found: dict[Job, Mapping[str, int]] = {}
    for job in jobs:
        parts = knowledge.repairs[job.repair].parts
        if job in both:
            parts = {part: count // 2 if job in second else count - count // 2 for part, count in parts.items()}
        found[job] = parts
    return found


def minutes_at(tariff: Tariff, jobs: Sequence[Job]) -> dict[Job, float]:
    """Minutes of each job once access is open: of an exchange at the first cylinder, at the second its awkward ones."""
    second = _seconds(tariff.knowledge, jobs)
    own = tariff.knowledge.repairs
    return {
        job: tariff.job_minutes(job) - (own[job.repair].minutes.value if job in second else 0.0)
        for job in dict.fromkeys(jobs)
    }


def charges_at(knowledge: Knowledge, jobs: Sequence[Job]) -> tuple[Job, ...]:
    """The jobs whose outside charges are paid: of an exchange the first alone."""
    second = _seconds(knowledge, jobs)
    return tuple(job for job in jobs if job not in second)
