"""From a ranking of checks to its sheet. May import: decision, casebook, knowledge_base, the sheets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal, NamedTuple

from diag.basics import Place
from diag.casebook import Case, closed_first
from diag.knowledge_base import Check, Engine, Knowledge
from diag.report.cautions import cautions_of
from diag.report.figures import place_words, places_words
from diag.report.from_case import case_line, condition_words
from diag.report.sheets_case import ReasonLine
from diag.report.sheets_checks import CheckLine, NextSheet
from diag.report.work_texts import access_words, danger_texts, risk_words

if TYPE_CHECKING:  # results only pass through here, and weighing alone needs no decision
    from diag.decision import Advice, PlanOption, RankedCheck

__all__ = ["closed_first_words", "next_sheet"]


class _Same(NamedTuple):
    """What the line of a check says wherever it is done."""

    name: str
    how: str
    needs: tuple[str, ...]
    tools: tuple[str, ...]
    answers: tuple[str, ...]
    cautions: tuple[str, ...]
    may_go_wrong: tuple[str, ...]
    parts: tuple[str, ...]


def next_sheet(knowledge: Knowledge, case: Case, advice: Advice) -> NextSheet:
    """The sheet of `diag next`."""
    ranking = advice.checks
    same = {each: _same(knowledge, each) for each in dict.fromkeys(ranked.check for ranked in ranking.checks)}
    return NextSheet(
        case=case_line(case),
        currency=ranking.total_now.currency,
        stop=advice.stop,
        repairs=bool(advice.repair.best.jobs) and not _way_out(knowledge, advice.repair.best),
        total_now=ranking.total_now.amount,
        checks=tuple(_check(knowledge, case.engine, ranked, same[ranked.check]) for ranked in ranking.checks),
        barred=tuple(ReasonLine(knowledge.checks[each.check].name, each.why) for each in ranking.barred),
        left_out=ranking.left_out,
        laid_aside=ranking.laid_aside,
        off=ranking.off,
        cautions=danger_texts(knowledge, advice.repair.danger.cautions),
        way_out=_way_out(knowledge, advice.repair.best),
    )


def _way_out(knowledge: Knowledge, plan: PlanOption) -> Literal["", "stand", "hand_on"]:
    """What a plan does in place of a repair; empty where it does nothing, or repairs."""
    if not plan.jobs or any(knowledge.repairs[job.repair].kind != "way out" for job in plan.jobs):
        return ""
    return "hand_on" if plan.invoice.amount > 0 else "stand"


def _same(knowledge: Knowledge, check_id: str) -> _Same:
    check = knowledge.checks[check_id]
    return _Same(
        name=check.name,
        how=check.how,
        needs=tuple(knowledge.vocabulary.preconditions.get(need, need) for need in check.needs),
        tools=check.tools,
        answers=_answers(knowledge, check),
        cautions=cautions_of(knowledge, check),
        may_go_wrong=risk_words(check),
        parts=tuple(f"{count} {knowledge.prices.parts[part].name}" for part, count in check.parts.items()),
    )


def _check(knowledge: Knowledge, engine: Engine, ranked: RankedCheck, same: _Same) -> CheckLine:
    return CheckLine(
        check=ranked.check,
        name=same.name,
        place=ranked.place,
        minutes=ranked.minutes,
        opens=_opened(knowledge, engine, ranked.opens),
        worth=ranked.worth.amount,
        cost=ranked.cost.amount,
        net=ranked.net.amount,
        error=ranked.error,
        at_least=ranked.at_least,
        first_by_rule=ranked.safety,
        how=same.how,
        needs=same.needs,
        tools=same.tools,
        answers=same.answers,
        cautions=same.cautions,
        may_go_wrong=same.may_go_wrong,
        parts=same.parts,
        ahead=ranked.ahead.amount,
        follow=_at(knowledge, engine, *ranked.follow) if ranked.follow is not None else "",
        along=tuple(_at(knowledge, engine, *each) for each in ranked.along),
        closes=_opened(knowledge, engine, ranked.closes),
    )


def _at(knowledge: Knowledge, engine: Engine, check: str, place: Place) -> str:
    name = knowledge.checks[check].name
    return name if place is None else f"{name}, {place_words(place, len(engine.banks))}"


def closed_first_words(knowledge: Knowledge, case: Case, check: Check) -> tuple[str, ...]:
    """What stands open and must be closed before a check, in words."""
    return _opened(knowledge, case.engine, closed_first(knowledge, check, case.open_access))


def _opened(knowledge: Knowledge, engine: Engine, opens: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """What is opened or closed, each kind of access once with its banks."""
    by_kind: dict[str, list[str]] = {}
    for kind, bank in opens:
        by_kind.setdefault(kind, []).append(bank)
    several = len(engine.banks) > 1
    return tuple(
        f"{access_words(knowledge, kind)}, {places_words(banks)}" if several else access_words(knowledge, kind)
        for kind, banks in by_kind.items()
    )


def _answers(knowledge: Knowledge, check: Check) -> tuple[str, ...]:
    lines = []
    for brought in check.yields:
        name = (knowledge.findings.get(brought.item) or knowledge.readings[brought.item]).name
        condition = condition_words(knowledge, brought.under)
        lines.append(f"{name}, {condition}" if condition else name)
    return tuple(lines)
