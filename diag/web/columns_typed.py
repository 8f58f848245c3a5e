"""What the columns of a log are said to be on the page: what may be chosen, and what was sent, checked.

May import: the rooms below, and within the room `asking`, `uploads` and the words.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from diag.basics import UsageError
from diag.knowledge_base import Engine, Key, Knowledge
from diag.logs import Told, told_as
from diag.report import place_words
from diag.web.asking import SentForm
from diag.web.words_columns import COLUMNS

__all__ = ["ColumnTyped", "channel_choices", "channel_words", "columns_sent", "told_columns", "unit_choices"]

CHANNEL, UNIT = "channel", "column_unit"
_FIELD = re.compile(rf"({CHANNEL}|{UNIT})(.*)", re.DOTALL)
_POSITION = re.compile(r"[1-9][0-9]{0,3}")


@dataclass(frozen=True)
class ColumnTyped:
    """What was chosen for one column: a channel, with its cylinder behind `@` where it has one, and a unit; '' where
    nothing was."""

    channel: str = ""
    unit: str = ""


def columns_sent(sent: SentForm) -> dict[int, ColumnTyped]:
    """Position -> what was chosen for it. Raises UsageError where a field names no column."""
    found: dict[int, dict[str, str]] = {}
    for name in sent.fields:
        match = _FIELD.fullmatch(name)
        if match is None:
            continue
        if not _POSITION.fullmatch(match.group(2)):
            raise UsageError(COLUMNS["not_sent"].format(field=name[:40]))
        found.setdefault(int(match.group(2)), {})[match.group(1)] = sent.word(name)
    return {position: ColumnTyped(each.get(CHANNEL, ""), each.get(UNIT, "")) for position, each in found.items()}


def told_columns(
    typed: Mapping[int, ColumnTyped], knowledge: Knowledge, engine: Engine
) -> tuple[dict[Key, Told], dict[int, str]]:
    """What the columns are said to be, and of those of which that makes no sense why not."""
    told: dict[Key, Told] = {}
    wrong: dict[int, str] = {}
    for position, each in sorted(typed.items()):
        if not each.channel:
            continue  # a unit alone says nothing
        channel, _, cylinder = each.channel.partition("@")
        known = knowledge.log_columns.get(channel)
        try:
            told[position] = told_as(
                knowledge, engine, channel, cylinder, each.unit, known.name if known is not None else channel
            )
        except UsageError as error:
            wrong[position] = COLUMNS["wrong"].format(position=position, why=error.message)
    return told, wrong


def channel_choices(knowledge: Knowledge, engine: Engine) -> list[tuple[str, str]]:
    """What a column may be: the value of a choice, and its words."""
    found = []
    for channel, column in knowledge.log_columns.items():
        if column.per_cylinder:
            found += [(f"{channel}@{each}", _of_cylinder(column.name, each)) for each in engine.cylinders]
        else:
            found.append((channel, column.name))
    return found


def _of_cylinder(name: str, number: int) -> str:
    return COLUMNS["of_cylinder"].format(channel=name, number=place_words(number))


def channel_words(knowledge: Knowledge, chosen: str) -> str:
    """The words of a choice, as it was sent; as it stands where the knowledge has no such channel."""
    channel, _, cylinder = chosen.partition("@")
    column = knowledge.log_columns.get(channel)
    if column is None:
        return chosen
    digits = cylinder.isascii() and cylinder.isdecimal() and len(cylinder) <= 3
    return _of_cylinder(column.name, int(cylinder)) if digits else column.name


def unit_choices(knowledge: Knowledge) -> list[tuple[str, list[str]]]:
    """The units that a column may be in, each once, under the names of the channels that share some of them."""
    groups: list[tuple[list[str], list[str]]] = []
    for column in knowledge.log_columns.values():
        units = list(column.units) or [column.unit]
        near = next((group for group in groups if set(group[1]) & set(units)), None)
        if near is None:
            groups.append(([column.name], units))
        else:
            near[0].append(column.name)
            near[1].extend(each for each in units if each not in near[1])
    return [(", ".join(names), units) for names, units in groups]
