"""Reads a YAML file with the place of every key and value, and refuses what people trip over.

Scalars follow the core schema of YAML 1.2: `no`, `yes` and `on` are text. Keys are text or whole numbers. Equal keys,
anchors, aliases, tags, merge keys and second documents are refused; aliases before anything is expanded.
May import: yaml and `diag.basics`.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

import yaml

from diag.basics import InvalidFile, KnowledgeError, Problem, did_you_mean, near_miss
from diag.knowledge_base.yaml_words import plain_words

__all__ = ["MOST_BYTES", "MOST_DEPTH", "Key", "PlacedDocument", "Spot", "Tree", "read_document"]

Key: TypeAlias = int | str
Tree: TypeAlias = "bool | int | float | str | list[Tree] | dict[Key, Tree] | None"

MOST_BYTES = 1_000_000
MOST_DEPTH = 40

_LOADER = getattr(yaml, "CBaseLoader", yaml.BaseLoader)  # the same language, ten times faster
_UNREADABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_WHOLE = re.compile(r"[-+]?[0-9]+")
_OTHER_BASE = re.compile(r"0o[0-7]+|0x[0-9a-fA-F]+")
_DECIMAL = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_WORDS: dict[str, Tree] = dict.fromkeys(("", "~", "null", "Null", "NULL")) | {
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
}
_LONGEST_NUMBER = 40
_BREAK = re.compile(r"\r\n?|\n")
_ODD_BREAK = re.compile("[\x85\u2028\u2029]")


class Spot:
    """Where a value and its key stand, and what is inside it. Lines and columns count from 1."""

    __slots__ = ("children", "column", "file", "key_column", "key_line", "line")

    def __init__(self, file: str, line: int, column: int) -> None:
        self.file = file
        self.line = self.key_line = line
        self.column = self.key_column = column
        self.children: dict[Key, Spot] = {}

    def stands_at(self, other: Spot) -> None:
        """Give it another's place: what is wrong with a mapping as a whole is the doing of who wrote into it last."""
        self.file, self.line, self.column = other.file, other.line, other.column
        self.key_line, self.key_column = other.key_line, other.key_column


@dataclass(frozen=True)
class PlacedDocument:
    """A file (or several merged) as plain data, with the place of everything in it."""

    file: str
    data: dict[Key, Tree]
    root: Spot

    def spot(self, path: Sequence[Key]) -> Spot:
        """The spot of the value at `path`, or of the nearest thing around it that is written in the file."""
        spot = self.root
        for key in path:
            inside = spot.children.get(key)
            if inside is None:
                break
            spot = inside
        return spot

    def place(self, path: Sequence[Key], of_key: bool = False) -> tuple[int, int]:
        """Line and column of the value at `path`, or of its key."""
        spot = self.spot(path)
        return (spot.key_line, spot.key_column) if of_key else (spot.line, spot.column)

    def problem(self, path: Sequence[Key], message: str, hint: str = "", of_key: bool = False) -> Problem:
        """A problem at the place of the value at `path`, or of its key."""
        return Problem(self.spot(path).file, *self.place(path, of_key), message, hint)


def read_document(
    path: Path | str, text: str | None = None, error: type[InvalidFile] = KnowledgeError
) -> PlacedDocument:
    """Read one YAML file whose outermost part is a mapping; `text` replaces what is on disk.

    Raises `error` with every problem that could be found.
    """
    file = str(path)
    text = _text_of(Path(path), error) if text is None else text
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise error([_too_big(file)])
    if odd := _UNREADABLE.search(text):
        line, column = _line_and_column(text, odd.start())
        message = f"this is not a text file: it holds the character U+{ord(odd.group()):04X}"
        raise error([Problem(file, line, column, message, "save it as plain text in UTF-8")])
    return _Builder(file, error).document(text)


