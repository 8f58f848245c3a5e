"""Contradictions, codes with their state, missing codes and trim codes, as real processes say them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import json_of, run_in, succeeded

CASE = """engine: ostrel_4
distance: 142000 km
age: 7 years
history: [{did: replace_injector, cylinder: 3, ago: 2 months}]
codes: [P0300 0x2E, P1234 pending]
findings: {rough_idle: present, misfire_felt: think so, wire_open: {2: present}, weak_cutout: {2: present}}
trim_codes:
  1: {part: "0123456789ABCDEF", unit: "0123456789ABCDEF"}
  3: {part: "2123456789ABCDEF", unit: none}
"""


def weighed(folder: Path, text: str, *more: str) -> str:
    (folder / "case.yaml").write_text(text, encoding="utf-8")
    result = run_in(folder, "weigh", "case.yaml", *more)
    assert result.returncode == 0, result.stderr
    return result.stdout


def test_a_contradiction_is_said_with_what_to_look_at_again() -> None:
    page = " ".join(succeeded("weigh", "findings_that_contradict").split())
    assert "Do the findings agree? They contradict each other about 'combustion gas past the seal', cylinder 2." in page
    again = page.split("Look at these again first:")[1]
    assert re.match(r" 1\. chuffing in time with this cylinder: present \(cylinder 2\) 2\. black tar", again)
    assert "Something that is not listed here:" in page


def test_a_case_that_agrees_is_not_talked_about() -> None:
    assert "contradict" not in succeeded("weigh", "one_blown_seal")
    assert json_of("weigh", "one_blown_seal", "--json")["agreement"]["contradicts"] is False


def test_the_json_holds_every_measure() -> None:
    body = json_of("weigh", "findings_that_contradict", "--json")
    jsonschema.Draft202012Validator(form_schema("weigh")).validate(body)
    found = body["agreement"]
    assert found["contradicts"] is True
    assert found["doubts"][0]["about"] == "blow_by"
    assert 0 < found["rarity"]["tail"] < 0.05
    assert found["rarity"]["error"] > 0
    assert found == json_of("weigh", "findings_that_contradict", "--json")["agreement"]


def test_codes_ledger_and_soft_answers_are_on_the_page(tmp_path: Path) -> None:
    page = " ".join(weighed(tmp_path, CASE).split())
    assert "P0300 (status 0x2E), random misfire code, vehicle: comes and goes" in page
    assert "P1234, not in this knowledge, without effect" in page
    assert "P0202, injector circuit code, cylinder 2:" in page.split("not told of (were they looked for?)")[1]
    assert "no code stored: not coded" in page
    assert "Of 2 and 4 no code was noted." in page
    assert "'think so': 3 to 1 for it (5 decibans)" in page


def test_their_json_is_valid(tmp_path: Path) -> None:
    body = json.loads(weighed(tmp_path, CASE, "--json"))
    jsonschema.Draft202012Validator(form_schema("weigh")).validate(body)
    assert [line["state"] for line in body["codes"]] == ["intermittent", "pending"]
    assert [line["verdict"] for line in body["trim_codes"]["lines"]] == ["agrees", "not_stored"]
    assert body["soft"][0]["ratio"] == 3


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("codes: [P0300 0x1FF]", r"case\.yaml:2:9: the status byte 0x1ff is out of range"),
        (
            "codes: [P0287]",
            r"case\.yaml:2:9: P0287 belongs to cylinder 9, .*it has cylinders 1 to 4",
        ),
        ("trim_codes: {2: {part: 'G123456789ABCDEF'}}", r"case\.yaml:2:24: 'G', character 1 of .*does not occur"),
    ],
)
def test_bad_input_has_one_placed_message(line: str, message: str, tmp_path: Path) -> None:
    (tmp_path / "case.yaml").write_text(f"engine: ostrel_4\n{line}\n", encoding="utf-8")
    result = run_in(tmp_path, "weigh", "case.yaml", COLUMNS="300")
    assert result.returncode == 4
    assert result.stdout == ""
    assert re.search(message, result.stderr), result.stderr
    assert "Traceback" not in result.stderr
