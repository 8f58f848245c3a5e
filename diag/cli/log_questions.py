"""Asks what the columns of a log are that are not recognised. May import: `diag.basics`, logs, report, the terminal."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from diag.basics import UsageError
from diag.cli.talk_terminal import Terminal
from diag.knowledge_base import Engine, Key, Knowledge
from diag.logs import ColumnMap, LogColumnUse, OpenedLog, Told, cells_of, column_key, look_at_log, read_answer
from diag.report import LOG_ASK, column_why

__all__ = ["asked_columns"]

_SHOWN = 3


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
        told[column_key(opened.header, use)] = answer
    return replace(mapping, columns=told)


def _answered(
    terminal: Terminal, knowledge: Knowledge, engine: Engine, opened: OpenedLog, use: LogColumnUse
) -> Told | None:
    """What a column is said to be; asked again until it makes sense, none where the input ends."""
    sample = ", ".join(cells_of(opened, _SHOWN)[use.position]) or LOG_ASK["nothing"]
    question = LOG_ASK["question"].format(position=use.position, head=use.head, sample=sample, why=column_why(use))
    while (line := terminal.ask(question)) is not None:
        try:
            return read_answer(line, knowledge, engine)
        except UsageError as error:
            terminal.tell(LOG_ASK["again"].format(message=error.message))
    return None
