"""The JSON Schema of a case file, for editors that complete and check while one types.

May import: `diag.knowledge_base`, and within the room the words and `trim_codes`.
"""

from __future__ import annotations

from typing import TypeAlias

from diag.casebook.numbering import numbering_words
from diag.casebook.trim_codes import TRIM_KEYS
from diag.casebook.words import CONDITIONS, FAULTS, HELPED, answer_words, scope_of
from diag.knowledge_base import Knowledge

__all__ = ["Json", "case_schema"]

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_PLACE = "^([0-9]+|[A-Z])$"


def case_schema(knowledge: Knowledge) -> dict[str, Json]:
    """JSON Schema (draft 2020-12) of a case file, with the names of this knowledge.

    Editors read YAML 1.1 or 1.2, so 'yes' and 'no' may come as true and false there; the schema lets both through.
    """
    texts: dict[str, Json] = {"type": "string"}
    found: dict[str, Json] = {
        "findings": {"$ref": "#/$defs/findings"},
        "codes": {
            "type": "array",
            "items": {"anyOf": [texts, {"type": "object", "maxProperties": 1}]},
            "description": "fault codes, alone, with a state or with a status byte: P0263, P0087 pending, P0201 0x2E",
        },
        "other_codes": {"const": "none", "description": "every other code was looked for and is not stored"},
        "readings": {"$ref": "#/$defs/readings"},
    }
    properties: dict[str, Json] = {
        "title": texts,
        "engine": {"anyOf": [{"enum": list(knowledge.engines)}, {"type": "string", "pattern": r"\.ya?ml$"}]},
        "distance": {"type": "string", "description": "with its unit: 187000 km, 116000 miles, 187 thousand km"},
        "age": {"type": "string", "description": "with its unit: 11 years, 30 months"},
        "history": {"type": "array", "items": {"$ref": "#/$defs/work"}},
        **found,
        "tried": {"type": "array", "items": {"$ref": "#/$defs/tried"}},
        "numbering": {
            "enum": list(numbering_words(knowledge)),
            "description": "how the control unit numbers the cylinders, where somebody has looked it up",
        },
        "trim_codes": _trim_codes(),
        "open": {"type": "array", "items": texts, "description": "access that is open now: covers A"},
        "cannot": {"type": "array", "items": {"enum": list(knowledge.checks)}},
        "note": texts,
    }
    return {
        "$schema": _DRAFT,
        "title": "diag case",
        "type": "object",
        "required": ["engine"],
        "additionalProperties": False,
        "properties": properties,
        "$defs": _definitions(knowledge, found),
    }


def _trim_codes() -> dict[str, Json]:
    """The ledger: the codes of each cylinder's injector."""
    code: dict[str, Json] = {"type": "string", "description": "the code in quotes; none, or not read"}
    entry: dict[str, Json] = {
        "type": "object",
        "properties": dict.fromkeys(TRIM_KEYS, code),
        "additionalProperties": False,
    }
    return {"type": "object", "patternProperties": {"^[0-9]+$": entry}, "additionalProperties": False}


def _definitions(knowledge: Knowledge, found: dict[str, Json]) -> dict[str, Json]:
    place: dict[str, Json] = {"anyOf": [{"type": "integer"}, {"type": "string"}]}
    places: dict[str, Json] = {"anyOf": [place, {"type": "array", "items": place}]}
    repair: dict[str, Json] = {"enum": list(knowledge.repairs)}
    words: dict[str, Json] = {"anyOf": [{"enum": [*answer_words(knowledge), *knowledge.answers]}, {"type": "boolean"}]}
    number: dict[str, Json] = {
        "type": ["string", "number"],
        "description": "with its unit; with its error and what it was read at, where they are known: above 60 mL/min, "
        "3.12 +/- 0.05 mg/stroke, 60 mL/min at 400 bar",
    }
    work: dict[str, Json] = {
        "did": {"anyOf": [repair, {"type": "array", "items": repair}]},
        "cylinder": places,
        "with": place,
        "bank": places,
        "but": {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]},
        "ago": {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]},
        "helped": {"anyOf": [{"enum": list(HELPED)}, {"type": "boolean"}]},
        "note": {"type": "string"},
    }
    then: dict[str, Json] = {"type": "object", "additionalProperties": False, "properties": found}
    tried: dict[str, Json] = {
        **work,
        "fault": {"enum": list(FAULTS)},
        "together": {"anyOf": [{"type": "boolean"}, {"enum": ["yes", "no"]}]},
        "then": then,
    }
    return {
        "work": {"anyOf": [repair, _closed(work)]},
        "tried": {"anyOf": [repair, _closed(tried)]},
        "findings": _asked(knowledge, list(knowledge.findings), words, turned=True),
        "readings": _asked(
            knowledge, list(knowledge.readings), {"anyOf": [number, {"type": "array", "items": number}]}
        ),
    }


def _closed(properties: dict[str, Json]) -> dict[str, Json]:
    return {"type": "object", "required": ["did"], "additionalProperties": False, "properties": properties}


def _asked(knowledge: Knowledge, items: list[str], value: dict[str, Json], turned: bool = False) -> dict[str, Json]:
    """What may be said of findings or readings; `turned`: also as {present: [2, 5]}."""
    patterns: dict[str, Json] = {}
    under = f"( under ({'|'.join(CONDITIONS)}))?"
    for item in items:
        by_place: dict[str, Json] = {
            "type": "object",
            "patternProperties": {_PLACE: value},
            "additionalProperties": {} if turned else False,
        }
        patterns[f"^{item}{under}$"] = value if scope_of(knowledge, item) == "vehicle" else by_place
    block: dict[str, Json] = {"type": "object", "patternProperties": patterns, "additionalProperties": False}
    return {"anyOf": [block, {"type": "array", "items": block}]}
