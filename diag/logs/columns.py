"""Which column of a log is which channel: as the mapping file says, else as the words of its head say.

May import: `diag.basics`, `diag.knowledge_base`, and within the room `cells`, `clock`, `header`, `mapping`, `words`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from diag.basics import LogError, Place, did_you_mean, listed
from diag.knowledge_base import Engine, Key, Knowledge
from diag.logs.clock import is_clock
from diag.logs.header import Header
from diag.logs.mapping import ColumnMap, Told
from diag.logs.words import (
    Scale,
    cylinder_in,
    phrase_score,
    scale_of,
    symbol_key,
    tokens_of,
    unit_in,
    unit_of_cells,
)

__all__ = ["LogColumnUse", "Why", "is_known_head", "match_columns"]

Why = Literal[
    "",
    "not recognised",
    "two meanings",
    "no unit",
    "unit of another kind",
    "no cylinder",
    "no such cylinder",
    "claimed twice",
    "said to be unused",
]


@dataclass(frozen=True)
class LogColumnUse:
    """One column: its place counted from 1, its head, and what it is. `why` is empty where it is used, `detail` a word
    for why it is not. `assumed`: its unit is the usual one, and nobody named it. `told`: the mapping file says so.
    `symbol`: it is known by a bare symbol and its unit alone, which gives way to a head in words."""

    position: int
    head: str
    channel: str | None = None
    place: Place = None
    scale: Scale | None = None
    assumed: bool = False
    reversed: bool = False
    told: bool = False
    symbol: bool = False
    why: Why = ""
    detail: str = ""

    @property
    def used(self) -> bool:
        """Whether its numbers are read."""
        return self.channel is not None and not self.why


def is_known_head(knowledge: Knowledge, mapping: ColumnMap, head: str) -> bool:
    """Whether the head of a column means something, by the mapping file or by its words."""
    return head in mapping.columns or len(_channels(knowledge, head)) > 0 or _of_symbol(knowledge, head, "") is not None


def match_columns(knowledge: Knowledge, engine: Engine, header: Header, mapping: ColumnMap) -> tuple[LogColumnUse, ...]:
    """What each column is, in their order. Raises LogError where the mapping file names what is not there."""
    said = _said_by_position(header, mapping, engine)
    uses = [_use(knowledge, header, index, head, said.get(index)) for index, head in enumerate(header.names)]
    uses = [_with_cylinder(use, engine, mapping) for use in uses]
    return tuple(_without_rivals(uses, mapping, header))


def _said_by_position(header: Header, mapping: ColumnMap, engine: Engine) -> dict[int, Told]:
    """Position (from 0) -> what the mapping file says of it."""
    found: dict[int, Told] = {}
    problems = []
    for key, told in mapping.columns.items():
        places = [key - 1] if isinstance(key, int) else [i for i, head in enumerate(header.names) if head == key]
        if isinstance(key, int) and not 0 <= key - 1 < len(header.names):
            twin = [i for i, head in enumerate(header.names) if head == str(key)]
            if not twin:
                message = f"the log has no column {key}; it has {len(header.names)}"
                problems.append(mapping.problem(key, message, "columns count from 1"))
                continue
            places = twin
        if not places:
            hint = did_you_mean(str(key), header.names, most=12)
            problems.append(mapping.problem(key, f"the log has no column '{key}'", hint))
        elif len(places) > 1 and told.channel is not None:
            where = listed([str(place + 1) for place in places], "and")
            hint = f"name the one that is meant by its place, such as '{places[0] + 1}:'"
            problems.append(mapping.problem(key, f"the log has '{key}' more than once, as columns {where}", hint))
        if told.cylinder is not None and told.cylinder not in engine.cylinders:
            hint = f"the engine has cylinders {engine.cylinders[0]} to {engine.cylinders[-1]}"
            problems.append(mapping.problem(key, f"there is no cylinder {told.cylinder} in this engine", hint))
        for place in places:
            found[place] = told
    if problems:
        raise LogError(problems)
    return found


def _channels(knowledge: Knowledge, head: str) -> list[tuple[int, str]]:
    """The channels whose words stand in a head, best first: (score, channel)."""
    tokens = tokens_of(head)
    found = []
    for name, column in knowledge.log_columns.items():
        score = phrase_score(tokens, (phrase for phrases in column.words.values() for phrase in phrases))
        if score == 0 or phrase_score(tokens, column.never):
            continue
        if column.wanted_too:
            more = phrase_score(tokens, column.wanted_too)
            score = score + more if more else 0
        if score:
            found.append((score, name))
    return sorted(found, key=lambda one: -one[0])


def _of_symbol(knowledge: Knowledge, head: str, below: str) -> str | None:
    """The channel whose symbol a head is, where it says nothing else but a unit of it; `below`: the unit that a line of
    units says. A symbol alone, or with another unit, is none: `n` may count anything."""
    for name, column in knowledge.log_columns.items():
        unit, rest = (below, head) if below else unit_in(head, column)
        known = unit and scale_of(unit, column) is not None
        if known and symbol_key(rest) in [symbol_key(symbol) for symbol in column.symbols]:
            return name
    return None


def _use(knowledge: Knowledge, header: Header, index: int, head: str, told: Told | None) -> LogColumnUse:
    use = LogColumnUse(index + 1, head, told=told is not None)
    if told is not None and told.channel is None:
        return replace(use, why="said to be unused")
    if told is not None and told.channel is not None:
        channel, place = told.channel, told.cylinder
    else:
        channels, place = _channels(knowledge, head), None
        if not channels:
            symbol = _of_symbol(knowledge, head, header.units[index].strip("[](){} "))
            if symbol is None:
                return replace(use, why="not recognised")
            channels, use = [(0, symbol)], replace(use, symbol=True)
        if len(channels) > 1 and channels[0][0] == channels[1][0]:
            both = listed([knowledge.log_columns[name].name for _, name in channels[:2]])
            return replace(use, why="two meanings", detail=both)
        channel = channels[0][1]
    column = knowledge.log_columns[channel]
    written, rest = unit_in(head, column)
    unit = (told.unit if told is not None else None) or header.units[index].strip("[](){} ") or written
    cells = [row[index] for row in header.sample if index < len(row)]
    unit = unit or unit_of_cells(cells, column)
    assumed = not unit and column.assumed is not None
    if not unit and column.assumed is None:
        return replace(use, channel=channel, why="no unit", detail=listed(list(column.units) or [column.unit]))
    scale = scale_of(unit or str(column.assumed), column)
    if scale is None and channel == "time" and is_clock(cells):  # a clock says its own unit
        scale, assumed = Scale("s", 1.0, 0.0), True
    if scale is None:
        return replace(use, channel=channel, why="unit of another kind", detail=unit)
    if column.per_cylinder and place is None:
        place = cylinder_in(rest, column)
        if place is None:
            return replace(use, channel=channel, scale=scale, why="no cylinder")
    flipped = told.reversed if told is not None else False
    return replace(use, channel=channel, place=place, scale=scale, assumed=assumed, reversed=flipped)


def _with_cylinder(use: LogColumnUse, engine: Engine, mapping: ColumnMap) -> LogColumnUse:
    """The cylinder's own number, where the log counts in firing order; unused where there is none."""
    if not use.used or not isinstance(use.place, int):
        return use
    number = use.place
    if mapping.numbering == "firing order" and 1 <= number <= len(engine.firing_order):
        return replace(use, place=engine.firing_order[number - 1])
    if number not in engine.cylinders:
        return replace(use, why="no such cylinder", detail=str(number))
    return use