def _text_of(path: Path, error: type[InvalidFile]) -> str:
    """The file's text. Never reads more than the limit, whatever the file is."""
    file = str(path)
    try:
        with path.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise error([Problem(file, 0, 0, "there is no such file", _similar_file(path))]) from None
    except IsADirectoryError:
        raise error([Problem(file, 0, 0, "this is a folder, not a file")]) from None
    except (OSError, ValueError) as cause:
        reason = cause.strerror if isinstance(cause, OSError) and cause.strerror else str(cause)
        raise error([Problem(file, 0, 0, f"this file cannot be read: {reason}")]) from cause
    if len(raw) > MOST_BYTES:
        raise error([_too_big(file)])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as cause:
        line, column = _line_and_column(raw[: cause.start].decode("utf-8-sig", "replace"), None)
        message = f"this is not a text file in UTF-8: it holds the byte 0x{raw[cause.start]:02X}"
        raise error([Problem(file, line, column, message, "save it as plain text in UTF-8")]) from None


def _too_big(file: str) -> Problem:
    return Problem(file, 0, 0, f"this file is larger than {MOST_BYTES // 1_000_000} MB", "divide it into smaller files")


def _similar_file(path: Path) -> str:
    try:
        names = sorted(each.name for each in path.parent.iterdir())
    except OSError:
        return ""
    nearest = near_miss(path.name, names)
    return did_you_mean(path.name, [nearest]) if nearest else ""


def _line_and_column(text: str, position: int | None) -> tuple[int, int]:
    before = text if position is None else text[:position]
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _scalar(word: str) -> Tree:
    """What a plain (unquoted) word means in the core schema of YAML 1.2."""
    if word in _WORDS:
        return _WORDS[word]
    if len(word) > _LONGEST_NUMBER or word[0] not in "+-.0123456789":
        return word
    if _WHOLE.fullmatch(word):
        return int(word)
    if _DECIMAL.fullmatch(word):
        return float(word)
    return int(word, 0) if _OTHER_BASE.fullmatch(word) else word


class _Lines:
    """Where the lines of a text begin for an editor. The parser also ends one at U+0085, U+2028 and U+2029."""

    def __init__(self, text: str) -> None:
        odd = _ODD_BREAK.search(text) is not None
        self.begin = [0, *(each.end() for each in _BREAK.finditer(text))] if odd else []

    def place(self, index: int, line: int, column: int) -> tuple[int, int]:
        """Line and column, from 1, of the sign `index`, which by the parser's count stands at these, from 0."""
        if not self.begin:
            return line + 1, column + 1
        line = bisect_right(self.begin, index)
        return line, index - self.begin[line - 1] + 1

    def at(self, event: yaml.Event) -> tuple[int, int]:
        """The same of where an event begins."""
        mark = event.start_mark
        assert mark is not None, "the parser marks every event"
        return self.place(mark.index, mark.line, mark.column)


class _Open:
    """A mapping or list that is being read."""

    __slots__ = ("key", "key_at", "spot", "value")

    def __init__(self, value: dict[Key, Tree] | list[Tree], spot: Spot) -> None:
        self.value = value
        self.spot = spot
        self.key: Key | None = None
        self.key_at = (0, 0)


