"""Asks what the columns of a log are that are not recognised. May import: `diag.basics`, logs, report, the terminal."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from diag.basics import UsageError, did_you_mean
from diag.cli.talk_terminal import Terminal
from diag.knowledge_base import Engine, Key, Knowledge
from diag.logs import ColumnMap, LogColumnUse, OpenedLog, Told, look_at_log, scale_of
from diag.report import LOG_ASK, column_why

__all__ = ["asked_columns", "read_answer"]

_SHOWN = 3
_NOTHING = ("", "unused", "none", "no")


def asked_columns(file: Path, knowledge: Knowledge, engine: Engine, mapping: ColumnMap) -> ColumnMap:
    """The mapping with what was answered; nothing more is asked where the input ends."""
    terminal = Terminal()
    opened = look_at_log(file, knowledge, engine, mapping)
    open_ones = [use for use in opened.columns if use.why not in ("", "said to be unused")]
    if not open_ones:
        return mapping
    terminal.tell(LOG_ASK["help"].format(channels=", ".join(knowledge.log_columns)))
    told: dict[Key, Told] = dict(mapping.columns)
    for use in open_ones:
        answer = _answered(terminal, knowledge, engine, opened, use)
        if answer is None:
            break
        told[_key(opened, use)] = answer
    return replace(mapping, columns=told)


def _key(opened: OpenedLog, use: LogColumnUse) -> Key:
    """The head of the column, or its place where its head stands there twice or is empty."""
    return use.head if use.head and opened.header.names.count(use.head) == 1 else use.position


def _answered(
    terminal: Terminal, knowledge: Knowledge, engine: Engine, opened: OpenedLog, use: LogColumnUse
) -> Told | None:
    """What a column is said to be; asked again until it makes sense, none where the input ends."""
    cells = [
        row[use.position - 1] for row in opened.header.sample if use.position <= len(row) and row[use.position - 1]
    ]
    sample = ", ".join(cells[:_SHOWN]) or LOG_ASK["nothing"]
    question = LOG_ASK["question"].format(position=use.position, head=use.head, sample=sample, why=column_why(use))
    while (line := terminal.ask(question)) is not None:
        try:
            return read_answer(line, knowledge, engine)
        except UsageError as error:
            terminal.tell(LOG_ASK["again"].format(message=error.message))
    return None


def read_answer(line: str, knowledge: Knowledge, engine: Engine) -> Told:
    """An answer: 'speed rpm', 'correction 2 mg/stroke', 'coolant', or nothing. Raises UsageError where it is none."""
    words = line.split()
    if not words or line.strip().lower() in _NOTHING:
        return Told(None)
    channel, rest = words[0].lower(), words[1:]
    column = knowledge.log_columns.get(channel)
    if column is None:
        hint = did_you_mean(channel, knowledge.log_columns, most=20)
        raise UsageError(f"'{channel}' is no channel" + (f"; {hint}" if hint else ""))
    cylinder = None
    if column.per_cylinder:
        if not rest or not rest[0].isdecimal() or int(rest[0]) not in engine.cylinders:
            numbers = f"{engine.cylinders[0]} to {engine.cylinders[-1]}"
            raise UsageError(
                f"'{channel}' needs the number of a cylinder, {numbers}; write '{channel} 2 {column.unit}'"
            )
        cylinder, rest = int(rest[0]), rest[1:]
    unit = " ".join(rest) or column.assumed
    if unit is None:
        raise UsageError(f"'{channel}' needs a unit; write for example '{channel} {column.unit}'")
    if scale_of(unit, column) is None:
        hint = did_you_mean(unit, column.units or [column.unit], most=12)
        raise UsageError(f"'{unit}' is no unit of '{channel}'" + (f"; {hint}" if hint else ""))
    return Told(channel, cylinder, unit)