def _without_rivals(uses: Sequence[LogColumnUse], mapping: ColumnMap, header: Header) -> list[LogColumnUse]:
    """Two columns cannot be one thing: what the mapping file says wins, then words over a bare symbol, else neither is
    used."""
    groups: dict[tuple[str | None, Place], list[LogColumnUse]] = {}
    for use in uses:
        if use.used:
            groups.setdefault((use.channel, use.place), []).append(use)
    lost: dict[int, str] = {}
    for rivals in groups.values():
        told = [use for use in rivals if use.told]
        if len(told) > 1:
            key: Key = told[1].head if told[1].head in mapping.columns else told[1].position
            message = f"columns {told[0].position} and {told[1].position} are both said to be '{told[0].channel}'"
            raise LogError([mapping.problem(key, message, "keep one of the two")])
        if len(rivals) > 1:
            worded = [use for use in rivals if not use.symbol] or rivals
            single = len(worded) == 1 or rivals[0].channel == "time"  # loggers repeat the time; the first is as good
            first = worded[:1] if single else []
            losers = [use for use in rivals if use not in (told or first)]
            for use in losers:
                others = [str(other.position) for other in rivals if other is not use]
                lost[use.position] = listed(others, "and")
    return [
        replace(use, why="claimed twice", detail=lost[use.position]) if use.position in lost else use for use in uses
    ]
