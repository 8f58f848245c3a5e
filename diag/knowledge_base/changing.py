"""Knowledge with some of its numbers put in the place of others.

May import: pydantic, and within the room `figures`, `records`.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from pydantic import BaseModel

from diag.knowledge_base.records import Figure, Knowledge

__all__ = ["with_values"]

Path = tuple[int | str, ...]
_Tree = dict[int | str, "_Tree | int"]  # by the next step of the paths; in the end which path of all it is


def with_values(knowledge: Knowledge, values: Mapping[Path, float]) -> Knowledge:
    """The knowledge with other values of the figures at these paths (see `walk_figures`); nothing is checked again.

    Raises KeyError where there is no figure at a path.
    """
    tree = _tree_of(tuple(values))
    if not isinstance(tree, dict):
        raise KeyError(())
    changed = _changed(knowledge, tree, list(values.values()), ())
    assert isinstance(changed, Knowledge)
    return changed


@lru_cache(maxsize=8)  # the same numbers are drawn again and again
def _tree_of(paths: tuple[Path, ...]) -> _Tree | int:
    """The paths by their steps. Raises KeyError where one path ends within another."""
    tree: _Tree = {}
    for number, path in enumerate(paths):
        if not path:
            return number
        here = tree
        for step in path[:-1]:
            further = here.setdefault(step, {})
            if not isinstance(further, dict):
                raise KeyError(path)
            here = further
        if path[-1] in here:
            raise KeyError(path)
        here[path[-1]] = number
    return tree


def _changed(record: object, tree: _Tree | int, values: list[float], at: Path) -> object:
    if isinstance(record, Figure) is isinstance(tree, dict):
        raise KeyError(at)
    if not isinstance(tree, dict):
        return _like(record, {"value": values[tree]})
    inner = {step: _changed(_part(record, step, at), rest, values, (*at, step)) for step, rest in tree.items()}
    if isinstance(record, dict):
        return {**record, **inner}
    if isinstance(record, tuple):
        return tuple(inner.get(place, each) for place, each in enumerate(record))
    return _like(record, inner)


def _like(record: object, changes: Mapping[int | str, object]) -> object:
    """A record with some fields changed. As `model_copy(update=...)`, without its detours: thousands are made for
    every draw of all numbers."""
    assert isinstance(record, BaseModel)
    made = object.__new__(type(record))
    told = record.model_fields_set
    object.__setattr__(made, "__dict__", {**record.__dict__, **changes})
    object.__setattr__(made, "__pydantic_fields_set__", told if told.issuperset(changes) else {*told, *changes})
    object.__setattr__(made, "__pydantic_extra__", None)
    object.__setattr__(made, "__pydantic_private__", None)
    return made


def _part(record: object, key: int | str, at: Path) -> object:
    if isinstance(record, dict):
        if key in record:
            return record[key]
    elif isinstance(record, BaseModel):
        if key in type(record).model_fields:
            return getattr(record, str(key))
    elif isinstance(record, tuple) and isinstance(key, int) and 0 <= key < len(record):
        return record[key]
    raise KeyError((*at, key))
