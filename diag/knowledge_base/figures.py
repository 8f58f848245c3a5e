"""Every number of the knowledge, and the basis that it stands on: its own, else that of the entry it is in.

May import: pydantic, and within the room `records`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel

from diag.knowledge_base.records import Basis, Figure, Knowledge

__all__ = ["PlacedFigure", "basis_of", "figures_in", "walk_figures"]

Path = tuple[int | str, ...]


@dataclass(frozen=True)
class PlacedFigure:
    """A figure, the path at which it stands (kind, id, field, ...), and the basis that holds for it."""

    path: Path
    figure: Figure
    basis: Basis | None


def basis_of(figure: Figure, entry: BaseModel) -> Basis | None:
    """The basis that holds for a figure of an entry: its own, else the entry's, else none."""
    if figure.basis is not None:
        return figure.basis
    basis = getattr(entry, "basis", None)
    return basis if isinstance(basis, Basis) else None


def walk_figures(knowledge: Knowledge) -> Iterator[PlacedFigure]:
    """Every figure that the files state, in their order. Values that the program fills in are left out."""
    yield from figures_in(knowledge)


def figures_in(value: object, path: Path = (), basis: Basis | None = None) -> Iterator[PlacedFigure]:
    """Every figure in a record, mapping or list, each with the nearest basis around it."""
    if isinstance(value, Figure):
        yield PlacedFigure(path, value, value.basis or basis)
    elif isinstance(value, BaseModel):
        own = getattr(value, "basis", None)
        for name in type(value).model_fields:
            if name in value.model_fields_set:
                inside = getattr(value, name)
                yield from figures_in(inside, (*path, name), own if isinstance(own, Basis) else basis)
    elif isinstance(value, dict):
        for key, inside in value.items():
            yield from figures_in(inside, (*path, key), basis)
    elif isinstance(value, tuple):
        for index, inside in enumerate(value):
            yield from figures_in(inside, (*path, index), basis)
