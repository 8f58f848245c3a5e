"""What people answer when they are asked what a column of a log is, checked; and what they are shown of it.

The command line asks in words, the page by fields: both come here. May import: `diag.basics`, `diag.knowledge_base`,
and within the room `by_hand`, `cells`, `columns`, `header`, `mapping`, `reading`, `words`.
"""

from __future__ import annotations

from diag.basics import UsageError, did_you_mean
from diag.knowledge_base import Engine, Key, Knowledge, LogColumn
from diag.logs.by_hand import UNUSED, shortened
from diag.logs.cells import cut, plain_text
from diag.logs.columns import LogColumnUse
from diag.logs.header import Header
from diag.logs.mapping import Told
from diag.logs.reading import OpenedLog
from diag.logs.words import scale_of

__all__ = ["cells_of", "column_key", "read_answer", "told_as"]

_LOOKED_THROUGH = 60
_NOTHING = ("", UNUSED, "none", "no")


def cells_of(opened: OpenedLog, most: int) -> dict[int, tuple[str, ...]]:
    """Some cells of each column that hold something, by its place counted from 1: at most so many, none twice.

    They are taken here and there of the head of the file (some thousand rows), since an engine stands still at first;
    a slow channel is not written in every row, so each time some rows are looked through.
    """
    header = opened.header
    lines = [line for line in opened.text.first_lines[header.data_after :] if line.strip()]
    found: dict[int, dict[str, None]] = {use.position: {} for use in opened.columns}
    for begin in sorted({len(lines) * part // most for part in range(most)}):
        missing = set(found)
        for line in lines[begin : begin + _LOOKED_THROUGH]:
            for position, cell in enumerate(cut(line, header.form.delimiter), start=1):
                if position in missing and (held := plain_text(cell)):
                    found[position][held] = None
                    missing.remove(position)
            if not missing:
                break
    return {position: tuple(held) for position, held in found.items()}


def column_key(header: Header, use: LogColumnUse) -> Key:
    """By what a mapping names a column: its head, or its place where its head stands there twice or is empty."""
    return use.head if use.head and header.names.count(use.head) == 1 else use.position


def read_answer(line: str, knowledge: Knowledge, engine: Engine) -> Told:
    """An answer: 'speed rpm', 'correction 2 mg/stroke', 'coolant', or nothing. Raises UsageError where it is none."""
    words = line.split()
    if not words or line.strip().lower() in _NOTHING:
        return Told(None)
    channel, rest = words[0].lower(), words[1:]
    column = _channel(channel, knowledge)
    cylinder, rest = (rest[0], rest[1:]) if column.per_cylinder and rest else ("", rest)
    told = told_as(knowledge, engine, channel, cylinder, " ".join(rest) or column.assumed or "")
    if told.unit is None:
        raise UsageError(f"'{channel}' needs a unit; write for example '{channel} {column.unit}'")
    return told


def told_as(knowledge: Knowledge, engine: Engine, channel: str, cylinder: str, unit: str, called: str = "") -> Told:
    """A column is a channel, of a cylinder where the channel is, in a unit; '' where nothing was said of these.

    `called`: how the channel is called in messages, where it is not by its short name. Raises UsageError where the
    engine has no such cylinder, the channel no such unit, or there is no such channel.
    """
    column = _channel(channel, knowledge)
    named = called or channel
    number: int | None = None
    if column.per_cylinder:
        digits = cylinder.isascii() and cylinder.isdecimal() and len(cylinder) <= 3
        number = int(cylinder) if digits else None
        if number not in engine.cylinders:
            numbers = f"{engine.cylinders[0]} to {engine.cylinders[-1]}"
            example = "" if called else f"; write '{channel} 2 {column.unit}'"
            raise UsageError(f"'{named}' needs the number of a cylinder, {numbers}{example}")
    elif cylinder:
        raise UsageError(f"'{named}' is of the whole engine, not of a cylinder; leave '{shortened(cylinder)}' out")
    if unit and scale_of(unit, column) is None:
        hint = did_you_mean(unit[:40], column.units or [column.unit], most=12)
        raise UsageError(f"'{shortened(unit)}' is no unit of '{named}'" + (f"; {hint}" if hint else ""))
    return Told(channel, number, unit or None)


def _channel(channel: str, knowledge: Knowledge) -> LogColumn:
    column = knowledge.log_columns.get(channel)
    if column is None:
        hint = did_you_mean(channel[:40], knowledge.log_columns, most=20)
        raise UsageError(f"'{shortened(channel)}' is no channel" + (f"; {hint}" if hint else ""))
    return column
