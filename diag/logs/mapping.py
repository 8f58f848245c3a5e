"""The small file that says what the columns of a log are: YAML, written by hand, all problems told with their places.

    numbering: firing order        # the log counts in firing order; else 'cylinder'
    warm: yes                      # the engine was warm, though the log has no temperature
    columns:
      "Corr 1": {is: correction, cylinder: 1, unit: mg/stroke}
      "n": speed
      7: {is: time, unit: ms}      # the seventh column
      "Spare": unused

May import: `diag.basics`, `diag.knowledge_base`, and within the room `by_hand`, `words`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from diag.basics import LogError, Problem, did_you_mean
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Tree, read_document
from diag.logs.by_hand import DECIMALS, DELIMITERS, UNUSED, MappingReader, shortened
from diag.logs.words import scale_of

__all__ = ["ColumnMap", "Numbering", "Told", "mapping_text", "read_mapping"]

Numbering = Literal["cylinder", "firing order"]
_TOP = ("numbering", "warm", "decimal", "delimiter", "encoding", "columns")
_INNER = ("is", "cylinder", "unit", "reversed")
_YES: dict[str | bool, bool] = {True: True, False: False, "yes": True, "no": False}


@dataclass(frozen=True)
class Told:
    """What one column is said to be; `channel` none where it is said to be unused."""

    channel: str | None
    cylinder: int | None = None
    unit: str | None = None
    reversed: bool = False


@dataclass(frozen=True)
class ColumnMap:
    """What is said about a log: by the head of a column, or by its place counted from 1; the rest is found out."""

    columns: dict[Key, Told] = field(default_factory=dict)
    numbering: Numbering = "cylinder"
    warm: bool = False
    decimal: str | None = None
    delimiter: str | None = None
    encoding: str | None = None
    document: PlacedDocument | None = None

    def problem(self, key: Key, message: str, hint: str = "") -> Problem:
        """A problem at the place where a column is named; it has none where that was not said in a file."""
        if self.document is None:
            return Problem(f"column '{key}'", 0, 0, message, hint)
        return self.document.problem(("columns", key), message, hint, of_key=True)


def read_mapping(path: Path | str, knowledge: Knowledge, text: str | None = None) -> ColumnMap:
    """Read and check a mapping file; `text` replaces what is on disk. Raises LogError with every problem."""
    document = read_document(path, text, LogError)
    reader = _Reader(document, knowledge)
    mapping = reader.mapping()
    if reader.problems:
        raise LogError(reader.problems)
    return mapping


class _Reader(MappingReader):
    """Reads the mapping of a log."""

    def mapping(self) -> ColumnMap:
        data = self.document.data
        self.only(data, _TOP)
        numbering: dict[str | bool, Numbering] = {"cylinder": "cylinder", "firing order": "firing order"}
        return ColumnMap(
            columns=self._columns(data.get("columns")),
            numbering=self.chosen("numbering", numbering) or "cylinder",
            warm=bool(self.chosen("warm", _YES)),
            decimal=self.chosen("decimal", DECIMALS),
            delimiter=self.chosen("delimiter", DELIMITERS),
            encoding=self.encoding(),
            document=self.document,
        )

    def _columns(self, value: Tree) -> dict[Key, Told]:
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.complain(("columns",), "this should hold lines 'head of the column: what it is'", "'n: speed'")
            return {}
        found = {key: self._told(("columns", key), inside) for key, inside in value.items()}
        return {key: told for key, told in found.items() if told is not None}

    def _told(self, path: tuple[Key, ...], value: Tree) -> Told | None:
        inside: dict[Key, Tree] = value if isinstance(value, dict) else {"is": value}
        self.only(inside, _INNER, path)
        what = inside.get("is")
        at = (*path, "is") if isinstance(value, dict) else path
        if what == UNUSED:
            return Told(None)
        known = self.knowledge.log_columns
        if not isinstance(what, str) or what not in known:
            hint = did_you_mean(str(what), [*known, UNUSED], most=20)
            self.complain(at, f"'{shortened(what)}' is no channel of a log", hint)
            return None
        return Told(
            what, self._cylinder(path, inside, what), self._unit(path, inside, what), self._reversed(path, inside)
        )

    def _cylinder(self, path: tuple[Key, ...], inside: dict[Key, Tree], channel: str) -> int | None:
        number = inside.get("cylinder")
        if self.knowledge.log_columns[channel].per_cylinder:
            if number is not None and (isinstance(number, bool) or not isinstance(number, int) or number < 1):
                self.complain(
                    (*path, "cylinder"), f"'{shortened(number)}' is not a cylinder's number", "write 'cylinder: 2'"
                )
                return None
            return number if isinstance(number, int) else None
        if number is not None:
            message = f"'{channel}' is of the whole engine, not of a cylinder"
            self.complain((*path, "cylinder"), message, "leave that out", of_key=True)
        return None

    def _unit(self, path: tuple[Key, ...], inside: dict[Key, Tree], channel: str) -> str | None:
        unit = inside.get("unit")
        if unit is None:
            return None
        column = self.knowledge.log_columns[channel]
        if scale_of(str(unit), column) is None:
            hint = did_you_mean(str(unit), column.units or [column.unit], most=12)
            self.complain((*path, "unit"), f"'{shortened(unit)}' is no unit of '{channel}'", hint)
            return None
        return str(unit)

    def _reversed(self, path: tuple[Key, ...], inside: dict[Key, Tree]) -> bool:
        return bool(self.choice((*path, "reversed"), inside.get("reversed", False), _YES))


def mapping_text(mapping: ColumnMap) -> str:
    """A mapping as the text of a mapping file, which reads back to the same."""
    lines = ["# What the columns of this logger are. May be changed by hand."]
    lines += [f"numbering: {mapping.numbering}"] if mapping.numbering != "cylinder" else []
    lines += ["warm: yes"] if mapping.warm else []
    lines += [f"decimal: {'comma' if mapping.decimal == ',' else 'point'}"] if mapping.decimal else []
    names = {",": "comma", ";": "semicolon", "\t": "tab", "|": '"|"'}
    lines += [f"delimiter: {names[mapping.delimiter]}"] if mapping.delimiter else []
    lines += [f"encoding: {mapping.encoding}"] if mapping.encoding else []
    lines += ["columns:" if mapping.columns else "columns: {}"]
    lines += [f"  {_key(key)}: {_said(told)}" for key, told in mapping.columns.items()]
    return "\n".join(lines) + "\n"


def _key(key: Key) -> str:
    return str(key) if isinstance(key, int) else _quoted(key)


def _said(told: Told) -> str:
    if told.channel is None:
        return UNUSED
    parts = [f"is: {told.channel}"]
    parts += [f"cylinder: {told.cylinder}"] if told.cylinder is not None else []
    parts += [f"unit: {_quoted(told.unit)}"] if told.unit is not None else []
    parts += ["reversed: yes"] if told.reversed else []
    return f"{{{', '.join(parts)}}}"


def _quoted(text: str) -> str:
    escaped = "".join(
        f"\\{character}" if character in '"\\' else character if character.isprintable() else f"\\U{ord(character):08x}"
        for character in text
    )
    return f'"{escaped}"'
