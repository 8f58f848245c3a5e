"""The page of `diag log`. May import: blocks, figures, sheets, words."""

from __future__ import annotations

import math
from pathlib import Path

from diag.basics import Place, counted
from diag.report.blocks import Block, Cautions, Column, Heading, Items, Sentence, Table
from diag.report.figures import number, short_place
from diag.report.sheets_log import LogColumnLine, LogReadingLine, LogSheet, LogStatisticLine
from diag.report.words import MAKERS_DATA_FIRST
from diag.report.words_log import LOG, LOG_ADVICE, ZONE_NAMES

__all__ = ["log_blocks", "mean_and_error", "time_words"]


def log_blocks(sheet: LogSheet) -> tuple[Block, ...]:
    """Readings first, then what they rest on: stretches, means, rows, columns."""
    head = LOG["head"].format(
        engine=sheet.engine,
        rows=counted(sheet.rows),
        time=time_words(sheet.seconds),
        encoding=sheet.encoding,
        delimiter=sheet.delimiter,
        decimal=sheet.decimal,
    )
    blocks: list[Block] = [Heading(LOG["title"].format(file=Path(sheet.file).name), level=1), Sentence(head)]
    if sheet.recordings > 1:
        blocks.append(Sentence(LOG["recordings"].format(count=sheet.recordings)))
    blocks += [*_readings(sheet), *_stretches(sheet), *_statistics(sheet), *_fates(sheet), *_columns(sheet)]
    if sheet.advice:
        blocks += [Heading(LOG["advice"]), Cautions(sheet.cautions), Items("", sheet.advice)]
    return (*blocks, Sentence(MAKERS_DATA_FIRST))


def time_words(seconds: float) -> str:
    """`45 s`, `12 min 5 s`, `3 h 20 min`."""
    whole = round(seconds)
    if whole < 60:
        return f"{seconds:.1f} s" if whole < 10 else f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def mean_and_error(mean: float, error: float) -> tuple[str, str]:
    """A mean and its error with two figures of the error: ('2.03', '0.05')."""
    decimals = 2 if error <= 0 else min(max(1 - math.floor(math.log10(error)), 0), 3)
    return number(mean, decimals), number(error, decimals)


def _where(place: Place) -> str:
    return "" if place is None else short_place(place)


def _readings(sheet: LogSheet) -> tuple[Block, ...]:
    if not sheet.readings:
        return (Heading(LOG["readings"]), Sentence(LOG["no_reading"], strong=True))
    columns = (
        Column(LOG["reading"], grows=True, speaks=True),
        Column(LOG["place"], speaks=True),
        Column(LOG["value"], right=True),
        Column(LOG["error"], right=True),
        Column(LOG["case"], grows=True, least=10),
    )
    other = LOG_ADVICE["other_cylinders"]
    blocks: list[Block] = [
        Heading(LOG["readings"]),
        *([Sentence(other, strong=True)] if other in sheet.advice else []),
        Table(columns, tuple(_reading(line) for line in sheet.readings)),
        Sentence(LOG["error_means"]),
    ]
    if sheet.added_to is not None:
        blocks += [Sentence(LOG["added"].format(path=sheet.added_to), strong=True), Sentence(LOG["added_anew"])]
    elif any(line.taken for line in sheet.readings):
        blocks.append(Sentence(LOG["not_added"]))
    return tuple(blocks)


def _reading(line: LogReadingLine) -> tuple[str, ...]:
    error = mean_and_error(0.0, line.error)[1] if line.error is not None else ""
    taken = LOG["taken"] if line.taken else LOG["not_taken"].format(why=line.why_not)
    return (line.name, _where(line.place), line.text, error, taken)


def _stretches(sheet: LogSheet) -> tuple[Block, ...]:
    columns = (
        Column(LOG["stretch"], speaks=True),
        Column(LOG["count"], right=True),
        Column(LOG["time"], right=True),
        Column(LOG["rows"], right=True),
    )
    rows = tuple(
        (ZONE_NAMES[line.zone], f"{line.count:,}", time_words(line.seconds), f"{line.rows:,}")
        for line in sheet.stretches
    )
    return (Heading(LOG["stretches"]), Table(columns, rows))


def _statistics(sheet: LogSheet) -> tuple[Block, ...]:
    if not sheet.statistics:
        return ()
    columns = (
        Column(LOG["stretch"], grows=True, least=8, speaks=True),
        Column(LOG["channel"], grows=True, least=14, speaks=True),
        Column(LOG["mean"], right=True),
        Column(LOG["error"], right=True),
        Column(LOG["spread"], right=True),
        Column(LOG["unit"], speaks=True),
        Column(LOG["worth"], right=True),
    )
    blocks: list[Block] = [Heading(LOG["statistics"])]
    blocks.append(Table(columns, tuple(_statistic(line) for line in sheet.statistics), lead=1))
    blocks.append(Sentence(LOG["worth_means"]))
    if sheet.inactive_rows:
        blocks.append(Sentence(LOG["inactive"].format(rows=counted(sheet.inactive_rows))))
    return tuple(blocks)


def _statistic(line: LogStatisticLine) -> tuple[str, ...]:
    where = (ZONE_NAMES[line.zone], line.name if line.place is None else f"{line.name}, {short_place(line.place)}")
    if line.mean is None or line.error is None or line.spread is None or line.effective is None:
        return (*where, LOG["too_little"], "", "", line.unit, "")
    mean, error = mean_and_error(line.mean, line.error)
    spread = mean_and_error(0.0, line.spread)[1]
    return (*where, mean, error, spread, line.unit, f"{line.effective:,.0f}")


def _fates(sheet: LogSheet) -> tuple[Block, ...]:
    columns = (
        Column(LOG["what"], grows=True, least=14, speaks=True),
        Column(LOG["used"]),
        Column(LOG["rows"], right=True),
        Column(LOG["time"], right=True),
        Column(LOG["why"], grows=True, least=16),
    )
    rows = [
        (
            line.what,
            LOG["yes"] if line.used else LOG["no"],
            f"{line.rows:,}",
            time_words(line.seconds) if line.seconds else "",
            line.why,
        )
        for line in sheet.fates
    ]
    rows.append((LOG["total"], "", f"{sheet.rows:,}", time_words(sheet.seconds), ""))
    return (Heading(LOG["fates"]), Table(columns, tuple(rows), last_is_total=True))


def _columns(sheet: LogSheet) -> tuple[Block, ...]:
    columns = (
        Column(LOG["column"], right=True),
        Column(LOG["head_of_column"], grows=True, least=14, speaks=True),
        Column(LOG["is"], grows=True, least=14),
        Column(LOG["unit"], grows=True, least=8, speaks=True),
    )
    blocks: list[Block] = [
        Heading(LOG["columns"]),
        Table(columns, tuple(_column(line) for line in sheet.columns), lead=1),
    ]
    if any(not line.used for line in sheet.columns):
        blocks.append(Sentence(LOG["map_hint"]))
    return tuple(blocks)


def _column(line: LogColumnLine) -> tuple[str, ...]:
    said = [f"{line.name}, {short_place(line.place)}" if line.place is not None else line.name]
    if not line.used:
        said = [LOG["unused"].format(why=line.why)]
    said += [line.why] if line.used and line.why else []
    said += [LOG["odd"].format(count=line.odd)] if line.odd else []
    said += [LOG["implausible"].format(count=line.implausible)] if line.implausible else []
    unit = line.unit or ""
    return (str(line.position), line.head, "; ".join(said), LOG["assumed"].format(unit=unit) if line.assumed else unit)
