"""Questions about what a record may hold at a path: which fields, and whether it is a figure.

A path may name which kind of spread it goes through. May import: pydantic, and within the room `records`, `spreads`.
"""

from __future__ import annotations

import types
from collections.abc import Sequence
from typing import Annotated, Union, get_args, get_origin

from pydantic import BaseModel

from diag.knowledge_base.records import Figure
from diag.knowledge_base.spreads import KINDS_OF_SPREAD

__all__ = ["fields_at", "is_figure_at"]


def fields_at(model: type[BaseModel], path: Sequence[int | str]) -> tuple[str, ...]:
    """The fields that may stand in what is at `path` within `model`; empty where it is no record."""
    records = [shape for shape in _at(model, path) if isinstance(shape, type) and issubclass(shape, BaseModel)]
    return tuple(name for record in records for name in record.model_fields)


def is_figure_at(model: type[BaseModel], path: Sequence[int | str]) -> bool:
    """Whether a Figure stands at `path` within `model`."""
    return Figure in _at(model, path)


def _at(model: type[BaseModel], path: Sequence[int | str]) -> list[object]:
    shapes: list[object] = [model]
    for key in path:
        if key in KINDS_OF_SPREAD:
            shapes = [shape for shape in shapes if shape is KINDS_OF_SPREAD[str(key)]]
            continue
        shapes = [inner for shape in shapes for inner in _inside(shape, key)]
    return shapes


def _inside(shape: object, key: int | str) -> list[object]:
    """The shapes that may stand at `key` in a value of `shape`."""
    if isinstance(shape, type) and issubclass(shape, BaseModel):
        field = shape.model_fields.get(str(key))
        return _plain(field.annotation) if field else []
    arguments = get_args(shape)
    if get_origin(shape) is dict:
        return _plain(arguments[1])
    return _plain(arguments[0]) if get_origin(shape) in (tuple, list) else []


def _plain(annotation: object) -> list[object]:
    """Take off Annotated, and spread unions."""
    if get_origin(annotation) is Annotated:
        return _plain(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        return [shape for part in get_args(annotation) for shape in _plain(part)]
    return [annotation]
