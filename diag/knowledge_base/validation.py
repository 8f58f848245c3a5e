"""Turns what pydantic finds into plain sentences with file, line and column.

May import: pydantic, `diag.basics`, and within the room `reader`, `shapes`, `spreads`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from diag.basics import InvalidFile, KnowledgeError, Problem, did_you_mean, listed, near_miss
from diag.knowledge_base.reader import Key, PlacedDocument, Tree
from diag.knowledge_base.shapes import fields_at, is_figure_at
from diag.knowledge_base.spreads import KINDS_OF_SPREAD

__all__ = ["attempt", "validate"]

M = TypeVar("M", bound=BaseModel)

# pydantic's word for the error -> (sentence, hint); {input} is what stands there.
_SENTENCES = {
    "string_type": ("this should be text, and is {input}", "put it in quotes"),
    "bool_type": ("this should be true or false, and is {input}", "write true or false"),
    "float_parsing": ("this should be a number, and is {input}", ""),
    "float_type": ("this should be a number, and is {input}", ""),
    "finite_number": ("this should be a finite number, and is {input}", ""),
    "int_parsing": ("this should be a whole number, and is {input}", ""),
    "int_type": ("this should be a whole number, and is {input}", ""),
    "int_from_float": ("this should be a whole number, and is {input}", ""),
    "greater_than": ("this should be above {gt:g}, and is {input}", ""),
    "greater_than_equal": ("this should not be below {ge:g}, and is {input}", ""),
    "less_than": ("this should be below {lt:g}, and is {input}", ""),
    "less_than_equal": ("this should not be above {le:g}, and is {input}", ""),
    "tuple_type": ("this should be a list, and is {input}", "write [one, another]"),
    "list_type": ("this should be a list, and is {input}", "write [one, another]"),
    "dict_type": ("this should hold lines 'name: value', and is {input}", ""),
    "model_type": ("this should hold lines 'name: value', and is {input}", ""),
    "invalid_key": ("{input} is a number where a name should stand", "decimals are written with a point: 1.5"),
    "too_short": ("this needs at least {min_length}, and has {actual_length}", ""),
}
_PATTERNS = {
    "^[A-Z]{3}$": "write three capital letters, such as EUR",
    "^[PCBU][0-9A-F]{4}$": "write a code such as P0263",
    "^[a-z]{2,3}$": "write the short form of the language, such as fr",
}
_ALONE = "write the number alone, without its unit"
_FIGURE = f"{_ALONE}, as 12.5; a chance or a share as 0.4 or 40 %"
_DECIMAL = _SENTENCES["invalid_key"][1]
_COMMA = re.compile(r"\s*[-+]?[\d.]*\d,\d+(?!\d*,)")
_AFTER_A_COMMA = re.compile(r"\d+\s*%")


def validate(
    model: type[M], document: PlacedDocument, path: Sequence[Key] = (), error: type[InvalidFile] = KnowledgeError
) -> M:
    """Read the part of `document` at `path` as a `model`. Raises `error` with all problems, each with its place."""
    record, problems = attempt(model, document, path)
    if record is None:
        raise error(problems)
    return record


def attempt(model: type[M], document: PlacedDocument, path: Sequence[Key] = ()) -> tuple[M | None, list[Problem]]:
    """As `validate`, but gives the problems instead of raising them."""
    data: object = document.data
    for key in path:
        data = data[key]  # type: ignore[index]  # the caller's path exists
    try:
        return model.model_validate(data), []
    except ValidationError as cause:
        every = cause.errors(include_url=False)
        found = [one for one in every if not _follows(one, every)]
        missing: dict[tuple[Key, ...], list[str]] = {}
        for one in found:
            if one["type"] == "missing":
                missing.setdefault((*path, *one["loc"][:-1]), []).append(str(one["loc"][-1]))
        lacking = [_lacking(document, where, names) for where, names in missing.items()]
        others = [_problem(model, document, tuple(path), one) for one in found if one["type"] != "missing"]
        return None, [*lacking, *others]


def _follows(one: ErrorDetails, found: list[ErrorDetails]) -> bool:
    """Whether an error says only that something inside was wrong: 'too short' without the bad items."""
    inside = (other["loc"][: len(one["loc"])] == one["loc"] for other in found if other is not one)
    return one["type"] == "too_short" and any(inside)


def _lacking(document: PlacedDocument, told: tuple[Key, ...], names: list[str]) -> Problem:
    """What an entry lacks, in one sentence; an id that is like another one may only be misspelt."""
    path = tuple(part for part in told if part not in KINDS_OF_SPREAD)
    beside: object = document.data
    for key in path[:-1]:
        beside = beside.get(key) if isinstance(beside, dict) else None
    others = [str(key) for key in beside if key != path[-1]] if isinstance(beside, dict) and path else []
    nearest = near_miss(str(path[-1]), others) if path else None
    what = listed([f"'{name}'" for name in names], "and")
    verb = "is" if len(names) == 1 else "are"
    return document.problem(path, f"{what} {verb} missing here", f"did you mean '{nearest}'?" if nearest else "", True)


def _problem(model: type[BaseModel], document: PlacedDocument, path: tuple[Key, ...], one: ErrorDetails) -> Problem:
    of_key = one["loc"][-1:] == ("[key]",) or one["type"] == "extra_forbidden"
    told = tuple(part for part in one["loc"] if part != "[key]")
    message, hint = _words(model, told, one)
    local = tuple(part for part in told if part not in KINDS_OF_SPREAD)
    return document.problem(path + local, message, hint, of_key)


def _words(model: type[BaseModel], local: tuple[Key, ...], one: ErrorDetails) -> tuple[str, str]:
    kind, details = one["type"], one.get("ctx", {})
    last = str(local[-1]) if local else ""
    if kind == "extra_forbidden":
        return f"'{last}' is not known here", did_you_mean(last, fields_at(model, local[:-1]), most=14)
    if kind == "literal_error":
        allowed = re.findall(r"'([^']*)'", str(details.get("expected", "")))
        return f"{_shown(one['input'])} is not allowed here", did_you_mean(str(one["input"]), allowed, most=20)
    if kind == "value_error":
        return str(details.get("error", one["msg"])), ""
    if kind == "string_pattern_mismatch":
        return f"{_shown(one['input'])} does not have the right form", _PATTERNS.get(str(details.get("pattern")), "")
    if kind not in _SENTENCES:
        return f"{one['msg'][:1].lower()}{one['msg'][1:]}", ""
    sentence, hint = _SENTENCES[kind]
    if kind.startswith(("float", "int")):
        name = str(local[-2]) if last == "value" and len(local) > 1 else last
        if one["input"] is None and _AFTER_A_COMMA.fullmatch(name):  # {stuck: 0,5 %} is read as 'stuck: 0' and '5 %:'
            return f"'{name}' is a number where a name should stand", _DECIMAL
        hint = _number_hint(one["input"], is_figure_at(model, local) or is_figure_at(model, local[:-1]))
    return sentence.format(input=_shown(one["input"]), **details), hint


def _number_hint(value: object, figure: bool) -> str:
    """How a number is written where `value` stands instead; a `figure` may also be a share."""
    if isinstance(value, str) and _COMMA.match(value):
        return _DECIMAL
    if isinstance(value, str) or figure:
        return _FIGURE if figure else _ALONE
    return ""


def _shown(value: Tree | object) -> str:
    """A value as people would say it."""
    if value is None:
        return "empty"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    text = str(value)
    return f"'{text if len(text) <= 40 else text[:37] + '...'}'"
