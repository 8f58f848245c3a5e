"""The small file that says what the columns of a table are: YAML, written by hand, all problems told with their places.

    engine: ostrel_4               # of every row, where no column tells it
    delimiter: semicolon           # of a text file; else found from its first line
    decimal: comma                 # numbers are written 1,5
    others: unused                 # columns that are not recognised are left out
    answers: {J: present, N: absent}
    columns:
      "Vehicle no": case
      "Miles": {is: distance, unit: miles}
      "Chuff 3": {is: chuff, place: 3, under: cold}
      7: {is: correction, place: 1, unit: mg/stroke}   # the seventh column
      "Shop": unused

May import: knowledge_base, casebook, basics.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from diag.basics import CaseError, Place, Problem, did_you_mean
from diag.casebook import answer_id, answer_words
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Tree, read_document

__all__ = ["UNUSED", "Said", "TableMap", "read_table_mapping"]

UNUSED = "unused"
_TOP = ("engine", "delimiter", "decimal", "encoding", "others", "answers", "columns")
_INNER = ("is", "place", "under", "unit")
_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", ",": ",", ";": ";", "\t": "\t", "|": "|"}
_DECIMALS = {"comma": ",", "point": ".", ",": ",", ".": "."}


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
    encoding: str = "utf-8-sig"
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


class _Reader:
    """Collects the problems of one file."""

    def __init__(self, document: PlacedDocument, knowledge: Knowledge) -> None:
        self.document = document
        self.knowledge = knowledge
        self.problems: list[Problem] = []

    def complain(self, path: Sequence[Key], message: str, hint: str = "", of_key: bool = False) -> None:
        self.problems.append(self.document.problem(path, message, hint, of_key))

    def mapping(self) -> TableMap:
        data = self.document.data
        for key in data:
            if key not in _TOP:
                self.complain((key,), f"'{key}' is not known here", did_you_mean(str(key), _TOP), of_key=True)
        return TableMap(
            columns=self._columns(data.get("columns")),
            engine=self._choice("engine", data, {name: name for name in self.knowledge.engines}),
            delimiter=self._choice("delimiter", data, _DELIMITERS),
            decimal=self._choice("decimal", data, _DECIMALS) or ".",
            encoding=self._encoding(data.get("encoding")),
            others_unused=bool(self._choice("others", data, {UNUSED: UNUSED})),
            answers=self._answers(data.get("answers")),
            document=self.document,
        )

    def _choice(self, name: str, data: Mapping[Key, Tree], choices: Mapping[str, str]) -> str:
        """One of several words; empty where it is not given, or wrong."""
        if name not in data:
            return ""
        value = data[name]
        if not isinstance(value, str) or value not in choices:
            words = [choice for choice in choices if len(choice) > 1]
            self.complain((name,), f"'{_short(value)}' is not possible here", did_you_mean(str(value), words, most=20))
            return ""
        return choices[value]

    def _encoding(self, value: Tree) -> str:
        if value is None:
            return "utf-8-sig"
        try:
            return codecs.lookup(str(value)).name
        except LookupError:
            hint = "it can be utf-8, utf-16, cp1252, iso-8859-1 or another that Python knows"
            self.complain(("encoding",), f"there is no encoding '{_short(value)}'", hint)
            return "utf-8-sig"

    def _answers(self, value: Tree) -> dict[str, str]:
        found: dict[str, str] = {}
        for word, meaning in self._mapping("answers", value, "'J: present'").items():
            if not isinstance(meaning, str) or answer_id(meaning, self.knowledge) is None:
                hint = did_you_mean(str(meaning), answer_words(self.knowledge), most=20)
                self.complain(("answers", word), f"'{_short(meaning)}' is no answer", hint)
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
        for key in inside:
            if key not in _INNER:
                self.complain((*path, key), f"'{key}' is not known here", did_you_mean(str(key), _INNER), of_key=True)
        what, place, under, unit = (inside.get(key) for key in _INNER)
        if not isinstance(what, str) or not what:
            self.complain(path, "this does not say what the column is", "write 'Miles: distance', or 'Miles: unused'")
        if isinstance(place, bool) or not isinstance(place, int | str | None):
            message = f"'{_short(place)}' is not a cylinder's number or a bank's letter"
            self.complain((*path, "place"), message, "write 'place: 2'")
            place = None
        for key, text in (("under", under), ("unit", unit)):
            if text is not None and not isinstance(text, str):
                self.complain((*path, key), f"'{_short(text)}' should be text", "put it in quotes")
        return Said(str(what), place, None if under is None else str(under), "" if unit is None else str(unit))


def _short(value: Tree) -> str:
    text = "empty" if value is None else "a list" if isinstance(value, list) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."
