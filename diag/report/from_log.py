"""From what a log says to its sheet. May import: logs, knowledge_base, figures, sheets, words."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from diag.knowledge_base import Engine, Knowledge
from diag.logs import USED, Fate, LogColumnUse, LogReading, LogResult, LogStatistic, RowCount, Zone, rules_of
from diag.report.figures import places_words
from diag.report.sheets_log import (
    LogColumnLine,
    LogReadingLine,
    LogRowsLine,
    LogSheet,
    LogStatisticLine,
    LogStretchLine,
)
from diag.report.words_log import (
    DECIMALS,
    DELIMITERS,
    FATES,
    LOG,
    LOG_ADVICE,
    LOG_CHANNELS_MADE,
    WHY_COLUMN,
    WHY_READING,
)

__all__ = ["column_why", "log_sheet"]

_HAZARDS = {"engine running", "exhaust gas"}


def log_sheet(knowledge: Knowledge, engine: Engine, result: LogResult, added_to: Path | None = None) -> LogSheet:
    """The sheet of one log."""
    advice = _advice(knowledge, engine, result)
    return LogSheet(
        file=result.file,
        engine=engine.name,
        encoding=result.encoding,
        delimiter=DELIMITERS.get(result.delimiter, result.delimiter),
        decimal=DECIMALS[result.decimal],
        header_line=result.header_line,
        rows=result.rows,
        seconds=result.seconds,
        recordings=result.recordings,
        inactive_rows=result.inactive_rows,
        columns=tuple(_column(knowledge, result, use) for use in result.columns),
        fates=tuple(_fate(knowledge, count) for count in result.counts),
        stretches=tuple(
            LogStretchLine(each.zone.name.lower(), each.count, each.seconds, each.rows) for each in result.stretches
        ),
        statistics=tuple(_statistic(knowledge, each) for each in result.statistics),
        readings=tuple(_reading(knowledge, each) for each in result.readings),
        advice=advice,
        cautions=_cautions(knowledge) if advice else (),
        added_to=str(added_to) if added_to is not None else None,
    )


def column_why(use: LogColumnUse) -> str:
    """Why a column is not used, in words; empty where it is."""
    return WHY_COLUMN[use.why].format(detail=use.detail) if use.why else ""


def _column_words(result: LogResult, use: LogColumnUse) -> str:
    if use.position in result.empty | result.zero:
        return LOG["empty" if use.position in result.empty else "zero"]
    return column_why(use)


def _channel_name(knowledge: Knowledge, channel: str) -> str:
    known = knowledge.log_columns.get(channel)
    return known.name if known is not None else LOG_CHANNELS_MADE[channel]


def _column(knowledge: Knowledge, result: LogResult, use: LogColumnUse) -> LogColumnLine:
    return LogColumnLine(
        position=use.position,
        head=use.head,
        channel=use.channel,
        name=_channel_name(knowledge, use.channel) if use.channel is not None else "",
        place=use.place,
        unit=use.scale.unit if use.scale is not None else None,
        assumed=use.assumed,
        used=use.used,
        why=_column_words(result, use),
        odd=result.odd.get(use.position, 0),
        implausible=result.implausible.get(use.position, 0),
    )


def _fate(knowledge: Knowledge, count: RowCount) -> LogRowsLine:
    what, why = FATES[count.fate.name]
    values = dataclasses.asdict(rules_of(knowledge))
    used = count.fate in USED.values()
    return LogRowsLine(count.fate.name.lower(), what, why.format(**values), used, count.rows, count.seconds)


def _statistic(knowledge: Knowledge, each: LogStatistic) -> LogStatisticLine:
    found = each.estimate
    return LogStatisticLine(
        zone=each.zone.name.lower(),
        channel=each.channel.name,
        name=_channel_name(knowledge, each.channel.name),
        place=each.channel.place,
        unit=each.unit,
        rows=each.rows,
        mean=found.mean if found is not None else None,
        error=found.error if found is not None else None,
        spread=found.spread if found is not None else None,
        effective=found.effective if found is not None else None,
    )


def _reading(knowledge: Knowledge, each: LogReading) -> LogReadingLine:
    nothing = each.why_not == "too short" and each.error == 0.0
    return LogReadingLine(
        reading=each.item,
        name=knowledge.readings[each.item].name,
        place=each.place,
        value=None if nothing else each.value,
        error=None if nothing or each.censored else each.error,
        unit=each.unit,
        censored=each.censored,
        taken=not each.why_not,
        text="" if nothing else each.text,
        why_not=WHY_READING[each.why_not] if each.why_not else "",
    )


def _advice(knowledge: Knowledge, engine: Engine, result: LogResult) -> tuple[str, ...]:
    """What is missing that another log could hold."""
    rules = rules_of(knowledge)
    channels = {use.channel for use in result.columns if use.used and use.position not in result.empty | result.zero}
    fates = {count.fate for count in result.counts}
    idle = next(each.seconds for each in result.stretches if each.zone is Zone.IDLE)
    found = []
    time = next(use for use in result.columns if use.used and use.channel == "time")
    far_apart = result.seconds >= 0.9 * rules.bridge * (result.rows - 1) > 0 or 2 * result.recordings > result.rows > 2
    if time.assumed and time.scale is not None and far_apart:
        found.append(LOG_ADVICE["time_unit"].format(bridge=rules.bridge, unit=time.scale.unit))
    if "coolant" not in channels and Fate.WARMTH_UNKNOWN in fates:
        found.append(LOG_ADVICE["warm"])
    elif idle < rules.idle_least:
        found.append(
            LOG_ADVICE["idle"].format(seconds=rules.idle_settles + rules.idle_least, settles=rules.idle_settles)
        )
    found += _of_corrections(engine, result)
    found += [LOG_ADVICE["rail"]] if not {"rail_wanted", "rail_actual"} <= channels else []
    return tuple(found)


def _of_corrections(engine: Engine, result: LogResult) -> list[str]:
    """Whether the log has the correction of every cylinder, and of no other: else it may be one of another engine."""
    filled = [use for use in result.columns if use.used and use.position not in result.empty | result.zero]
    known = {use.place for use in filled if use.channel == "correction"}
    without = [cylinder for cylinder in engine.cylinders if cylinder not in known]
    found = [LOG_ADVICE["other_cylinders"]] if any(use.why == "no such cylinder" for use in result.columns) else []
    if not known:
        return [*found, LOG_ADVICE["corrections"]]
    return [*found, LOG_ADVICE["some_corrections"].format(places=places_words(without))] if without else found


def _cautions(knowledge: Knowledge) -> tuple[str, ...]:
    """What stands before running the engine for another log."""
    cautions = knowledge.cautions.values()
    return tuple(caution.text for caution in cautions if _HAZARDS & set(caution.hazards))
