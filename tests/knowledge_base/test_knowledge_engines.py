"""A new engine in ten minutes, and the schema for editors."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from diag.basics import UsageError
from diag.knowledge_base import (
    EngineLayout,
    Knowledge,
    check_knowledge,
    json_schema,
    load_knowledge,
    new_engine_text,
    read_document,
    save_engine,
    schema_kinds,
    shipped_folder,
    suggested_banks,
    suggested_firing_order,
)

V6 = EngineLayout(id="our_v6", name="Our V6", cylinders=6, layout="V", injector="piezo")


def test_a_new_engine_goes_out_and_comes_back(shipped: Knowledge, tmp_path: Path) -> None:
    """Written, laid over what ships, and complained of by nothing."""
    path = save_engine(shipped, V6, tmp_path)
    knowledge = load_knowledge(overlays=[path])
    engine = knowledge.engines["our_v6"]
    assert engine.banks == {"A": (1, 2, 3), "B": (4, 5, 6)}
    assert engine.firing_order == (1, 4, 2, 5, 3, 6)
    assert not engine.invented
    assert check_knowledge(knowledge).complaints == check_knowledge(shipped).complaints
    with pytest.raises(UsageError, match="already there"):
        save_engine(shipped, V6, tmp_path)


def test_what_only_the_maker_knows_stays_blank(shipped: Knowledge, tmp_path: Path) -> None:
    """Tightening values, trim code, waiting time; every value that is filled in says that it is a default."""
    engine = load_knowledge(overlays=[save_engine(shipped, V6, tmp_path)]).engines["our_v6"]
    assert engine.torques and all(one.newton_metres is None for one in engine.torques.values())
    assert (engine.trim_code.length, engine.trim_code.alphabet, engine.wait_after_stop_minutes) == (None, None, None)
    assert engine.limits
    for limit in engine.limits.values():
        assert limit.default == (limit.value is not None)
        assert limit.note


def test_the_text_says_what_to_check(shipped: Knowledge) -> None:
    """Suggested orders and banks are marked, given ones are not."""
    text = new_engine_text(shipped, V6)
    assert "CHECK AGAINST THE MAKER" in text and "the usual numbering; check it" in text
    own = EngineLayout("x", "X", 4, "V", "piezo", {"A": (1, 3), "B": (2, 4)}, (1, 3, 4, 2))
    assert "CHECK AGAINST" not in new_engine_text(shipped, own)
    assert "A: [1, 3]" in new_engine_text(shipped, own)


@pytest.mark.parametrize(
    ("layout", "said"),
    [
        (EngineLayout("x", "X", 6, "V", "piezo"), "only common for this layout"),
        (EngineLayout("x", "X", 7, "inline", "piezo"), "plainly counted, not known"),
        (EngineLayout("x", "X", 6, "V", "piezo", {"A": (1, 3, 5), "B": (2, 4, 6)}), "plainly counted, not known"),
    ],
)
def test_plain_counting_is_not_called_common(layout: EngineLayout, said: str, shipped: Knowledge) -> None:
    """An order is common for the usual numbering alone."""
    assert said in new_engine_text(shipped, layout)


@pytest.mark.parametrize(
    ("layout", "said"),
    [
        (EngineLayout("Our V6", "x", 6, "V", "piezo"), "'Our V6' is not an id"),
        (EngineLayout("x", "x", 0, "inline", "piezo"), "1 to 12 cylinders here, not 0"),
        (EngineLayout("x", "x", 13, "inline", "piezo"), "1 to 12 cylinders here, not 13"),
        (EngineLayout("x", "x", 1, "V", "piezo"), "bank B has no cylinders"),
        (EngineLayout("x", "x", 4, "inline", "piezo", None, (1, 3, 4)), "the firing order leaves out 2"),
        (EngineLayout("x", "x", 4, "inline", "piezo", None, (1, 3, 4, 9)), "there is no cylinder 9"),
        (EngineLayout("x", "x", 4, "V", "piezo", {"A": (1, 2), "B": (2, 4)}), "cylinder 2 is also in bank A"),
        (EngineLayout("x", "x", 4, "inline", "piezo", {"A": (1, 2), "B": (3, 4)}), "an inline engine has one bank"),
    ],
)
def test_layouts_that_do_not_hold_together(layout: EngineLayout, said: str, shipped: Knowledge) -> None:
    """In words, before anything is written."""
    with pytest.raises(UsageError, match=said):
        new_engine_text(shipped, layout)


@given(name=st.text(max_size=40), cylinders=st.integers(1, 12), piezo=st.booleans())
@settings(max_examples=25, deadline=None)
def test_any_name_survives(name: str, cylinders: int, piezo: bool, small: Knowledge) -> None:
    """Quotes, colons, any alphabet; what is not one line of text is refused in words."""
    layout = EngineLayout("x", name, cylinders, "inline", "piezo" if piezo else "solenoid")
    if not (name.strip() and name.isprintable()):
        with pytest.raises(UsageError, match="one line of ordinary text"):
            new_engine_text(small, layout)
        return
    text = new_engine_text(small, layout)
    assert yaml.safe_load(text)["engine"]["name"] == name
    engine = read_document("x.yaml", text).data["engine"]
    assert isinstance(engine, dict) and engine["name"] == name


@pytest.mark.parametrize("cylinders", range(1, 17))
@pytest.mark.parametrize("layout", ["inline", "V"])
def test_suggestions_are_complete(layout: str, cylinders: int) -> None:
    """Every cylinder stands once in the banks and fires once."""
    numbers = list(range(1, cylinders + 1))
    assert sorted(number for bank in suggested_banks(layout, cylinders).values() for number in bank) == numbers
    assert sorted(suggested_firing_order(layout, cylinders)) == numbers


@pytest.mark.parametrize("path", sorted(shipped_folder().rglob("*.yaml")), ids=lambda path: path.name)
def test_every_shipped_file_fits_its_schema(path: Path) -> None:
    """Judged by the jsonschema package, as an editor would."""
    data = _json_like(read_document(path).data)
    assert isinstance(data, dict)
    _validator(None).validate(data)
    for kind in data:
        _validator(kind).validate({kind: data[kind]})


@lru_cache
def _validator(kind: str | None) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(json_schema(kind))


def _json_like(tree: object) -> object:
    """Keys as JSON has them: text."""
    if isinstance(tree, dict):
        return {str(key): _json_like(value) for key, value in tree.items()}
    return [_json_like(value) for value in tree] if isinstance(tree, list) else tree


def test_the_schema_refuses_what_the_reader_refuses() -> None:
    """An unknown key and a missing one; an overlay may leave anything out, and invent nothing."""
    with pytest.raises(jsonschema.ValidationError):
        _validator("prices").validate({"prices": {"tax": "20 %"}})
    _validator("overlay").validate({"prices": {"tax": "20 %"}})
    _validator("overlay").validate({"basis": {"source": "learned"}})
    with pytest.raises(jsonschema.ValidationError):
        _validator("overlay").validate({"prices": {"taxes": "20 %"}})


@pytest.mark.parametrize("kind", [None, "overlay", *schema_kinds()])
def test_schemas_are_schemas(kind: str | None) -> None:
    """Each is itself valid, and can be written as JSON."""
    schema = json_schema(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert json.loads(json.dumps(schema)) == schema


def test_no_such_schema() -> None:
    """A near miss is named."""
    with pytest.raises(UsageError, match=r"there is no kind of knowledge 'price'; did you mean 'prices'\?"):
        json_schema("price")
