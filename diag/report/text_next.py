"""The page of `diag next`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import counted
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.figures import at_place, duration, money, short_place
from diag.report.sheets_case import ReasonLine
from diag.report.sheets_checks import CheckLine, NextSheet
from diag.report.text_case import case_blocks
from diag.report.words import MAKERS_DATA_FIRST
from diag.report.words_checks import CHECKS

__all__ = [
    "by_reason",
    "check_blocks",
    "nearest_check",
    "nearest_sentence",
    "net_with_second",
    "next_blocks",
    "only_together",
    "stop_sentence",
    "worth_sentence",
]

SHOWN_AT_LEAST = 5
SHOWN_AT_MOST = 10
LEAST_ERROR = 0.5  # of money, below which an error is not worth a line
LEAST_WORTH = 0.5  # the same, of a worth


def next_blocks(
    sheet: NextSheet, everything: bool = False, detail: bool = False, head: bool = True
) -> tuple[Block, ...]:
    """The ranking, then the first check in full with its cautions; `detail`: every check shown in full."""
    shown = _shown(sheet, everything)
    blocks: list[Block] = [*(case_blocks(sheet.case) if head else ())]
    blocks += [Cautions(sheet.cautions)] if head else []
    blocks += [*_verdict(sheet), *_ranking(sheet, shown)]
    in_full = shown if detail else shown[: 0 if sheet.stop else 1]
    for line in in_full:
        blocks += check_blocks(line, sheet.currency, len(sheet.case.banks))
    if sheet.barred:
        blocks += [Heading(CHECKS["barred"]), Items("", by_reason(sheet.barred))]
    return (*blocks, Sentence(MAKERS_DATA_FIRST))


def check_blocks(line: CheckLine, currency: str, banks: int = 2) -> tuple[Block, ...]:
    """One check in full: cautions first, then what it needs and how it is done. `banks`: how many the engine has."""
    title = CHECKS["do"].format(check=at_place(line.name, line.place, banks))
    lists = (
        (CHECKS["needs"], line.needs),
        (CHECKS["opens"], line.opens),
        (CHECKS["tools"], line.tools),
        (CHECKS["answers"], line.answers),
        (CHECKS["parts"], line.parts),
        (CHECKS["may_go_wrong"], line.may_go_wrong),
    )
    blocks: list[Block] = [Heading(title), Cautions(line.cautions)]
    blocks += [Items(CHECKS["closes"], line.closes)] if line.closes else []
    blocks.append(Sentence(line.how))
    blocks += [Items(label, items) for label, items in lists if items]
    if line.first_by_rule:
        blocks.append(Sentence(CHECKS["first_by_rule"]))
    if only_together(line):
        blocks.append(Sentence(CHECKS["only_together"].format(other=line.follow, net=money(line.ahead, currency))))
    if line.along:
        blocks.append(Items(CHECKS["along"], line.along))
    if 2 * line.error >= LEAST_ERROR:
        blocks.append(Sentence(CHECKS["estimate"].format(error=money(2 * line.error, currency))))
    return tuple(blocks)


def _to_open(line: CheckLine) -> str:
    """What is opened for a check, and what is closed first, as it stands in the table."""
    opens = ", ".join(line.opens) or CHECKS["nothing_to_open"]
    return f"{opens}; {CHECKS['closed'].format(what=', '.join(line.closes))}" if line.closes else opens


def only_together(line: CheckLine) -> bool:
    """Whether a check is worth its cost with a second one after it, and not by itself."""
    return bool(line.follow) and line.net <= 0 < line.ahead


def net_with_second(sheet: NextSheet, line: CheckLine) -> float:
    """The net of a check with the best second one after it, where the order goes by that: where it is more than any
    check is worth alone; else 0."""
    alone = max((each.net for each in sheet.checks), default=0.0)
    return line.ahead if line.follow and line.ahead > max(alone, line.net, 0.0) else 0.0


def worth_sentence(line: CheckLine, currency: str) -> str:
    """What a check's answer is worth, and what doing it costs."""
    amounts = {"worth": line.worth, "cost": line.cost, "net": line.net}
    return CHECKS["why"].format(**{name: money(amount, currency) for name, amount in amounts.items()})


def stop_sentence(sheet: NextSheet) -> str:
    """That no check pays, and whether there is anything to repair, or what is done instead."""
    return CHECKS["repair_now" if sheet.repairs else sheet.way_out or "ready"]


