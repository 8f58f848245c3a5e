"""From the doubt of an advice to its sheet. May import: doubt, knowledge_base, the sheets, figures, words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from diag.basics import Place, counted
from diag.knowledge_base import Knowledge
from diag.report.figures import money, number, per_cent, place_words
from diag.report.from_case import case_line
from diag.report.sheets_doubt import CrossingLine, DoubtLine, DoubtSheet, MatterLine, TurnLine, WinnerLine
from diag.report.words_doubt import DOUBT, HOW_FAR, NUMBERS, PRICE_NUMBERS

if TYPE_CHECKING:  # results only pass through here
    from diag.doubt import BreakEven, Doubt, Mattering, Number, Turn

__all__ = ["doubt_line", "doubt_sentence", "doubt_sheet", "number_words", "value_words"]

Path = tuple[int | str, ...]
MONTHS = ("horizon_months", "driven_on_months")


def doubt_sheet(doubt: Doubt) -> DoubtSheet:
    """The sheet of `diag doubt`."""
    ground, standing = doubt.ground, doubt.standing
    best = ground.decision.best
    others = [each.total.amount for each in ground.decision.options if not each.barred and not each.best]
    return DoubtSheet(
        case=case_line(ground.case),
        cautions=tuple(ground.knowledge.cautions[name].text for name in ground.decision.danger.cautions),
        currency=best.total.currency,
        advice=best.title,
        lead=min(others) - best.total.amount if others else None,
        sentence=doubt_sentence(doubt),
        draws=standing.draws,
        seed=standing.seed,
        numbers=standing.numbers,
        judged=sum(each.judged for each in ground.numbers),
        stands=standing.share,
        stands_error=standing.error,
        regret=standing.regret,
        refused=standing.refused,
        others=tuple(WinnerLine(each.work.title, each.share) for each in standing.others),
        matters=tuple(_matter(ground.knowledge, each) for each in doubt.mattering),
        lines=tuple(doubt_line(ground.knowledge, each.number, each.fault, each.break_even) for each in doubt.lines),
    )


def doubt_sentence(doubt: Doubt) -> str:
    """One sentence for other pages: in how many of 100 draws the advice stands, and what would turn it first."""
    standing, knowledge = doubt.standing, doubt.ground.knowledge
    points = math.ceil(100 * standing.error)
    error = DOUBT["error"].format(points=points) if points else ""
    text = DOUBT["stands"].format(count=math.floor(100 * standing.share + 0.5), error=error)
    turning = [each for each in doubt.mattering if each.turn is not None]
    first = min(turning, key=lambda each: each.spreads, default=None)
    if first is None or first.turn is None:
        return text + DOUBT["nothing_turns"]
    mine = first.influence.number
    above = first.turn.value >= mine.value
    option = first.turn.above if above else first.turn.below
    words = DOUBT["turns_first" if above else "turns_first_below"]
    now, turn = (value_words(knowledge, mine, value) for value in (mine.value, first.turn.value))
    return text + words.format(
        number=number_words(knowledge, mine.path), now=now, turn=turn, option=f"'{option.title}'"
    )


def _matter(knowledge: Knowledge, each: Mattering) -> MatterLine:
    number = each.influence.number
    return MatterLine(
        line=doubt_line(knowledge, number, None, each.break_even),
        spread=each.influence.spread,
        swing=each.influence.swing,
        slope=each.slope,
        turn=_turn(knowledge, number, each.turn) if each.turn is not None else None,
        spreads=each.spreads if math.isfinite(each.spreads) else None,
        far=next(words for most, words in HOW_FAR if each.spreads <= most) if each.turn is not None else "",
    )


def doubt_line(
    knowledge: Knowledge, mine: Number | None, fault: tuple[str, Place] | None, found: BreakEven
) -> DoubtLine:
    """One number, or the chance of one fault, from end to end of its range."""
    return DoubtLine(
        id=".".join(str(step) for step in (mine.path if mine is not None else fault or ()) if step is not None),
        name=number_words(knowledge, mine.path) if mine is not None else _fault_words(knowledge, fault),
        now=found.now,
        now_words=value_words(knowledge, mine, found.now),
        low=found.low,
        low_words=value_words(knowledge, mine, found.low),
        high=found.high,
        high_words=value_words(knowledge, mine, found.high),
        judged=mine.judged if mine is not None else False,
        turns=tuple(_turn(knowledge, mine, turn) for turn in found.turns),
        crossings=tuple(
            CrossingLine(each.value, value_words(knowledge, mine, each.value), each.below.title, each.above.title)
            for each in found.crossings
        ),
        error=found.error,
        evaluations=found.evaluations,
    )


def _turn(knowledge: Knowledge, mine: Number | None, turn: Turn) -> TurnLine:
    words = value_words(knowledge, mine, turn.value)
    return TurnLine(turn.value, words, turn.below.title, turn.above.title, turn.barred)


def _fault_words(knowledge: Knowledge, fault: tuple[str, Place] | None) -> str:
    assert fault is not None, "a line is about a number or a fault"
    where = f", {place_words(fault[1])}" if fault[1] is not None else ""
    return NUMBERS["fault"].format(component=knowledge.components[fault[0]].name, where=where)


def value_words(knowledge: Knowledge, mine: Number | None, value: float) -> str:
    """A value of a number with its unit: `35 %`, `96 EUR`, `20 min`, `423,414 km`."""
    if mine is None:
        return per_cent(value)
    last, currency = str(mine.path[-1]), knowledge.prices.currency
    if mine.kind == "chance":
        return _chance_words(value)
    if last == "discount_per_year":
        return f"{100 * value:.1f} %"
    if last in ("km_per_year", "horizon_km"):
        return f"{number(value, 0)} km"
    if last in MONTHS:
        return f"{counted(number(value, 0) if value >= 10 else f'{value:.2g}'):month|months}"
    if last == "removal_odds_in_a_year":
        return f"{value:.3g} times"
    if mine.kind == "money":
        return money(value, currency)
    if mine.kind == "time":
        return f"{number(value, 0)} min"
    if mine.path[0] == "components" and last in ("scale", "unnoticed"):
        life = knowledge.components[str(mine.path[1])].life
        clock_km = life is None or life.clock == "distance"
        return f"{number(value, 0)} km" if clock_km else f"{number(value, 1)} years"
    return f"{value:.3g}"


def _chance_words(value: float) -> str:
    """A chance of the knowledge, with two digits of what it lies off its end: `1.5 %`, `0.072 %`, `98.5 %`."""
    from_end = 100.0 * min(value, 1.0 - value)
    if from_end >= 10.0 or from_end <= 0.0:
        return per_cent(value)
    return f"{round(100.0 * value, 1 - math.floor(math.log10(from_end))):.10g} %"


def number_words(knowledge: Knowledge, path: Path) -> str:
    """A number of the knowledge in words, by the path at which it stands."""
    words = [str(step) for step in path]
    match words[0]:
        case "components":
            return _component_words(knowledge, words)
        case "severities":
            return _severity_words(knowledge, words)
        case "findings":
            return _finding_words(knowledge, words)
        case "readings":
            form = "reading" if "spread" in words else "reading_other"
            level = _level(knowledge, knowledge.readings[words[1]].shows, words[3]) if form == "reading" else ""
            what = words[-1].replace("_", " ")
            return NUMBERS[form].format(what=what, reading=knowledge.readings[words[1]].name, level=level)
        case "repairs":
            return _repair_words(knowledge, path)
        case "prices":
            if words[1] == "parts":
                return NUMBERS["part" if words[3] == "price" else "part_wait"].format(
                    part=knowledge.prices.parts[words[2]].name
                )
            return PRICE_NUMBERS.get(words[-1], ".".join(words))
        case "answers":
            return NUMBERS["answer"].format(answer=knowledge.answers[words[1]].name)
        case _:
            return NUMBERS["other"].format(path=".".join(words))


def _component_words(knowledge: Knowledge, words: list[str]) -> str:
    known = knowledge.components[words[1]]
    kind = words[3] if words[2] == "life" else words[2]
    state = known.states[words[-1]].name if words[-1] in known.states else words[-1]
    cause = ""
    if kind in ("given", "scale_under"):
        at = words.index(kind)
        shared = knowledge.components[words[at + 1]]
        cause = f"{shared.name}: {shared.states[words[at + 2]].name}"
    if kind == "lapses":
        cause = known.lapses[words[3]].name
    form = NUMBERS.get(kind, NUMBERS["other"])
    return form.format(component=known.name, state=state, cause=cause, path=".".join(words))


def _severity_words(knowledge: Knowledge, words: list[str]) -> str:
    severity, level = knowledge.severities[words[1]], words[-1].replace("_", " ")
    if words[2] == "background":
        return NUMBERS["background"].format(severity=severity.name, level=level)
    if words[3] in knowledge.components:
        known = knowledge.components[words[3]]
        cause = f"{known.name} {known.states[words[4]].name}" if words[4] in known.states else known.name
    else:
        cause = f"{knowledge.severities[words[3]].name} ({words[4].replace('_', ' ')})"
    return NUMBERS["cause"].format(cause=cause, severity=severity.name, level=level)


def _finding_words(knowledge: Knowledge, words: list[str]) -> str:
    finding = knowledge.findings[words[1]]
    if words[2] == "lasting":
        return NUMBERS["lasting"].format(finding=finding.name)
    level = _level(knowledge, finding.shows, words[-1])
    if words[2] == "under":
        return NUMBERS["finding_under"].format(finding=finding.name, level=level, condition=words[3])
    return NUMBERS["finding"].format(finding=finding.name, level=level)


def _level(knowledge: Knowledge, shows: str, level: str) -> str:
    if shows in knowledge.components:
        known = knowledge.components[shows]
        return f"{known.name} {known.states[level].name}" if level in known.states else known.name
    return f"{knowledge.severities[shows].name}: {level.replace('_', ' ')}"


RISK_NUMBERS = {
    "chance": "risk",
    "minutes": "risk_minutes",
    "money": "risk_money",
    "years": "risk_years",
    "times": "risk_times",
}
"""The words of each number of a risk."""


def _repair_words(knowledge: Knowledge, path: Path) -> str:
    repair = knowledge.repairs[str(path[1])]
    if path[2] != "risks":
        return NUMBERS[str(path[2])].format(repair=repair.name)
    assert isinstance(path[3], int)
    risk = repair.risks[path[3]]
    kind = RISK_NUMBERS[str(path[5] if path[4] == "older" else path[4])]
    level = "" if risk.by is None or kind != "risk" else _level(knowledge, risk.by, str(path[5]))
    return NUMBERS["risk_at" if level else kind].format(risk=risk.name, repair=repair.name, level=level)
