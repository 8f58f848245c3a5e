"""Knowledge with some of its numbers put in the place of others.

May import: pydantic, and within the room `figures`, `records`.
"""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from diag.knowledge_base.records import Figure, Knowledge

__all__ = ["with_values"]

Path = tuple[int | str, ...]


def with_values(knowledge: Knowledge, values: Mapping[Path, float]) -> Knowledge:
    """The knowledge with other values of the figures at these paths (see `walk_figures`); nothing is checked again.

    Raises KeyError where there is no figure at a path.
    """
    changed = _changed(knowledge, dict(values), ())
    assert isinstance(changed, Knowledge)
    return changed


def _changed(record: object, values: Mapping[Path, float], at: Path) -> object:
    if isinstance(record, Figure):
        if set(values) != {()}:
            raise KeyError(at)
        return Figure.model_construct(value=values[()], also=record.also, basis=record.basis)
    by_first: dict[int | str, dict[Path, float]] = {}
    for path, value in values.items():
        if not path:
            raise KeyError(at)
        by_first.setdefault(path[0], {})[path[1:]] = value
    inner = {key: _changed(_part(record, key, at), some, (*at, key)) for key, some in by_first.items()}
    if isinstance(record, BaseModel):
        return record.model_copy(update={str(key): value for key, value in inner.items()})
    if isinstance(record, dict):
        return {**record, **inner}
    if isinstance(record, tuple):
        return tuple(inner.get(place, each) for place, each in enumerate(record))
    raise KeyError(at)


def _part(record: object, key: int | str, at: Path) -> object:
    if isinstance(record, BaseModel) and key in type(record).model_fields:
        return getattr(record, str(key))
    if isinstance(record, dict) and key in record:
        return record[key]
    if isinstance(record, tuple) and isinstance(key, int) and 0 <= key < len(record):
        return record[key]
    raise KeyError((*at, key))
