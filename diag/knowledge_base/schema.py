"""The JSON Schema of every kind of knowledge file, for editors that check while you write.

May import: `diag.basics`, and within the room `languages`, `merging` and `records`.
"""

from __future__ import annotations

from functools import lru_cache

from diag.basics import UsageError, did_you_mean
from diag.knowledge_base.languages import Language
from diag.knowledge_base.merging import LISTED_KINDS, SINGLE_KINDS
from diag.knowledge_base.records import Engine, Record

__all__ = ["json_schema", "schema_kinds"]

Json = dict[str, object]
_DEMANDS = ("required", "minItems", "minProperties")
_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_kinds() -> tuple[str, ...]:
    """The kinds of knowledge file, each by the key at its top."""
    return (*(kind for kind in LISTED_KINDS if kind != "engines"), *SINGLE_KINDS, "engine", "language")


def json_schema(kind: str | None = None) -> Json:
    """The schema of a file of one kind, or of any knowledge file (each kind as a property, none required),
    or of an `overlay`, which may give any part of an entry alone.

    Raises UsageError for a kind that there is not.
    """
    if kind is None:
        return _schema(schema_kinds(), "A knowledge file of diag", required=())
    if kind == "overlay":
        kinds = (*(kind for kind in schema_kinds() if kind != "language"), "engines")
        loose = _nothing_required(_schema(kinds, "An overlay of diag's knowledge", required=()))
        assert isinstance(loose, dict)
        loose["properties"]["basis"] = {"$ref": "#/$defs/Basis"}
        loose["properties"]["prices"]["properties"]["exchange"] = {"type": "number", "exclusiveMinimum": 0}
        return loose
    if kind not in schema_kinds():
        hint = did_you_mean(kind, (*schema_kinds(), "overlay", "case"), most=20)
        raise UsageError(f"there is no kind of knowledge '{kind}'" + (f"; {hint}" if hint else ""))
    return _schema((kind,), f"{kind} of diag", required=(kind,))


def _schema(kinds: tuple[str, ...], title: str, required: tuple[str, ...]) -> Json:
    properties: Json = {}
    definitions: Json = {}
    for kind in kinds:
        part = dict(_schema_of(kind))
        inner = part.pop("$defs", {})
        assert isinstance(inner, dict)
        definitions |= inner
        properties[kind] = part
    return {
        "$schema": _DIALECT,
        "title": title,
        "type": "object",
        "additionalProperties": False,
        "properties": properties,
        "required": list(required),
        "$defs": definitions,
    }


@lru_cache
def _schema_of(kind: str) -> Json:
    """The schema of what stands below a kind's key, with its definitions under `$defs`."""
    if kind not in LISTED_KINDS:
        models: dict[str, type[Record]] = {**SINGLE_KINDS, "engine": Engine, "language": Language}
        model = models[kind]
        return model.model_json_schema()
    model = LISTED_KINDS[kind]
    entry: Json = dict(model.model_json_schema())
    definitions = entry.pop("$defs", {})
    assert isinstance(definitions, dict)
    entries: Json = {"$ref": f"#/$defs/{model.__name__}"}
    return {"type": "object", "additionalProperties": entries, "$defs": {**definitions, model.__name__: entry}}


def _nothing_required(schema: object) -> object:
    """An overlay names only what it changes."""
    if isinstance(schema, dict):
        return {key: _nothing_required(inside) for key, inside in schema.items() if key not in _DEMANDS}
    return [_nothing_required(inside) for inside in schema] if isinstance(schema, list) else schema
