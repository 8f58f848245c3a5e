"""The demo cases and the load of the benchmarks: invented, read back, taken by the schema; what the demos cover."""

from __future__ import annotations

import copy
import re
from pathlib import Path

import jsonschema
import pytest

from diag.basics import UsageError
from diag.casebook import Case, case_schema, demo_cases, dump_case, load_case, read_case
from diag.casebook import demo as demo_module
from diag.knowledge_base import Knowledge, read_document
from tests.support.cases import MANY_SYMPTOMS, every_case

CASES = every_case()


@pytest.fixture(scope="module")
def loaded(knowledge: Knowledge) -> dict[str, Case]:
    return {name: load_case(path, knowledge) for name, path in CASES.items()}


@pytest.fixture(scope="module")
def checker(knowledge: Knowledge) -> jsonschema.Draft202012Validator:
    schema = case_schema(knowledge)
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def test_there_are_at_least_eleven() -> None:
    """The list of the job, by names that speak for themselves."""
    assert len(demo_cases()) >= 11
    assert {
        "one_blown_seal",
        "second_seal_weeping",
        "excess_return_behind_hard_start",
        "new_injector_not_coded",
        "code_on_the_wrong_cylinder",
        "wiring_that_looks_like_an_injector",
        "low_compression",
        "no_start_from_air",
        "vibration_not_the_engine",
        "findings_that_contradict",
        "whole_bank_silent",
    } <= set(demo_cases())


@pytest.mark.parametrize("name", CASES)
def test_each_says_that_it_is_invented(name: str) -> None:
    """In its first line, and it is one that a person can read: short, and with a title."""
    lines = CASES[name].read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Invented from end to end: Brackwater Motor Works")
    assert re.search(r"do not exist", lines[0])
    assert max(map(len, lines)) <= 120
    assert len(lines) <= 45


@pytest.mark.parametrize("name", CASES)
def test_each_reads_back(name: str, loaded: dict[str, Case], knowledge: Knowledge) -> None:
    """Written again, each is the same case."""
    assert loaded[name].title
    assert loaded[name].note == ""
    assert read_case(CASES[name], knowledge, dump_case(loaded[name])) == loaded[name]


def test_together_they_use_the_language(loaded: dict[str, Case], knowledge: Knowledge) -> None:
    """Every engine, soft answers, conditions, bounds, repeats, history, repairs that did not help."""
    shipped = [loaded[name] for name in demo_cases()]
    epochs = [epoch for case in shipped for epoch in case.epochs]
    answers = [answer for epoch in epochs for answer in epoch.answers]
    assert {case.engine_id for case in shipped} == set(knowledge.engines)
    assert {"present", "absent", "not_sure", "not_looked", "a_bit"} <= {answer.answer for answer in answers}
    assert {"cold", "load"} <= {answer.condition for answer in answers}
    assert {"above", "below"} <= {each.censored for epoch in epochs for each in epoch.measured}
    assert {"no", "for_a_while"} <= {work.helped for epoch in epochs for work in epoch.work}
    assert any(case.history for case in shipped)
    assert any(case.open_access for case in shipped)
    assert any(case.cannot for case in shipped)


def test_the_load_alone_has_ten_shared_symptoms_present(loaded: dict[str, Case]) -> None:
    """It is what the speed is measured on, and no demo case: these show what a case looks like and how quick it is."""
    assert len(loaded[MANY_SYMPTOMS].engine.cylinders) == 8
    present = {
        name: sum(each.place is None and each.answer == "present" for each in case.epochs[0].answers)
        for name, case in loaded.items()
    }
    assert [name for name, count in present.items() if count >= 10] == [MANY_SYMPTOMS]
    assert MANY_SYMPTOMS not in demo_cases()


@pytest.mark.parametrize("name", CASES)
def test_the_schema_takes_every_case(name: str, checker: jsonschema.Draft202012Validator) -> None:
    """As an editor sees it: keys are text there."""
    checker.validate(_as_an_editor_sees_it(read_document(CASES[name]).data))


@pytest.mark.parametrize(
    "change",
    [
        {"engine": None},
        {"findngs": {}},
        {"findings": {"chufff": {"2": "present"}}},
        {"findings": {"chuff under loads": {"2": "present"}}},
        {"findings": {"rough_idle": "presnt"}},
        {"readings": {"correction": "2 mg/stroke"}},
        {"history": [{"did": "resael"}]},
        {"history": [{"cylinder": 2}]},
        {"cannot": ["compresion_test"]},
        {"tried": [{"did": "reseal", "helped": "perhaps"}]},
        {"distance": 187000},
    ],
    ids=str,
)
def test_the_schema_refuses_what_the_reader_refuses(
    change: dict[str, object], checker: jsonschema.Draft202012Validator
) -> None:
    """Names that are not of the knowledge, words that are no answers, numbers without unit."""
    good: dict[str, object] = {"engine": "ostrel_4", "findings": {"rough_idle": "present"}}
    assert checker.is_valid(good)
    assert not checker.is_valid({**copy.deepcopy(good), **change})


def test_an_installation_without_them_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Found inside the package first, then beside it."""
    package = tmp_path / "diag" / "casebook"
    package.mkdir(parents=True)
    monkeypatch.setattr(demo_module, "__file__", str(package / "demo.py"))
    with pytest.raises(UsageError, match="install it anew"):
        demo_cases()
    inside = tmp_path / "diag" / "_data" / "demo_cases"
    inside.mkdir(parents=True)
    (inside / "one.yaml").write_text("engine: ostrel_4\n")
    assert demo_cases() == {"one": inside / "one.yaml"}


def _as_an_editor_sees_it(value: object) -> object:
    if isinstance(value, dict):
        return {str(key): _as_an_editor_sees_it(inside) for key, inside in value.items()}
    return [_as_an_editor_sees_it(inside) for inside in value] if isinstance(value, list) else value
