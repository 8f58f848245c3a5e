"""The small file that says what the columns of a table are: YAML, written by hand, all problems told with their places.

    engine: ostrel_4               # of every row, where no column tells it
    delimiter: semicolon           # of a text file; else found from its first line
    decimal: comma                 # numbers are written 1,5
    encoding: cp1250               # of a text file; else found from its letters
    others: unused                 # columns that are not recognised are left out
    answers: {J: present, N: absent}
    columns:
      "Vehicle no": case
      "Miles": {is: distance, unit: miles}
      "Chuff 3": {is: chuff, place: 3, under: cold}
      7: {is: correction, place: 1, unit: mg/stroke}   # the seventh column
      "Shop": unused

May import: logs, knowledge_base, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from diag.basics import CaseError, Place, Problem, did_you_mean
from diag.casebook import answer_id, answer_words
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Tree, read_document
from diag.logs import DECIMALS, DELIMITERS, UNUSED, MappingReader, shortened

__all__ = ["UNUSED", "Said", "TableMap", "read_table_mapping"]

_TOP = ("engine", "delimiter", "decimal", "encoding", "others", "answers", "columns")
_INNER = ("is", "place", "under", "unit")


@dataclass(frozen=True)
class Said:
    """What one column is said to be."""

    tells: str
    place: Place = None
    condition: str | None = None
    unit: str = ""


@dataclass(frozen=True)
class TableMap:
    """What is said about a table: of columns by their head or by their place counted from 1; the rest is found out."""

    columns: Mapping[Key, Said] = field(default_factory=dict)
    engine: str = ""
    delimiter: str = ""
    decimal: str = "."
    encoding: str = ""
    others_unused: bool = False
    answers: Mapping[str, str] = field(default_factory=dict)
    document: PlacedDocument | None = None

    def said(self, head: str, number: int) -> Said | None:
        """What is said of a column, if anything."""
        return self.columns.get(head, self.columns.get(number))

    def problem(self, key: Key, message: str) -> Problem:
        """A problem at the place where a column is named."""
        assert self.document is not None, "only a file names columns"
        return self.document.problem(("columns", key), message, of_key=True)


def read_table_mapping(path: Path | str, knowledge: Knowledge, text: str | None = None) -> TableMap:
    """Read and check a mapping; `text` replaces what is on disk. Raises CaseError with every problem."""
    reader = _Reader(read_document(path, text, CaseError), knowledge)
    mapping = reader.mapping()
    if reader.problems:
        raise CaseError(reader.problems)
    return mapping


class _Reader(MappingReader):
    """Reads the mapping of a table."""

    def mapping(self) -> TableMap:
        data = self.document.data
        self.only(data, _TOP)
        engines: dict[str | bool, str] = {name: name for name in self.knowledge.engines}
        unused: dict[str | bool, str] = {UNUSED: UNUSED}
        return TableMap(
            columns=self._columns(data.get("columns")),
            engine=self.chosen("engine", engines) or "",
            delimiter=self.chosen("delimiter", DELIMITERS) or "",
            decimal=self.chosen("decimal", DECIMALS) or ".",
            encoding=self.encoding() or "",
            others_unused=bool(self.chosen("others", unused)),
            answers=self._answers(data.get("answers")),
            document=self.document,
        )

    def _answers(self, value: Tree) -> dict[str, str]:
        found: dict[str, str] = {}
        for word, meaning in self._mapping("answers", value, "'J: present'").items():
            if not isinstance(meaning, str) or answer_id(meaning, self.knowledge) is None:
                hint = did_you_mean(str(meaning), answer_words(self.knowledge), most=20)
                self.complain(("answers", word), f"'{shortened(meaning)}' is no answer", hint)
            else:
                found[str(word)] = meaning
        return found

    def _mapping(self, name: str, value: Tree, example: str) -> dict[Key, Tree]:
        if value is None or isinstance(value, dict):
            return value or {}
        self.complain((name,), "this should hold lines of the form 'name: what it is'", f"write for example {example}")
        return {}

    def _columns(self, value: Tree) -> dict[Key, Said]:
        inside = self._mapping("columns", value, "'Miles: distance'")
        return {key: self._said(("columns", key), what) for key, what in inside.items()}

    def _said(self, path: tuple[Key, ...], value: Tree) -> Said:
        inside: dict[Key, Tree] = value if isinstance(value, dict) else {"is": value}
        self.only(inside, _INNER, path)
        what, place, under, unit = (inside.get(key) for key in _INNER)
        if not isinstance(what, str) or not what:
            self.complain(path, "this does not say what the column is", "write 'Miles: distance', or 'Miles: unused'")
        if isinstance(place, bool) or not isinstance(place, int | str | None):
            message = f"'{shortened(place)}' is not a cylinder's number or a bank's letter"
            self.complain((*path, "place"), message, "write 'place: 2'")
            place = None
        for key, text in (("under", under), ("unit", unit)):
            if text is not None and not isinstance(text, str):
                self.complain((*path, key), f"'{shortened(text)}' should be text", "put it in quotes")
        return Said(str(what), place, None if under is None else str(under), "" if unit is None else str(unit))
