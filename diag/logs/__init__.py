"""Logs of an engine: reads what loggers export, finds the stretches that count, gives readings with their error.

May import: `diag.casebook`, `diag.knowledge_base`, `diag.basics`, numpy. One pass over the file, in bounded memory.
"""

from diag.logs.adding import with_log
from diag.logs.answers import cells_of, column_key, read_answer, told_as
from diag.logs.by_hand import DECIMALS, DELIMITERS, UNUSED, MappingReader, shortened
from diag.logs.columns import LogColumnUse, Why
from diag.logs.fates import USED, Fate, Zone
from diag.logs.mapping import ColumnMap, Told, mapping_text, read_mapping
from diag.logs.reading import OpenedLog, look_at_log, read_log
from diag.logs.result import LogReading, LogResult, LogStatistic, RowCount, Stretches, WhyNot
from diag.logs.robust import Estimate, Series, block_middles, estimate, student_975
from diag.logs.rows import Channel
from diag.logs.rules import Rules, rules_of
from diag.logs.text import encoding_of
from diag.logs.trace import TraceBuckets
from diag.logs.words import Scale, scale_of

__all__ = [
    "DECIMALS",
    "DELIMITERS",
    "UNUSED",
    "USED",
    "Channel",
    "ColumnMap",
    "Estimate",
    "Fate",
    "LogColumnUse",
    "LogReading",
    "LogResult",
    "LogStatistic",
    "MappingReader",
    "OpenedLog",
    "RowCount",
    "Rules",
    "Scale",
    "Series",
    "Stretches",
    "Told",
    "TraceBuckets",
    "Why",
    "WhyNot",
    "Zone",
    "block_middles",
    "cells_of",
    "column_key",
    "encoding_of",
    "estimate",
    "look_at_log",
    "mapping_text",
    "read_answer",
    "read_log",
    "read_mapping",
    "rules_of",
    "scale_of",
    "shortened",
    "student_975",
    "told_as",
    "with_log",
]
