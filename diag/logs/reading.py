"""Reads a log from its file to what it says: one pass, portion by portion.

May import: `diag.basics`, `diag.knowledge_base`, and within the room.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from diag.basics import LogError, Problem
from diag.knowledge_base import Engine, Knowledge
from diag.logs.clock import Clock
from diag.logs.columns import LogColumnUse, is_known_head, match_columns
from diag.logs.fates import USED, Fate, Zone
from diag.logs.header import Header, find_header
from diag.logs.mapping import ColumnMap
from diag.logs.readings import readings_of, statistics_of
from diag.logs.result import LogResult, RowCount, Stretches
from diag.logs.rows import Channel, Shaper
from diag.logs.rules import rules_of
from diag.logs.sorting import Sorter
from diag.logs.table import LogTable
from diag.logs.text import LogText, open_log
from diag.logs.trace import Trace

__all__ = ["OpenedLog", "look_at_log", "read_log"]

_DRAWN = ("speed", "rail_wanted", "rail_actual", "coolant", "correction")
_UNFIT = {"unit of another kind": "a unit that is none of it"}
_NEEDED = {"time": "time [s]", "speed": "engine speed [rpm]"}


@dataclass(frozen=True)
class OpenedLog:
    """A log of which the head was read: its text, its header, and what each column is."""

    text: LogText
    header: Header
    columns: tuple[LogColumnUse, ...]


def look_at_log(path: Path | str, knowledge: Knowledge, engine: Engine, mapping: ColumnMap | None = None) -> OpenedLog:
    """Read the head of a log and say what each column is. Raises LogError where that cannot be told."""
    mapping = mapping if mapping is not None else ColumnMap()
    text = open_log(path, mapping.encoding)

    def knows(head: str) -> bool:
        return is_known_head(knowledge, mapping, head)

    header = find_header(text, knows, mapping.delimiter, mapping.decimal)
    return OpenedLog(text, header, match_columns(knowledge, engine, header, mapping))


def read_log(path: Path | str, knowledge: Knowledge, engine: Engine, mapping: ColumnMap | None = None) -> LogResult:
    """Everything that a log says about an engine.

    Memory does not grow with the file: portions are read, sorted and forgotten. Raises LogError where the log cannot
    be read, or has no time or no speed.
    """
    mapping = mapping if mapping is not None else ColumnMap()
    opened = look_at_log(path, knowledge, engine, mapping)
    _refuse_without(opened, knowledge)
    rules = rules_of(knowledge)
    table = LogTable(opened.text, opened.header, opened.columns)
    clock = Clock(rules.restart, rules.pause)
    shaper = Shaper(opened.columns, knowledge.log_columns, rules)
    names = {use.channel for use in opened.columns if use.used}
    trace = Trace(
        [Channel(str(use.channel), use.place) for use in opened.columns if use.used and use.channel in _DRAWN]
    )
    sorter = Sorter(rules, trace, "coolant" in names, "load" in names, mapping.warm)
    for portion in table.portions():
        timed = clock.take(portion.times)
        for fate, mask in (
            (Fate.NO_TIME, timed.no_time),
            (Fate.DUPLICATE_TIME, timed.duplicate),
            (Fate.BACKWARD_TIME, timed.backward),
        ):
            sorter.counts[fate] += int(mask.sum())
        sorter.add(shaper.shape(timed, portion.values))
    sorter.finish()
    sorter.counts[Fate.REPEATED_HEADER] += table.repeated
    sorter.counts[Fate.RAGGED] += table.ragged
    _refuse_unreadable(opened, table, sorter, rules.unreadable_most)
    return _result(opened, table, clock, shaper, sorter, knowledge)


def _refuse_without(opened: OpenedLog, knowledge: Knowledge) -> None:
    """A log needs a time and an engine speed, or no stretch can be found."""
    problems = []
    for channel, example in _NEEDED.items():
        if any(use.used and use.channel == channel for use in opened.columns):
            continue
        file, line = str(opened.text.path), opened.header.line
        claimed = [use for use in opened.columns if use.channel == channel]
        message = f"no column is known to be the {knowledge.log_columns[channel].name}"
        if claimed and claimed[0].why == "claimed twice":
            message += f": columns {claimed[0].position} and {claimed[0].detail} both look like it"
        elif claimed:
            why = _UNFIT.get(claimed[0].why, claimed[0].why)
            message += f": '{claimed[0].head[:40]}' has {why} ({claimed[0].detail})"
        heads = ", ".join(f"'{name[:30]}'" for name in opened.header.names[:8])
        hint = f"the columns are {heads}; call it '{example}'; or say which it is with --columns or --ask"
        problems.append(Problem(file, line, 1, message, hint))
    if problems:
        raise LogError(problems)


def _refuse_unreadable(opened: OpenedLog, table: LogTable, sorter: Sorter, most: float) -> None:
    counts, file = sorter.counts, str(opened.text.path)
    rows = int(counts.sum())
    bad = int(counts[Fate.RAGGED] + counts[Fate.NO_TIME])
    if rows == 0:
        hint = "export the log with its rows"
        raise LogError([Problem(file, opened.header.line, 1, "no row stands below the names of the columns", hint)])
    if 100.0 * bad > most * rows:
        first = table.first_bad or Problem(file, opened.header.data_after + 1, 1, "this row cannot be read")
        message = f"{first.message}; {bad:,} of {rows:,} rows cannot be read, this is the first"
        raise LogError([Problem(first.file, first.line, first.column, message, first.hint)])
    if int(counts[Fate.NO_SPEED]) + bad == rows:
        speed = next(use for use in opened.columns if use.used and use.channel == "speed")
        odd = table.first_odd.get(speed.position)
        if odd is not None:
            raise LogError([Problem(odd.file, odd.line, odd.column, odd.message, "write plain numbers such as 812.5")])


def _result(
    opened: OpenedLog, table: LogTable, clock: Clock, shaper: Shaper, sorter: Sorter, knowledge: Knowledge
) -> LogResult:
    statistics = statistics_of(sorter, knowledge)
    counts = [
        RowCount(fate, int(sorter.counts[fate]), float(sorter.seconds[fate])) for fate in Fate if sorter.counts[fate]
    ]
    stretches = [
        Stretches(zone, sorter.stretches[zone], sorter.used_seconds(zone), int(sorter.counts[USED[zone]]))
        for zone in Zone
    ]
    form = opened.header.form
    return LogResult(
        file=str(opened.text.path),
        encoding=opened.text.encoding,
        delimiter=form.delimiter,
        decimal=form.decimal,
        header_line=opened.header.line,
        rows=int(np.sum(sorter.counts)),
        seconds=float(np.sum(sorter.seconds)),
        recordings=clock.recordings + 1,
        columns=opened.columns,
        counts=tuple(counts),
        stretches=tuple(stretches),
        statistics=statistics,
        readings=readings_of(sorter, statistics, knowledge),
        inactive_rows=shaper.inactive_rows,
        odd=dict(table.odd),
        implausible=dict(shaper.implausible),
        first_odd=dict(table.first_odd),
        empty=frozenset(use.position for use in table.others if use.position not in table.filled),
        zero=frozenset(table.filled - table.moved),
        trace=sorter.trace.buckets(),
    )
