"""The JSON forms: a sheet as JSON, with the name and version of its form, and the JSON Schema of every form.

A form's version goes up when a field is taken out or changes its meaning; a new field does not change it.
May import: `diag.basics`, sheets.
"""

from __future__ import annotations

import dataclasses
import importlib
import json
import math
import types
import typing
from collections.abc import Callable

from diag.basics import UsageError, did_you_mean

__all__ = ["FORMS", "Json", "form_record", "form_schema", "sheet_dict", "sheet_json"]

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None

FORMS: dict[str, str] = {
    "diag.weigh/1": "sheets_weigh.WeighSheet",
    "diag.next/1": "sheets_checks.NextSheet",
    "diag.repair/1": "sheets_repair.RepairSheet",
    "diag.advise/1": "sheets_advice.AdviceSheet",
    "diag.sheet/1": "sheets_work.WorkSheet",
    "diag.estimate/1": "sheets_work.EstimateSheet",
    "diag.why/1": "sheets_why.WhySheet",
    "diag.doubt/1": "sheets_doubt.DoubtSheet",
    "diag.customer/1": "customer.CustomerPage",
    "diag.cases/1": "sheets_knowledge.CasesSheet",
    "diag.engines/1": "sheets_knowledge.EnginesSheet",
    "diag.knowledge.list/1": "sheets_knowledge.ListSheet",
    "diag.knowledge.item/1": "sheets_knowledge.ItemSheet",
    "diag.knowledge.check/1": "sheets_knowledge.ComplaintsSheet",
    "diag.learn/1": "sheets_learning.LearnSheet",
    "diag.score-book/1": "sheets_learning.ScoreSheet",
    "diag.log/1": "sheets_log.LogSheet",
    "diag.book.list/1": "sheets_book.BookListSheet",
    "diag.book.case/1": "sheets_book.BookCaseSheet",
    "diag.book.like/1": "sheets_book.BookLikeSheet",
    "diag.book.done/1": "sheets_book.BookDoneSheet",
    "diag.laboratory/1": "sheets_laboratory.LaboratorySheet",
    "diag.practice.studies/1": "sheets_training.StudiesSheet",
    "diag.practice.case/1": "sheets_training.MadeSheet",
    "diag.practice.state/1": "sheets_training.PracticeStateSheet",
    "diag.practice.debrief/1": "sheets_training.DebriefSheet",
    "diag.practice.class/1": "sheets_training.ClassSheet",
    "diag.table/1": "sheets_table.TableSheet",
    "diag.table.columns/1": "sheets_table.TableColumnsSheet",
}
"""The form of each sheet: module and class, imported when they are asked for."""


def form_record(form: str) -> type[object]:
    """The class of the sheets of a form, by its full name."""
    module, name = FORMS[form].rsplit(".", 1)
    record: type[object] = getattr(importlib.import_module(f"diag.report.{module}"), name)
    return record


def sheet_dict(sheet: object) -> dict[str, Json]:
    """A sheet as a JSON-ready dictionary that begins with `form`. Raises KeyError for what is no sheet."""
    wanted = type(sheet).__name__
    name = next((form for form, where in FORMS.items() if where.rsplit(".", 1)[1] == wanted), "")
    if not name or form_record(name) is not type(sheet):
        raise KeyError(wanted)
    body = _plain(sheet)
    assert isinstance(body, dict)
    return {"form": name, **body}


def sheet_json(sheet: object) -> str:
    """The same as text: UTF-8, two spaces, full numbers."""
    return json.dumps(sheet_dict(sheet), ensure_ascii=False, indent=2, allow_nan=False)


def form_schema(form: str) -> dict[str, Json]:
    """The JSON Schema (2020-12) of a form, named in full, or by its middle such as `weigh`."""
    wanted = [name for name in FORMS if form in (name, name.split("/")[0], name.removeprefix("diag.").split("/")[0])]
    if not wanted:
        raise UsageError(f"there is no JSON form '{form}'; {did_you_mean(form, list(FORMS), most=20)}")
    schema = _schema(form_record(wanted[0]))
    assert isinstance(schema, dict)
    properties, required = schema["properties"], schema["required"]
    assert isinstance(properties, dict)
    assert isinstance(required, list)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": wanted[0],
        **schema,
        "properties": {"form": {"const": wanted[0], "description": "name and version of this form"}, **properties},
        "required": ["form", *required],
    }


def _plain(value: object) -> Json:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError("a sheet holds a number that is not finite")
        return float(value)
    if value is None or isinstance(value, str | int):
        return value
    raise TypeError(f"a sheet holds {type(value).__name__}, which JSON does not")


_SIMPLE: dict[object, dict[str, Json]] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    float: {"type": "number"},
    bool: {"type": "boolean"},
    type(None): {"type": "null"},
}


def _schema(kind: object) -> Json:
    if kind in _SIMPLE:
        return dict(_SIMPLE[kind])
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return _record_schema(kind)
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin is typing.Annotated:
        inner = _schema(arguments[0])
        assert isinstance(inner, dict)
        return {**inner, "description": str(arguments[1])}
    if origin is tuple:
        return {"type": "array", "items": _schema(arguments[0])}
    if origin is dict:
        return {"type": "object", "additionalProperties": _schema(arguments[1])}
    if origin is typing.Literal:
        return {"enum": list(arguments)}
    if origin in (types.UnionType, typing.Union):
        return {"anyOf": [_schema(argument) for argument in arguments]}
    raise TypeError(f"no schema for {kind!r}")


def _record_schema(kind: type[object]) -> dict[str, Json]:
    hints = typing.get_type_hints(kind, include_extras=True)
    names: list[Json] = list(hints)
    describe: Callable[[object], Json] = _schema
    return {
        "type": "object",
        "properties": {name: describe(hint) for name, hint in hints.items()},
        "required": names,
        "additionalProperties": False,
    }
