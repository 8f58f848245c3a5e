"""What two files of one overlay folder both say: no order holds among them, so that neither could be meant to win.

May import: `diag.basics`, and within the room `reader`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from diag.basics import Problem
from diag.knowledge_base.reader import Key, PlacedDocument, Tree

__all__ = ["said_twice"]

Place = tuple[Key, ...]


def said_twice(documents: Sequence[PlacedDocument]) -> Iterator[Problem]:
    """Every value that stands in two of the files, told where it stands again. A basis speaks for its file alone."""
    first: dict[Place, Problem] = {}  # of each value and of all around it, where it was first written
    values: set[Place] = set()
    for document in documents:
        seen: dict[Place, Problem] = {}
        own: set[Place] = set()
        for path in _values(document.data, ()):
            place = _place(document, path)
            around = [place[:length] for length in range(1, len(place) + 1)]
            clash = place if place in first else next((each for each in around if each in values), None)
            if clash is not None:
                message = f"'{clash[-1]}' is already in {first[clash].file}:{first[clash].line}"
                yield document.problem(path, message, "keep one of the two", of_key=True)
            own.add(place)
            seen |= {each: document.problem(path, "", of_key=True) for each in around if each not in seen}
        first |= {place: where for place, where in seen.items() if place not in first}
        values |= own


def _values(inside: Tree, path: Place) -> Iterator[Place]:
    """The paths of what is no mapping, within the kinds of knowledge."""
    if not isinstance(inside, dict):
        if len(path) > 1:
            yield path
        return
    for key, value in inside.items():
        if key != "basis":
            yield from _values(value, (*path, key))


def _place(document: PlacedDocument, path: Place) -> Place:
    """Where a value goes: what stands under `engine:` is the engine that is named like the file."""
    return ("engines", Path(document.file).stem, *path[1:]) if path[:1] == ("engine",) else path
