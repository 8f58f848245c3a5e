"""What small files have in common that say, by hand, what the columns of something are: words that are allowed, places.

May import: `diag.basics`, `diag.knowledge_base`.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from typing import TypeVar

from diag.basics import Problem, did_you_mean
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Tree

__all__ = ["DECIMALS", "DELIMITERS", "UNUSED", "MappingReader", "shortened"]

Choice = TypeVar("Choice")
UNUSED = "unused"
DELIMITERS: dict[str | bool, str] = {
    "comma": ",",
    "semicolon": ";",
    "tab": "\t",
    ",": ",",
    ";": ";",
    "\t": "\t",
    "|": "|",
}
DECIMALS: dict[str | bool, str] = {"comma": ",", "point": ".", ",": ",", ".": "."}


class MappingReader:
    """Reads such a file and collects its problems, each with its place."""

    def __init__(self, document: PlacedDocument, knowledge: Knowledge) -> None:
        self.document = document
        self.knowledge = knowledge
        self.problems: list[Problem] = []

    def complain(self, path: Sequence[Key], message: str, hint: str = "", of_key: bool = False) -> None:
        """Note a problem at `path`."""
        self.problems.append(self.document.problem(path, message, hint, of_key))

    def only(self, inside: Mapping[Key, Tree], known: Sequence[str], path: tuple[Key, ...] = ()) -> None:
        """Complain about every key that is not known."""
        for key in inside:
            if key not in known:
                hint = did_you_mean(str(key), known)
                self.complain((*path, key), f"'{key}' is not known here", hint, of_key=True)

    def choice(self, path: Sequence[Key], value: Tree, choices: Mapping[str | bool, Choice]) -> Choice | None:
        """One of several words; none, with a problem, for another."""
        if not isinstance(value, str | bool) or value not in choices:
            words = [choice for choice in choices if isinstance(choice, str) and len(choice) > 1]
            hint = did_you_mean(str(value), words, most=20)
            self.complain(path, f"'{shortened(value)}' is not possible here", hint)
            return None
        return choices[value]

    def chosen(self, name: str, choices: Mapping[str | bool, Choice]) -> Choice | None:
        """The same of an outermost key; none where it is not given."""
        data = self.document.data
        return self.choice((name,), data[name], choices) if name in data else None

    def encoding(self) -> str | None:
        """The encoding that is told, by the name that Python has for it; none where there is none."""
        value = self.document.data.get("encoding")
        if value is None:
            return None
        try:
            return codecs.lookup(str(value)).name
        except LookupError:
            hint = "it can be utf-8, utf-16, cp1252, iso-8859-1 or another that Python knows"
            self.complain(("encoding",), f"there is no encoding '{shortened(value)}'", hint)
            return None


def shortened(value: Tree) -> str:
    """A value for a message, of at most 40 characters."""
    text = "empty" if value is None else "a list" if isinstance(value, list) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."
