"""Asks the decision room about the same cases: the best plan, its options, and which check comes first.

Jobs are written `reseal 2`, `mend_bank_circuit A`, `replace_mounts`; `reseal every` stands for each cylinder's, `reseal
bank A` for each of that bank. A plan's following jobs (the code after a new injector) belong to it. May import: `diag`
through its doors, `tests.sense.asking`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import pytest

from diag.decision import Advice, Job, PlanOption, Reckoning, RepairDecision, decide_repair, rank_checks, reckon
from tests.sense.asking import ask, knowledge
from tests.sense.statements import PRACTICE

if TYPE_CHECKING:
    from _pytest.mark import ParameterSet

__all__ = [
    "Decision",
    "Judgement",
    "barred",
    "best_contains",
    "best_is",
    "best_stays_within",
    "buys_no_part",
    "cautions",
    "check_first",
    "checks_before",
    "crossed_decisions",
    "dearer",
    "follows_every",
    "jobs_of",
    "most_of_its_parts",
    "next_check_buys_no_part",
    "no_check_with",
    "not_barred",
    "repair_now",
    "repair_of",
]


@cache
def _reckoned(engine: str, text: str) -> Reckoning:
    asked = ask(engine, text)
    return reckon(knowledge(), asked.network.case, asked.network, asked.posterior)


@cache
def repair_of(engine: str, text: str) -> RepairDecision:
    """The repair decision about a case."""
    return decide_repair(_reckoned(engine, text))


@cache
def advice_on(engine: str, text: str) -> Advice:
    """The repair decision with the ranking of all checks, which takes longer."""
    decision = repair_of(engine, text)
    return Advice(decision, rank_checks(_reckoned(engine, text), decision))


def jobs_of(engine: str, words: Sequence[str]) -> frozenset[Job]:
    """The jobs meant by the words on one engine."""
    layout = knowledge().engines[engine]
    found: set[Job] = set()
    for word in words:
        repair, _, where = word.partition(" ")
        if where == "every":
            found |= {Job(repair, cylinder) for cylinder in layout.cylinders}
        elif where.startswith("bank "):
            found |= {Job(repair, cylinder) for cylinder in layout.banks[where.removeprefix("bank ")]}
        else:
            found.add(Job(repair, int(where) if where.isdecimal() else where or None))
    return frozenset(found)


def option_of(engine: str, decision: RepairDecision, words: Sequence[str]) -> PlanOption:
    """The option that does exactly these jobs, and what must follow them."""
    wanted = jobs_of(engine, words)
    for option in decision.options:
        if frozenset(option.jobs) == wanted:
            return option
    raise AssertionError(f"{engine}: no option does just {sorted(wanted, key=str)}")


Judgement = Callable[[str, str], str]  # engine and case text -> what is wrong, empty where nothing is


@dataclass(frozen=True)
class Decision:
    """A sentence of the trade about what to do; `judgements` hold of the decision on each engine."""

    says: str
    engines: tuple[str, ...]
    told: str
    judgements: tuple[Judgement, ...]
    source: str = PRACTICE

    def complaints(self, engine: str) -> list[str]:
        """What does not hold on this engine, with the numbers."""
        return [complaint for complaint in (judge(engine, self.told) for judge in self.judgements) if complaint]


def crossed_decisions(table: Sequence[Decision]) -> list[ParameterSet]:
    """Every decision with each of its engines, named by its sentence and the engine."""
    return [pytest.param(row, engine, id=f"{row.says} [{engine}]") for row in table for engine in row.engines]


def best_is(*words: str) -> Judgement:
    """The best plan does these jobs and no others."""

    def judge(engine: str, text: str) -> str:
        best = repair_of(engine, text).best
        return "" if frozenset(best.jobs) == jobs_of(engine, words) else f"the best plan is {_shown(best)}"

    return judge


def best_contains(*words: str) -> Judgement:
    """The best plan does at least these jobs."""

    def judge(engine: str, text: str) -> str:
        best = repair_of(engine, text).best
        return "" if jobs_of(engine, words) <= frozenset(best.jobs) else f"the best plan is {_shown(best)}"

    return judge


def best_stays_within(*words: str, more_than: int = 0) -> Judgement:
    """The best plan does none but these jobs, and more than so many of them."""

    def judge(engine: str, text: str) -> str:
        best = repair_of(engine, text).best
        fine = frozenset(best.jobs) <= jobs_of(engine, words) and len(best.jobs) > more_than
        return "" if fine else f"the best plan is {_shown(best)}"

    return judge


def dearer(words: Sequence[str], than: Sequence[str], *, times: float) -> Judgement:
    """Doing these jobs comes, all in all, so many times dearer than doing those."""

    def judge(engine: str, text: str) -> str:
        decision = repair_of(engine, text)
        one, other = option_of(engine, decision, words), option_of(engine, decision, than)
        if one.total.amount >= times * other.total.amount:
            return ""
        return f"{_shown(one)} is not {times:g} times {_shown(other)}"

    return judge


def barred(words: Sequence[str] = ()) -> Judgement:
    """These jobs alone (without words: 'nothing now') are barred, with a reason that is given."""
    return lambda engine, text: (
        "" if option_of(engine, repair_of(engine, text), words).barred else f"{list(words) or 'nothing'} is not barred"
    )


def not_barred(words: Sequence[str]) -> Judgement:
    """These jobs alone may be chosen."""
    return lambda engine, text: option_of(engine, repair_of(engine, text), words).barred


def cautions(*wanted: str) -> Judgement:
    """The danger that is present brings these cautions."""

    def judge(engine: str, text: str) -> str:
        said = repair_of(engine, text).danger.cautions
        return "" if set(wanted) <= set(said) else f"the cautions are {said}"

    return judge


def buys_no_part() -> Judgement:
    """The best plan needs no part."""

    def judge(engine: str, text: str) -> str:
        best = repair_of(engine, text).best
        return "" if best.breakdown.parts == 0 else f"{_shown(best)} buys parts for {best.breakdown.parts:.0f}"

    return judge


def most_of_its_parts(repair: str, *parts: str) -> Judgement:
    """Every option with this repair buys at least the named parts for each cylinder on which it is done."""

    def judge(engine: str, text: str) -> str:
        prices = knowledge().prices.parts
        each = sum(prices[part].price.value for part in parts)
        for option in repair_of(engine, text).options:
            times = sum(job.repair == repair for job in option.jobs)
            if option.breakdown.parts < times * each - 1e-9:
                return f"{_shown(option)} buys parts for only {option.breakdown.parts:.0f}, not {times} x {each:.0f}"
        return ""

    return judge


def follows_every(repair: str, follower: str) -> Judgement:
    """In every option the follower is done wherever the repair is."""

    def judge(engine: str, text: str) -> str:
        for option in repair_of(engine, text).options:
            places = {job.place for job in option.jobs if job.repair == repair}
            if not places <= {job.place for job in option.jobs if job.repair == follower}:
                return f"{_shown(option)} lacks {follower}"
        return ""

    return judge


def repair_now() -> Judgement:
    """No check is worth its cost any more."""

    def judge(engine: str, text: str) -> str:
        check = advice_on(engine, text).check
        return "" if check is None else f"{check.check} {check.place} is still worth {check.net.amount:.1f}"

    return judge


def check_first(*checks: str) -> Judgement:
    """A check comes before any repair: one of these, where some are named."""

    def judge(engine: str, text: str) -> str:
        check = advice_on(engine, text).check
        if check is None:
            return "no check is worth its cost"
        return "" if not checks or check.check in checks else f"the first check is {check.check} {check.place}"

    return judge


def next_check_buys_no_part() -> Judgement:
    """The check to do first, if any, needs no part; nor does any other that is worth its cost."""

    def judge(engine: str, text: str) -> str:
        for check in advice_on(engine, text).checks.checks:
            parts = sum(money.amount for name, money in check.amounts.items() if name == "parts")
            if check.net.amount > 0 and parts > 0:
                return f"{check.check} {check.place} is worth doing and buys parts for {parts:.0f}"
        return ""

    return judge


def no_check_with(*hazards: str) -> Judgement:
    """No check with one of these hazards is ranked; each is barred, and it is said why."""

    def judge(engine: str, text: str) -> str:
        ranking = advice_on(engine, text).checks
        risky = {name for name, check in knowledge().checks.items() if {*hazards} & {*check.hazards}}
        ranked = sorted(risky & {check.check for check in ranking.checks})
        unsaid = sorted(risky - {barred.check for barred in ranking.barred if barred.why})
        return f"ranked all the same: {ranked}; not told as barred: {unsaid}" if ranked or unsaid else ""

    return judge


def checks_before(first: Sequence[str], later: Sequence[str]) -> Judgement:
    """Each of the first checks stands, at its best place, above all places of each of the later ones."""

    def judge(engine: str, text: str) -> str:
        names = [check.check for check in advice_on(engine, text).checks.checks]
        for one in first:
            for other in later:
                if one not in names or (other in names and names.index(one) > names.index(other)):
                    return f"{one} does not stand above {other}"
        return ""

    return judge


def _shown(option: PlanOption) -> str:
    jobs = ", ".join(f"{job.repair} {job.place or ''}".strip() for job in option.jobs) or "nothing"
    return f"[{jobs}] at {option.total.amount:.0f}"
