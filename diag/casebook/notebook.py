"""What the readers of a case file share: the document, the knowledge, the engine, and the problems found so far.

May import: `diag.basics`, `diag.knowledge_base`, and within the room `words`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from diag.basics import Place, Problem, did_you_mean
from diag.casebook.words import place_fault
from diag.knowledge_base import Engine, Key, Knowledge, PlacedDocument, Scope, Tree

__all__ = ["Notebook", "Path", "shown"]

Path: TypeAlias = tuple[Key, ...]


@dataclass
class Notebook:
    """`engine` is none where the file's own could not be told: places are then not checked against it."""

    document: PlacedDocument
    knowledge: Knowledge
    engine: Engine | None = None
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def complain(self, path: Sequence[Key], message: str, hint: str = "", of_key: bool = False) -> None:
        """Note a problem at the place of the value at `path`, or of its key."""
        self.problems.append(self.document.problem(path, message, hint, of_key))

    def known(self, path: Path, name: Tree, what: str, names: Iterable[str], of_key: bool = False) -> str | None:
        """`name` where it is one of `names`; else none, and a problem that names the nearest."""
        known = list(names)
        if isinstance(name, str) and name in known:
            return name
        word = shown(name)
        self.complain(path, f"there is no {what} {word}", did_you_mean(word.strip("'"), known), of_key)
        return None

    def text(self, path: Path, value: Tree) -> str:
        """A value that should be text; a number is taken as it stands."""
        if isinstance(value, str):
            return value
        if value is not None:
            self.complain(path, f"this should be text, and is {shown(value)}", "put it in quotes")
        return ""

    def mapping(self, path: Path, value: Tree, example: str) -> dict[Key, Tree]:
        """A value that should be a mapping; nothing is an empty one."""
        if isinstance(value, dict):
            return value
        if value is not None:
            self.complain(path, f"this should hold lines 'name: value', and is {shown(value)}", f"write '{example}'")
        return {}

    def entries(self, path: Path, value: Tree, example: str) -> list[Tree]:
        """A value that should be a list; nothing is an empty one."""
        if isinstance(value, list):
            return value
        if value is not None:
            self.complain(path, f"this should be a list, and is {shown(value)}", f"write '{example}'")
        return []

    def place(self, path: Path, written: Tree, scope: Scope, hint: str, of_key: bool = False) -> Place:
        """The cylinder's number or bank's letter that is written; else none, and a problem."""
        place = written if isinstance(written, int | str) and not isinstance(written, bool) else None
        if not isinstance(place, int if scope == "cylinder" else str):
            wanted = "a cylinder's number" if scope == "cylinder" else "a bank's letter"
            self.complain(path, f"{shown(written)} is not {wanted}", hint, of_key)
            return None
        fault = place_fault(self.engine, scope, place) if self.engine is not None else None
        if fault is not None:
            self.complain(path, *fault, of_key)
            return None
        return place

    def every_place(self, scope: Scope) -> list[int | str]:
        """Every cylinder or bank of the engine; empty where the engine is not known."""
        if self.engine is None:
            return []
        return [*self.engine.cylinders] if scope == "cylinder" else [*self.engine.banks]

    def unknown_keys(self, path: Path, value: dict[Key, Tree], known: Sequence[str]) -> None:
        """A problem for every key that means nothing here."""
        for key in value:
            if key not in known:
                hint = did_you_mean(str(key), known, most=16)
                self.complain((*path, key), f"'{key}' is not known here", hint, of_key=True)


def shown(value: Tree) -> str:
    """A value as people would say it."""
    if value is None:
        return "empty"
    if isinstance(value, bool):
        return f"'{str(value).lower()}'"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
