"""What the workshop's own repairs came to: how often what was fitted was bad (or not right) from new, and how long they
took. Counts of its own, apart from the cases' likelihood, so that nothing is used twice.

May import: `diag.basics`, `diag.casebook`, `diag.knowledge_base`, the records of `diag.store`, what work takes by
`diag.worksheet`, `diag.decision` and `diag.network`, numpy, and figures, lessons.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

from diag.basics import Place
from diag.casebook import Case
from diag.decision import WEARING, Job, Tariff, tariff_of
from diag.knowledge_base import Figure, Knowledge, Risk
from diag.learning.figures import LearnedFigure
from diag.learning.lessons import Lesson, Trust
from diag.learning.scores import beta_interval
from diag.network import years_before
from diag.worksheet import minutes_of

__all__ = ["repair_minutes", "repair_success", "slips_of_time"]

NORMAL_90 = 1.6448536269514722
LEAST_MINUTES = 1.0
SLIP = 8.0  # times what the same work usually takes: beyond, a slip of the pen (hours for minutes, a nought too many)


def repair_success(knowledge: Knowledge, lessons: Sequence[Lesson], trust: Trust, least: float) -> list[LearnedFigure]:
    """The `fresh` chances: every component that was renewed at a closed case is a trial; it failed where a case came
    back from it within the time for which these chances stand (`settles_months`), in which that component was found at
    fault at that place, counted with the trust in what was said.

    Only what was watched for all of that time is a trial, whether it came back or not: of what was renewed lately just
    the failures are known yet, and counting them alone would make every repair of a young book a bad one.
    Beta counts: (a p0 + failures) / (a + trials). A customer who went elsewhere is taken for content: say so.
    """
    newest = max((lesson.closed_at for lesson in lessons), default="")
    by_number = {lesson.number: lesson for lesson in lessons}
    trials: dict[str, float] = {}
    failures: dict[tuple[str, str], float] = {}
    for lesson in lessons:
        later = by_number.get(lesson.came_back) if lesson.came_back is not None else None
        if lesson.came_back is not None and later is None:
            continue  # it came back, and that case is not closed yet
        for component, place in _renewed(knowledge, lesson):
            months = knowledge.components[component].settles_months.value
            if _months(lesson.closed_at, newest) < months:
                continue  # it has not been watched for long enough
            trials[component] = trials.get(component, 0.0) + 1.0
            in_time = later is not None and _within(months, lesson.closed_at, later.closed_at)
            for found in later.outcome.found if later is not None and in_time else ():
                if (found.component, found.place) == (component, place):
                    key = (component, found.state)
                    failures[key] = failures.get(key, 0.0) + trust.of(found)
    made = []
    for component, known in knowledge.components.items():
        for state, figure in known.fresh.items():
            count, failed = trials.get(component, 0.0), failures.get((component, state), 0.0)
            if count >= least and 0 < figure.value < 1:
                made.append(
                    _beta(("components", component, "fresh", state), figure, known.basis.strength, failed, count)
                )
    return made


def _months(since: str, until: str) -> float:
    """Months between two times (ISO 8601); endless where one is not known."""
    if not since or not until:
        return math.inf
    return (datetime.fromisoformat(until) - datetime.fromisoformat(since)).days / 30.44


def _within(months: float, since: str, until: str) -> bool:
    """Whether no more months lie between two times; also where one of them is not known."""
    return not (since and until) or _months(since, until) <= months


def _renewed(knowledge: Knowledge, lesson: Lesson) -> Iterable[tuple[str, Place]]:
    keys = [
        (component, fitted.place)
        for fitted in lesson.outcome.fitted
        if fitted.item in knowledge.repairs
        for component in knowledge.repairs[fitted.item].renews
    ]
    return dict.fromkeys(keys)


def _beta(path: tuple[str, ...], figure: Figure, strength: float, failed: float, count: float) -> LearnedFigure:
    strength = figure.basis.strength if figure.basis is not None else strength
    total = strength + count
    after = (strength * figure.value + failed) / total
    low, high = beta_interval(total * after, total * (1.0 - after))
    return LearnedFigure(path, "fresh", figure.value, after, low, high, count, total)


def repair_minutes(knowledge: Knowledge, lessons: Sequence[Lesson], least: float) -> list[LearnedFigure]:
    """Minutes of a repair, from cases in which it alone was done, once, and the time was told.

    The time told is taken for that of the work, as an estimate has it: opening with all that this includes, the repair,
    what must follow it, finishing, and what went wrong on the way; not of the checks before. The mean of what is left
    beside all else, with the minutes of the knowledge as `strength` cases. What goes wrong stands on an estimate by
    itself and nobody tells how long it took: its average is taken off, so that it is not charged twice. Slips of the
    pen are left out (`slips_of_time`): a mean of minutes would follow a single one anywhere.
    """
    made = []
    for name, told in _told_minutes(knowledge, lessons).items():
        minutes = [each.told - each.beside for each in told if not _is_slip(each, told)]
        figure, count = knowledge.repairs[name].minutes, len(minutes)
        if count < max(least, 2) or figure.value <= 0:
            continue
        basis = figure.basis or knowledge.repairs[name].basis
        total, mean = basis.strength + count, math.fsum(minutes) / count
        after = max((basis.strength * figure.value + math.fsum(minutes)) / total, LEAST_MINUTES)
        spread = math.fsum((each - mean) ** 2 for each in minutes) / (count - 1)
        half = NORMAL_90 * math.sqrt(spread / total)
        path = ("repairs", name, "minutes")
        made.append(
            LearnedFigure(path, "minutes", figure.value, after, max(after - half, 0.0), after + half, count, total)
        )
    return made


def slips_of_time(knowledge: Knowledge, lessons: Sequence[Lesson]) -> tuple[int, ...]:
    """The numbers of cases whose time is out of all proportion (`SLIP`) to the middle one of those told for the same
    work, the one that is reckoned counted among them; but what takes no longer than if all went wrong is no slip."""
    of_work = _told_minutes(knowledge, lessons).values()
    return tuple(sorted(each.number for told in of_work for each in told if _is_slip(each, told)))


@dataclass(frozen=True)
class _Minutes:
    """Of one case: the time told, what of it is no work of the repair's own, what was reckoned for the whole, and what
    it comes to where all goes wrong that can."""

    number: int
    told: float
    beside: float
    reckoned: float
    worst: float


def _is_slip(one: _Minutes, told: Sequence[_Minutes]) -> bool:
    usual = median([one.reckoned, *(each.told for each in told)])
    return not usual / SLIP <= one.told <= max(usual * SLIP, one.worst)


def _told_minutes(knowledge: Knowledge, lessons: Sequence[Lesson]) -> dict[str, list[_Minutes]]:
    """By repair: the cases in which it alone was done, once, and the time was told."""
    spent: dict[str, list[_Minutes]] = {}
    for lesson in lessons:
        works = [each for each in lesson.outcome.fitted if each.item in knowledge.repairs]
        if len(works) != 1 or works[0].count != 1 or lesson.outcome.minutes is None:
            continue
        tariff = _tariff(knowledge, lesson.case)
        jobs = tariff.with_followers(Job(works[0].item, works[0].place))
        reckoned = minutes_of(tariff, lesson.case, jobs)
        astray = sum(_minutes_astray(tariff, lesson, job) for job in jobs)
        worst = sum(risk.minutes.value for job in jobs for risk in knowledge.repairs[job.repair].risks)
        beside = reckoned - knowledge.repairs[works[0].item].minutes.value + astray
        spent.setdefault(works[0].item, []).append(
            _Minutes(lesson.number, lesson.outcome.minutes, beside, reckoned + astray, reckoned + worst)
        )
    return spent


def _tariff(knowledge: Knowledge, case: Case) -> Tariff:
    """The tariff with the years since each injector was last out, when the case began."""
    if WEARING not in knowledge.components:
        return tariff_of(knowledge, case.engine)
    years: dict[Place, float] = {
        cylinder: years_before(knowledge, case, WEARING, cylinder) for cylinder in case.engine.cylinders
    }
    return tariff_of(knowledge, case.engine, years)


def _minutes_astray(tariff: Tariff, lesson: Lesson, job: Job) -> float:
    """Minutes for what goes wrong on the way, on average over cases in which the same was found."""
    return sum(
        risk.minutes.value * _chance_of(tariff, lesson, risk, job.place)
        for risk in tariff.knowledge.repairs[job.repair].risks
    )


def _chance_of(tariff: Tariff, lesson: Lesson, risk: Risk, place: Place) -> float:
    """As the decision has it, the severity that it hangs on being what the faults found there make of it."""
    chances = tariff.risk_chances(risk, place)
    severity = tariff.knowledge.severities.get(risk.by) if risk.by is not None else None
    if severity is None or severity.per != "cylinder" or not isinstance(place, int):
        return max(chances.values())
    causes = [severity.background]
    for found in lesson.outcome.found:
        if found.place == place:
            causes.append(severity.causes.get(found.component, {}).get(found.state, {}))
    at_most = [
        math.prod(1.0 - math.fsum(by_level[above].value for above in severity.levels[level + 1 :] if above in by_level)
                  for by_level in causes)
        for level in range(len(severity.levels))
    ]  # fmt: skip
    below = 0.0
    chance = 0.0
    for level, reached in zip(severity.levels, at_most, strict=True):
        chance += (reached - below) * chances.get(level, 0.0)
        below = reached
    return chance
