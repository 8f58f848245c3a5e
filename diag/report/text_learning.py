"""The pages of `diag learn` and `diag score-book`, and the reliability diagram. May import: blocks, figures, sheets,
words, `diag.pictures`."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import counted
from diag.pictures import ACCENT, INK, LINE, MUTED, Svg
from diag.report.blocks import Block, Column, Heading, Items, Sentence, Table
from diag.report.figures import per_cent
from diag.report.sheets_learning import LearnSheet, ReliabilityLine, ScoreLine, ScoreSheet
from diag.report.words_learning import LEARN, SCORE

THOUSAND, SMALLEST = 1000.0, 0.0001

__all__ = ["learn_blocks", "reliability_picture", "score_blocks"]


def learn_blocks(sheet: LearnSheet, least: float = 5.0) -> tuple[Block, ...]:
    """Every figure with before, after, interval and cases; what is assumed and what is not learned."""
    blocks: list[Block] = [Heading(LEARN["heading"].format(cases=counted(sheet.cases)), level=1)]
    if sheet.figures:
        columns = (
            Column(LEARN["figure"], grows=True, least=24),
            Column(LEARN["before"], right=True),
            Column(LEARN["after"], right=True),
            Column(LEARN["interval"], right=True),
            Column(LEARN["cases"], right=True),
        )
        rows = tuple(
            (
                each.path,
                _number(each.before, 4),
                _number(each.after, 4),
                f"{_number(each.low, 3)} to {_number(each.high, 3)}",
                f"{each.cases:.0f}",
            )
            for each in sheet.figures
        )
        blocks.append(Table(columns, rows))
    else:
        blocks.append(Sentence(LEARN["none"], strong=True))
    blocks.append(Sentence(LEARN["stayed"].format(count=counted(sheet.stayed), least=counted(least))))
    if sheet.left_out:
        blocks.append(Sentence(LEARN["left_out"].format(numbers=", ".join(map(str, sheet.left_out)))))
    blocks += [Items(LEARN["assumed"], sheet.assumed), Items(LEARN["not_learned"], sheet.not_learned)]
    blocks.append(Sentence(LEARN["written"].format(path=sheet.written) if sheet.written else LEARN["not_written"]))
    return tuple(blocks)


def _number(value: float, figures: int) -> str:
    """So many figures, never with an exponent: '600,000', '0.03', 'under 0.0001'."""
    if 0 < value < SMALLEST:
        return LEARN["under"].format(least=SMALLEST)
    rounded = float(f"{value:.{figures}g}")
    if abs(rounded) >= THOUSAND:
        return f"{rounded:,.0f}"
    return f"{rounded:.{figures}g}" if abs(rounded) >= SMALLEST else "0"


def score_blocks(sheet: ScoreSheet) -> tuple[Block, ...]:
    """Scores, the reliability diagram's points, ranks, cost, drift."""
    blocks: list[Block] = [Heading(SCORE["heading"], level=1)]
    if not sheet.scores:
        return (*blocks, Sentence(SCORE["none"], strong=True))
    first = sheet.scores[0]
    short = SCORE["short"].format(
        count=counted(first.predictions), cases=counted(sheet.cases), brier=first.brier, log=first.log_score
    )
    blocks += [Sentence(short, strong=True), Heading(SCORE["table"]), _scores(sheet.scores)]
    blocks += [Heading(SCORE["over_time"]), _scores(sheet.over_time)] if sheet.over_time else []
    blocks.append(Heading(SCORE["diagram"]))
    columns = (
        Column(SCORE["foretold"], right=True),
        Column(SCORE["came"], right=True),
        Column(SCORE["interval"], right=True),
        Column(SCORE["predictions"], right=True),
    )
    rows = tuple(
        (
            per_cent(each.forecast),
            per_cent(each.frequency),
            f"{per_cent(each.low)} to {per_cent(each.high)}",
            str(each.count),
        )
        for each in sheet.reliability
    )
    blocks.append(Table(columns, rows))
    ranks = tuple((name, str(count)) for name, count in sheet.ranks.items())
    if ranks:
        blocks += [
            Heading(SCORE["ranks"]),
            Table((Column(SCORE["rank"]), Column(SCORE["count"], right=True)), ranks),
        ]
    if sheet.spent:
        blocks += [Heading(SCORE["spent"]), _spent(sheet)]
    alarm = SCORE["no_alarm"].format(chance=per_cent(sheet.false_alarm))
    blocks.append(Sentence(alarm if sheet.alarm_at is None else SCORE["alarm"].format(number=sheet.alarm_at)))
    blocks += [Sentence(SCORE["picture"].format(path=sheet.picture))] if sheet.picture else []
    return (*blocks, Items(LEARN["assumed"], sheet.assumed))


def _scores(lines: Sequence[ScoreLine]) -> Table:
    columns = (
        Column(SCORE["what"], grows=True, least=12),
        Column(SCORE["predictions"], right=True),
        Column(SCORE["faults"], right=True),
        Column(SCORE["brier"], right=True),
        Column(SCORE["reliability"], right=True),
        Column(SCORE["resolution"], right=True),
        Column(SCORE["log"], right=True),
    )
    rows = tuple(
        (
            each.what,
            str(each.predictions),
            str(each.faults),
            f"{each.brier:.4f}",
            f"{each.reliability:.4f}",
            f"{each.resolution:.4f}",
            f"{each.log_score:.3f}",
        )
        for each in lines
    )
    return Table(columns, rows)


def _spent(sheet: ScoreSheet) -> Table:
    columns = (
        Column(SCORE["what"], grows=True, least=12),
        Column(SCORE["count"], right=True),
        Column(SCORE["cost"].format(currency=sheet.currency), right=True),
        Column(SCORE["minutes"], right=True),
        Column(SCORE["come_backs"], right=True),
    )
    rows = tuple(
        (
            SCORE["followed" if each.followed else "not_followed"],
            str(each.cases),
            "" if each.cost is None else f"{each.cost:,.0f}",
            "" if each.minutes is None else f"{each.minutes:.0f}",
            per_cent(each.come_backs),
        )
        for each in sheet.spent
    )
    return Table(columns, rows)


def reliability_picture(lines: Sequence[ReliabilityLine]) -> str:
    """The reliability diagram as SVG: points with their intervals, and the diagonal of perfect calibration."""
    size, margin = 360.0, 44.0
    svg = Svg("reliability", size, size, SCORE["title"], SCORE["described"])

    def x(value: float) -> float:
        return margin + value * (size - 2 * margin)

    def y(value: float) -> float:
        return size - margin - value * (size - 2 * margin)

    svg.line([(x(0), y(0)), (x(1), y(0))], LINE)
    svg.line([(x(0), y(0)), (x(0), y(1))], LINE)
    svg.line([(x(0), y(0)), (x(1), y(1))], MUTED, 1, "4 4")
    for tick in (0.0, 0.5, 1.0):
        svg.text(x(tick), y(0) + 17, per_cent(tick) if 0 < tick < 1 else f"{tick:.0%}", 12, "middle", MUTED)
        svg.text(x(0) - 6, y(tick) + 4, per_cent(tick) if 0 < tick < 1 else f"{tick:.0%}", 12, "end", MUTED)
    for each in lines:
        svg.line([(x(each.forecast), y(each.low)), (x(each.forecast), y(each.high))], ACCENT, 2)
        svg.circle(x(each.forecast), y(each.frequency), 4, INK)
    svg.text(x(0.5), size - 8, SCORE["foretold"], 13, "middle")
    svg.text(x(0), y(1) - 12, SCORE["came"], 13, "start")
    return svg.finished()
