"""Words of the form that asks what the columns of a log are. May import: the standard library only."""

from __future__ import annotations

__all__ = ["COLUMNS"]

COLUMNS: dict[str, str] = {
    "title": "Columns that are not used",
    "how": "Say what a column is, or leave it. The same log is then read again, without choosing it a second time, and "
    "nothing of it is taken without asking. Heads such as 'engine speed [rpm]' are understood by themselves.",
    "title_said": "What its columns are",
    "count": "{count:column|columns}",
    "column": "Column {position}: {head}",
    "headless": "Column {position}, without a head",
    "holds": "It holds {cells}.",
    "holds_nothing": "It holds nothing in its first rows.",
    "why": "Not used: {why}.",
    "used": "It counts as said here, in {unit}.",
    "used_assumed": "It counts as said here, in {unit}, the usual unit, as nobody named one.",
    "is": "What it is",
    "leave": "leave it",
    "of_cylinder": "{channel}, {number}",
    "unit": "Its unit",
    "own_unit": "as the log says it",
    "warm": "The engine was warm all the time; the log does not say it",
    "again": "Read again with this",
    "more": "{count:more column is|more columns are} not used and not listed here; write a head that is understood "
    "above the one that is needed, and choose the file again.",
    "gone": "The log is not kept here any longer: it goes after {minutes:minute|minutes}, when another is read or its "
    "readings are taken, and when diag is started anew. Choose the file again.",
    "gone_said": "What you said of its columns stays and is used with it.",
    "others": "This log has other columns than the one of which they were said to be something, so that was left out. "
    "Say it anew.",
    "before": "Its columns are called as those of a log before, and what you said of them then was taken for them.",
    "column_is": "Column {number}",
    "column_unit": "Unit of column {number}",
    "wrong": "Column {position}: {why}",
    "unfit": "Column {position} is not used as said: {why}.",
    "say_below": "Say below what the columns are, and read the log again.",
    "more_wrong": "{count:more column makes|more columns make} no sense so; beside each stands why.",
    "not_sent": "the form was sent incompletely: '{field}' names no column; read the log again",
}
