"""Knowledge with some of its numbers put in the place of others.

May import: pydantic, and within the room `figures`, `records`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import lru_cache

from pydantic import BaseModel

from diag.knowledge_base.records import Figure, Knowledge

__all__ = ["with_values"]

Path = tuple[int | str, ...]
_Tree = dict[int | str, "_Tree | int"]  # by the next step of the paths; in the end which path of all it is
_Make = Callable[[list[float]], object]  # from the values of all paths to a record that holds them

HELD = 4  # kinds of changes that are remembered
_LATEST: list[tuple[Knowledge, tuple[Path, ...], _Make]] = []


def with_values(knowledge: Knowledge, values: Mapping[Path, float]) -> Knowledge:
    """The knowledge with other values of the figures at these paths (see `walk_figures`); nothing is checked again.

    Raises KeyError where there is no figure at a path.
    """
    changed = _made_for(knowledge, tuple(values))(list(values.values()))
    assert isinstance(changed, Knowledge)
    return changed


def _made_for(knowledge: Knowledge, paths: tuple[Path, ...]) -> _Make:
    """What changes these numbers; worked out once, as the same numbers are drawn again and again."""
    for known, some, make in tuple(_LATEST):
        if known is knowledge and some == paths:
            return make
    tree = _tree_of(paths)
    if not isinstance(tree, dict):
        raise KeyError(())
    made = _maker(knowledge, tree, ())
    _LATEST.insert(0, (knowledge, paths, made))
    del _LATEST[HELD:]
    return made


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


def _maker(record: object, tree: _Tree | int, at: Path) -> _Make:
    """What makes a record like this one with the values in it. Raises KeyError where there is no figure."""
    if isinstance(record, Figure) is isinstance(tree, dict):
        raise KeyError(at)
    if not isinstance(tree, dict):
        return _figure(record, tree)
    inner = {step: _maker(_part(record, step, at), rest, (*at, step)) for step, rest in tree.items()}
    if isinstance(record, dict):
        return lambda values: {**record, **{step: make(values) for step, make in inner.items()}}
    if isinstance(record, tuple):
        plain = [inner.get(place) or _always(each) for place, each in enumerate(record)]
        return lambda values: tuple([make(values) for make in plain])
    return _like(record, {str(step): make for step, make in inner.items()})


def _figure(record: object, number: int) -> _Make:
    """What makes a figure like this one with another value: `_like`, in fewer steps, for most records are figures."""
    assert isinstance(record, Figure)
    held, told = record.__dict__, record.model_fields_set | {"value"}
    new, put = object.__new__, object.__setattr__

    def make(values: list[float]) -> object:
        made = new(Figure)
        put(made, "__dict__", {**held, "value": values[number]})
        put(made, "__pydantic_fields_set__", told)
        put(made, "__pydantic_extra__", None)
        put(made, "__pydantic_private__", None)
        return made

    return make


def _always(record: object) -> _Make:
    return lambda values: record


def _like(record: object, changes: Mapping[str, _Make]) -> _Make:
    """What makes a record with some fields changed. As `model_copy(update=...)`, without its detours: thousands are
    made for every draw of all numbers."""
    assert isinstance(record, BaseModel)
    kind, held, told = type(record), record.__dict__, record.model_fields_set
    told = told if told.issuperset(changes) else {*told, *changes}
    items = tuple(changes.items())
    new, put = object.__new__, object.__setattr__

    def make(values: list[float]) -> object:
        made = new(kind)
        fields = dict(held)
        for name, each in items:
            fields[name] = each(values)
        put(made, "__dict__", fields)
        put(made, "__pydantic_fields_set__", told)
        put(made, "__pydantic_extra__", None)
        put(made, "__pydantic_private__", None)
        return made

    return make


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
