"""The sheet of a log: what its columns are, what became of its rows, what the stretches say.

May import: `diag.basics`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from diag.basics import Place

__all__ = ["LogColumnLine", "LogReadingLine", "LogRowsLine", "LogSheet", "LogStatisticLine", "LogStretchLine"]


@dataclass(frozen=True)
class LogColumnLine:
    """One column of the log."""

    position: Annotated[int, "its place in a row, counting from 1"]
    head: Annotated[str, "what stands above it"]
    channel: Annotated[str | None, "what it is, such as 'speed'; null where that is not known"]
    name: Annotated[str, "the same in words"]
    place: Annotated[Place, "the cylinder it belongs to, or null"]
    unit: Annotated[str | None, "the unit that its numbers were read in"]
    assumed: Annotated[bool, "whether nobody named the unit, so that the usual one was taken"]
    used: Annotated[bool, "whether it was read"]
    why: Annotated[str, "why it was not, or what else is to be said"]
    odd: Annotated[int, "cells in it that hold something and no number"]
    implausible: Annotated[int, "numbers in it that cannot be"]


@dataclass(frozen=True)
class LogRowsLine:
    """Rows that had one and the same fate."""

    fate: Annotated[str, "short name of the fate"]
    what: Annotated[str, "what they are"]
    why: Annotated[str, "by which rule"]
    used: Annotated[bool, "whether readings come from them"]
    rows: Annotated[int, "how many"]
    seconds: Annotated[float, "how long they last together"]


@dataclass(frozen=True)
class LogStretchLine:
    """The stretches of one kind that count."""

    zone: Annotated[str, "'idle' (warm, steady), 'cranking' or 'load'"]
    count: Annotated[int, "how many"]
    seconds: Annotated[float, "how long they last together"]
    rows: Annotated[int, "how many rows"]


@dataclass(frozen=True)
class LogStatisticLine:
    """What one channel shows in the stretches of one kind."""

    zone: Annotated[str, "'idle', 'cranking' or 'load'"]
    channel: Annotated[str, "the channel"]
    name: Annotated[str, "the same in words"]
    place: Annotated[Place, "the cylinder, or null"]
    unit: Annotated[str, "unit of the numbers here"]
    rows: Annotated[int, "rows behind it"]
    mean: Annotated[float | None, "robust mean (Huber); null where there is too little"]
    error: Annotated[float | None, "its error: within 1.96 of it in 95 of 100 logs"]
    spread: Annotated[float | None, "spread of single rows, standard deviation"]
    effective: Annotated[float | None, "how many independent rows these are worth"]


@dataclass(frozen=True)
class LogReadingLine:
    """A reading of a case that the log gives."""

    reading: Annotated[str, "id of the reading"]
    name: Annotated[str, "its name"]
    place: Annotated[Place, "the cylinder, or null"]
    value: Annotated[float | None, "its value; a bound where it is censored; null where there is none"]
    error: Annotated[float | None, "its error: within 1.96 of it in 95 of 100 logs"]
    unit: Annotated[str, "its unit"]
    censored: Annotated[Literal["", "above", "below"], "where the controller stood at its limit: the side of the truth"]
    taken: Annotated[bool, "whether it may go into a case"]
    text: Annotated[str, "as it is written into a case"]
    why_not: Annotated[str, "why it may not"]


@dataclass(frozen=True)
class LogSheet:
    """`diag log`: one log of one engine."""

    file: Annotated[str, "the log"]
    engine: Annotated[str, "name of the engine"]
    encoding: Annotated[str, "its encoding"]
    delimiter: Annotated[str, "what stands between cells"]
    decimal: Annotated[str, "the sign before decimals"]
    header_line: Annotated[int, "the line that names the columns"]
    rows: Annotated[int, "rows of the log; those of `fates` add up to it"]
    seconds: Annotated[float, "how long it lasts, without gaps"]
    recordings: Annotated[int, "recordings in it: the clock started again so often, plus one"]
    inactive_rows: Annotated[int, "rows in which every correction is exactly zero, and says nothing"]
    columns: Annotated[tuple[LogColumnLine, ...], "its columns"]
    fates: Annotated[tuple[LogRowsLine, ...], "what became of its rows"]
    stretches: Annotated[tuple[LogStretchLine, ...], "the stretches that count"]
    statistics: Annotated[tuple[LogStatisticLine, ...], "what they show"]
    readings: Annotated[tuple[LogReadingLine, ...], "the readings that come of it"]
    advice: Annotated[tuple[str, ...], "what would make the log better"]
    cautions: Annotated[tuple[str, ...], "warnings for whoever records another"]
    added_to: Annotated[str | None, "the case file that the readings were written to"]
