"""The JSON forms: documented field by field, held by their own schema, with full numbers."""

from __future__ import annotations

import dataclasses
import json
import typing
from collections.abc import Callable, Iterator

import jsonschema
import pytest

from diag.basics import UsageError
from diag.knowledge_base import load_knowledge
from diag.report import FORMS, form_record, form_schema, item_sheet, list_sheet, sheet_dict, sheet_json
from tests.report import stand_ins

SHEETS: dict[str, Callable[[], object]] = {
    "diag.weigh/1": stand_ins.weigh_sheet,
    "diag.next/1": stand_ins.next_sheet,
    "diag.repair/1": stand_ins.repair_sheet,
    "diag.advise/1": stand_ins.advice_sheet,
    "diag.knowledge.list/1": lambda: list_sheet(load_knowledge(), None),
    "diag.knowledge.item/1": lambda: item_sheet(load_knowledge(), "reseal"),
}


@pytest.mark.parametrize("form", SHEETS)
def test_a_sheet_is_valid_under_the_schema_of_its_form(form: str) -> None:
    body = json.loads(sheet_json(SHEETS[form]()))
    schema = form_schema(form)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(body)
    assert next(iter(body)) == "form"
    assert body["form"] == form


@pytest.mark.parametrize("form", FORMS)
def test_every_field_of_every_form_says_what_it_holds(form: str) -> None:
    undescribed = [f"{kind.__name__}.{name}" for kind, name, hint in _fields(form_record(form)) if not _meaning(hint)]
    assert undescribed == []


def test_numbers_are_given_in_full() -> None:
    assert sheet_dict(stand_ins.weigh_sheet())["log_evidence"] == -21.5
    assert '"chance": 0.934,' in sheet_json(stand_ins.weigh_sheet())


def test_a_form_is_found_by_its_short_name() -> None:
    assert form_schema("weigh") == form_schema("diag.weigh/1")


def test_an_unknown_form_is_named_with_the_nearest_known_one() -> None:
    with pytest.raises(UsageError, match=r"there is no JSON form 'diag.weihg/1'; did you mean 'diag.weigh/1'\?"):
        form_schema("diag.weihg/1")


def test_a_number_that_is_not_finite_is_refused() -> None:
    with pytest.raises(ValueError, match="not finite"):
        sheet_dict(dataclasses.replace(stand_ins.weigh_sheet(), log_evidence=float("nan")))


def _fields(kind: object) -> Iterator[tuple[type, str, object]]:
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        for name, hint in typing.get_type_hints(kind, include_extras=True).items():
            yield kind, name, hint
            yield from _fields(hint)
    for argument in typing.get_args(kind):
        yield from _fields(argument)


def _meaning(hint: object) -> bool:
    return typing.get_origin(hint) is typing.Annotated and all(str(each).strip() for each in typing.get_args(hint)[1:])