class _Builder:
    """Turns the parser's events into data and spots; no recursion, so that nothing can nest it to death."""

    def __init__(self, file: str, error: type[InvalidFile]) -> None:
        self.file = file
        self.error = error
        self.problems: list[Problem] = []
        self.open: list[_Open] = []
        self.root: tuple[Tree, Spot] | None = None
        self.documents = 0
        self.lines = _Lines("")

    def document(self, text: str) -> PlacedDocument:
        self.lines = _Lines(text)
        for event in self._events(text):
            self._take(event)
        if self.root is None or self.root[0] is None:
            raise self.error([*self.problems, Problem(self.file, 1, 1, "this file is empty")])
        data, spot = self.root
        if not isinstance(data, dict):
            message = "this file should hold lines of the form 'name: value', and does not"
            raise self.error([*self.problems, Problem(self.file, spot.line, spot.column, message)])
        if self.problems:
            raise self.error(self.problems)
        return PlacedDocument(self.file, data, spot)

    def _events(self, text: str) -> Iterator[yaml.Event]:
        try:
            yield from yaml.parse(text, Loader=_LOADER)
        except yaml.MarkedYAMLError as cause:
            raise self.error([*self.problems, self._not_yaml(text, cause)]) from None
        except yaml.YAMLError as cause:
            message = f"this is not YAML: {' '.join(str(cause).split())}"
            raise self.error([*self.problems, Problem(self.file, 1, 1, message)]) from None

    def _not_yaml(self, text: str, cause: yaml.MarkedYAMLError) -> Problem:
        in_quotes = "quoted scalar" in (cause.context or "")
        mark = (cause.context_mark if in_quotes else cause.problem_mark) or cause.problem_mark or cause.context_mark
        line, column = self.lines.place(mark.index, mark.line, mark.column) if mark else (1, 1)
        lines = _BREAK.split(text)
        indent = re.match(r"\s*", lines[line - 1] if line <= len(lines) else "")
        if indent and "\t" in indent.group() and not in_quotes:
            message, hint = plain_words("'\\t'")
            column = indent.group().index("\t") + 1
        else:
            message, hint = plain_words(cause.problem or "", cause.context or "")
        return Problem(self.file, line, column, message, hint)

    def _refuse(self, event: yaml.Event, message: str, hint: str = "") -> None:
        raise self.error([*self.problems, Problem(self.file, *self.lines.at(event), message, hint)])

    def _take(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.ScalarEvent):
            self._refuse_marks(event)
            if self.open and isinstance(self.open[-1].value, dict) and self.open[-1].key is None:
                self._take_key(event)
            else:
                self._put(event.value if event.style else _scalar(event.value), self._spot(event))
        elif isinstance(event, yaml.CollectionStartEvent):
            self._refuse_marks(event)
            self._begin(event)
        elif isinstance(event, yaml.CollectionEndEvent):
            self.open.pop()
        elif isinstance(event, yaml.AliasEvent):
            self._refuse(event, f"an alias (*{event.anchor}) is not allowed", "write the value out again")
        elif isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._refuse(event, "a second document begins here ('---')", "one file holds one document")

    def _refuse_marks(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> None:
        if event.anchor is not None:
            self._refuse(event, f"an anchor (&{event.anchor}) is not allowed", "write the value out where it is needed")
        if event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self._refuse(event, f"a tag ({tag}) is not allowed", "leave it out; text goes in quotes")

    def _spot(self, event: yaml.Event) -> Spot:
        return Spot(self.file, *self.lines.at(event))

    def _begin(self, event: yaml.CollectionStartEvent) -> None:
        if len(self.open) >= MOST_DEPTH:
            self._refuse(event, f"this is nested more than {MOST_DEPTH} deep")
        if self.open and isinstance(self.open[-1].value, dict) and self.open[-1].key is None:
            message = "a key is one word or whole number, not a list or mapping"
            self._refuse(event, message, "put text with { or [ in quotes")
        value: dict[Key, Tree] | list[Tree] = {} if isinstance(event, yaml.MappingStartEvent) else []
        spot = self._spot(event)
        self._put(value, spot)
        self.open.append(_Open(value, spot))

    def _take_key(self, event: yaml.ScalarEvent) -> None:
        around = self.open[-1]
        if event.value == "<<" and not event.style:
            self._refuse(event, "a merge key (<<) is not allowed", "write the keys out")
        if event.value == "" and not event.style:
            self._refuse(event, "a key is missing before this ':'", "write 'name: value'")
        meaning = event.value if event.style else _scalar(event.value)
        around.key = meaning if isinstance(meaning, int) and not isinstance(meaning, bool) else event.value
        around.key_at = self.lines.at(event)

    def _put(self, value: Tree, spot: Spot) -> None:
        if not self.open:
            self.root = (value, spot)
            return
        around = self.open[-1]
        if isinstance(around.value, list):
            around.spot.children[len(around.value)] = spot
            around.value.append(value)
            return
        key, around.key = around.key, None
        assert key is not None
        spot.key_line, spot.key_column = around.key_at
        twin = self._twin(around, key)
        if twin is not None:
            message = f"the key '{key}' is already at line {twin.key_line}, column {twin.key_column}"
            self.problems.append(Problem(self.file, *around.key_at, message, "keep one of the two"))
            return
        around.value[key] = value
        around.spot.children[key] = spot

    @staticmethod
    def _twin(around: _Open, key: Key) -> Spot | None:
        """An earlier equal key; the number 2 and the text '2' are equal."""
        children = around.spot.children
        if key in children:
            return children[key]
        if isinstance(key, int):
            return children.get(str(key))
        return children.get(int(key)) if key.isdecimal() and len(key) < _LONGEST_NUMBER else None