def nearest_check(lines: Sequence[CheckLine]) -> CheckLine | None:
    """Which check comes nearest to being worth its cost, of a ranking in which none is; none where no answer is worth
    anything. A cheap check that tells nothing stands above dear ones that do, and is not near for that."""
    return next((line for line in lines if line.worth >= LEAST_WORTH), None)


def nearest_sentence(lines: Sequence[CheckLine], currency: str, banks: int = 2) -> str:
    """The same in words."""
    line = nearest_check(lines)
    if line is None:
        return CHECKS["nearest_tells_nothing"].format(currency=currency)
    worth, cost = money(line.worth, currency), money(line.cost, currency)
    return CHECKS["nearest"].format(check=at_place(line.name, line.place, banks), worth=worth, cost=cost)


def by_reason(reasons: Sequence[ReasonLine]) -> tuple[str, ...]:
    """What is barred, one text a reason: `only for piezo injectors: capacitance; insulation`."""
    found: dict[str, list[str]] = {}
    for reason in reasons:
        found.setdefault(reason.why, []).append(reason.what)
    return tuple(f"{why}: {'; '.join(whats)}" for why, whats in found.items())


def _shown(sheet: NextSheet, everything: bool) -> tuple[CheckLine, ...]:
    """The checks to show: those worth their cost and a few more, each check at its best place only."""
    if everything:
        return sheet.checks
    best_places: dict[str, CheckLine] = {}
    for line in sheet.checks:
        best_places.setdefault(line.check, line)
    worthwhile = sum(line.net > 0 for line in best_places.values())
    count = min(max(worthwhile, SHOWN_AT_LEAST), SHOWN_AT_MOST)
    return tuple(best_places.values())[:count]


def _verdict(sheet: NextSheet) -> tuple[Block, ...]:
    if not sheet.checks:
        return (Sentence(CHECKS["nothing_to_check"], strong=True),)
    if sheet.stop:
        return (Sentence(stop_sentence(sheet), strong=True),)
    first = sheet.checks[0]
    check = at_place(first.name, first.place, len(sheet.case.banks))
    return (Sentence(CHECKS["do"].format(check=check) + ".", strong=True),)


def _ranking(sheet: NextSheet, shown: tuple[CheckLine, ...]) -> tuple[Block, ...]:
    columns: tuple[Column, ...] = (
        Column(CHECKS["rank"], right=True),
        Column(CHECKS["check"], grows=True),
        Column(CHECKS["place"], speaks=True),
        Column(CHECKS["time"], right=True, speaks=True),
        Column(CHECKS["access"], grows=True, least=12),
        Column(CHECKS["worth"], right=True),
        Column(CHECKS["cost"], right=True),
        Column(CHECKS["net"], right=True),
    )
    rows = tuple(_row(rank, line, len(sheet.case.banks)) for rank, line in enumerate(shown, start=1))
    ahead = [net_with_second(sheet, line) for line in shown]
    second = [f"{amount:,.0f}" if amount >= LEAST_WORTH else "" for amount in ahead]
    if any(second):
        columns = (*columns, Column(CHECKS["second"], right=True))
        rows = tuple((*row, each) for row, each in zip(rows, second, strict=True))
    blocks: list[Block] = [Heading(CHECKS["heading"]), Table(columns, rows, lead=1)]
    if len(sheet.checks) > len(shown):
        blocks.append(Sentence(CHECKS["more"].format(count=counted(len(sheet.checks) - len(shown)))))
    means = CHECKS["worth_means"].format(currency=sheet.currency)
    blocks.append(Sentence(f"{means} {CHECKS['second_means']}" if any(second) else means))
    if sheet.laid_aside:
        blocks.append(Sentence(CHECKS["approximate"].format(count=counted(sheet.laid_aside))))
    blocks.append(Sentence(CHECKS["best_plan_now"].format(total=money(sheet.total_now, sheet.currency))))
    return tuple(blocks)


def _row(rank: int, line: CheckLine, banks: int) -> tuple[str, ...]:
    return (
        str(rank),
        line.name,
        short_place(line.place, banks),
        duration(line.minutes),
        _to_open(line),
        *(f"{amount:,.0f}" if abs(amount) >= 0.5 else "0" for amount in (line.worth, line.cost, line.net)),
    )
