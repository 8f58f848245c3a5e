"""Which plan is worked: the best, another option by its printed name, or repairs put together by hand.

May import: decision, knowledge_base, basics, and
`exchanges` of this room.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diag.basics import Place, UsageError, did_you_mean, listed
from diag.decision import Job, PlanOption, RepairDecision, Tariff
from diag.knowledge_base import Engine, Knowledge, Scope
from diag.worksheet.exchanges import refuse_half

__all__ = ["Chosen", "chosen_by_hand", "chosen_option", "jobs_from"]

BEST = "best"
ALL = "all"  # `reseal@all`: at every place of it


@dataclass(frozen=True)
class Chosen:
    """The work that was chosen, with all that must follow it. `option`: what the decision says of it; none by hand, and
    then the title is left to those who have the words."""

    title: str
    jobs: tuple[Job, ...]
    option: PlanOption | None = None


def chosen_option(decision: RepairDecision, name: str | None = None) -> Chosen:
    """The best option, or the one of this printed name or id ('all_seals', 'best', as the customer's page has them).

    Raises UsageError for an unknown or a barred one."""
    wanted = name.strip().casefold() if name is not None else BEST
    titles = {option.title.casefold(): option for option in decision.options}
    ids = {option.name.replace(" ", "_"): option for option in decision.options}
    found = titles.get(wanted) or ids.get(wanted.replace(" ", "_"))
    if found is None and wanted == BEST:
        return _chosen(decision.best)
    if found is None:
        begun = [option for title, option in titles.items() if title.startswith(wanted)]
        if len(begun) != 1:
            known = [option.title for option in decision.options]
            raise UsageError(f"there is no option '{name}'; {did_you_mean(wanted, known, most=20)}")
        found = begun[0]
    return _chosen(found)


def _chosen(option: PlanOption) -> Chosen:
    if option.barred:
        raise UsageError(f"'{option.title}' is barred: {option.barred}; choose another ('diag repair' lists them)")
    return Chosen(option.title, option.jobs, option)


def chosen_by_hand(decision: RepairDecision, tariff: Tariff, jobs: Sequence[Job]) -> Chosen:
    """Work put together by hand, each job once, with what must follow; an option of the same work stands for it.

    A job that renews nothing which the others do not renew is left out: the seal of an injector that is replaced is
    not renewed twice. Raises UsageError where the work is a barred option, and for an exchange with one cylinder.
    """
    refuse_half(tariff, tuple(dict.fromkeys(jobs)))
    kept = list(dict.fromkeys(jobs))
    for job in dict.fromkeys(jobs):
        if tariff.knowledge.repairs[job.repair].kind == "exchange":
            continue  # it moves the injectors besides
        others = {each for other in kept if other != job for each in tariff.with_followers(other)}
        renewed = tariff.renewed(job)
        if renewed and renewed <= frozenset().union(*(tariff.renewed(each) for each in others)):
            kept.remove(job)
    every = tuple(dict.fromkeys(each for job in kept for each in tariff.with_followers(job)))
    same = next((option for option in decision.options if set(option.jobs) == set(every)), None)
    return _chosen(same) if same is not None else Chosen("", every)


def jobs_from(knowledge: Knowledge, engine: Engine, asked: Iterable[str]) -> tuple[Job, ...]:
    """Read `reseal@2`, `reseal@1,3`, `reseal@all`, `mend_bank_circuit@B` or `replace_filter`.

    Raises UsageError that names what is wrong and what would be right.
    """
    return tuple(dict.fromkeys(job for text in asked for job in _jobs(knowledge, engine, text)))


def places_for(engine: Engine, scope: Scope) -> tuple[Place, ...]:
    """All places of something that is done on a cylinder, a bank or the vehicle."""
    if scope == "cylinder":
        return engine.cylinders
    return tuple(engine.banks) if scope == "bank" else (None,)


def _jobs(knowledge: Knowledge, engine: Engine, text: str) -> tuple[Job, ...]:
    name, _, where = (part.strip() for part in text.partition("@"))
    repair = knowledge.repairs.get(name)
    if repair is None:
        hint = did_you_mean(name, knowledge.repairs) or "'diag know list repairs' lists them"
        raise UsageError(f"there is no repair '{name}'; {hint}")
    places = places_for(engine, repair.on)
    if repair.on == "vehicle":
        if where:
            raise UsageError(f"'{name}' is of the whole vehicle, not of '{where}'; write '{name}'")
        return (Job(name, None),)
    if where.casefold() == ALL or (not where and len(places) == 1):
        return tuple(Job(name, place) for place in places)
    known = {str(place).casefold(): place for place in places}
    if not where:
        example = f"{name}@{next(iter(places))}"
        raise UsageError(f"'{name}' is done on one {repair.on}: say which, such as {example}")
    found = []
    for part in where.split(","):
        if part.strip().casefold() not in known:
            allowed = listed([str(place) for place in places])
            raise UsageError(f"this engine has no {repair.on} '{part.strip()}'; it can be {allowed}, or {ALL}")
        found.append(Job(name, known[part.strip().casefold()]))
    return tuple(found)
