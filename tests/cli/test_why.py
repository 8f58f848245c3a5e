"""`diag why` and the session's `why`, in real processes."""

from __future__ import annotations

import re
from pathlib import Path

import jsonschema
import pytest
from rich.cells import cell_len

from diag.report import form_schema
from tests.cli.process import json_of, run, run_here, run_in, succeeded

CASE = "one_blown_seal"


def test_why_opens_with_what_speaks_for_the_likeliest_fault_and_what_against() -> None:
    page = " ".join(succeeded("why", CASE).split())
    said = r"Combustion seal, cylinder 2: likely \(\d\d %\)\. It is above all 'chuffing in time"
    assert re.search(said, page)
    assert "against it speaks first 'rough idle: absent' (slight)" in page
    for words in (
        "What speaks for it and against it, in the order told",
        "Why this, and not: clamp and bolt, cylinder 2",
        "What each cylinder's findings do to the others: combustion seal",
    ):
        assert words in page


def test_json_has_the_documented_form_and_adds_up() -> None:
    body = json_of("why", CASE, "seal", "2", "--rather-than", "injector", "2", "--json")
    jsonschema.Draft202012Validator(form_schema("why")).validate(body)
    told = [line["decibans"] for line in body["findings"]]
    assert body["prior_decibans"] + sum(told) == pytest.approx(body["posterior_decibans"], abs=1e-9)
    contrast = [line["contrast_decibans"] for line in body["findings"]]
    expected = body["contrast"]["posterior_decibans"]
    assert body["contrast"]["prior_decibans"] + sum(contrast) == pytest.approx(expected, abs=1e-9)
    assert body["contrast"]["rival"]["component"] == "injector"
    assert body["contrast"]["rival"]["place"] == 2
    assert body["advice"] is None
    assert all(len(line["chances"]) == len(told) + 1 for line in body["course"])


def test_what_settles_between_two_faults_is_named_and_not_how_common_they_are(tmp_path: Path) -> None:
    case = tmp_path / "case.yaml"
    case.write_text("engine: velm_5\nreadings: {capacitance: {1: 25 uF}}\n", encoding="utf-8")
    page = " ".join(succeeded("why", str(case)).split())
    told = "capacitance of a piezo injector, cylinder 1: 25.0 uF"
    assert f"'{told}' settles which of the two it is: injector, cylinder 1." in page
    assert "how common each is" not in page
    assert json_of("weigh", str(case), "--json")["faults"][0]["component"] == "injector"


def test_the_printed_weights_add_up_as_printed() -> None:
    lines = succeeded("why", CASE, "--all", columns=200).splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("what was told"))
    last = next(number for number, line in enumerate(lines) if line.startswith("now"))
    end = lines[first].index("decibans") + len("decibans")
    cells = [line[end - len("decibans") : end].strip() for line in lines[first + 2 : last - 1]]
    numbers = [float(cell) for cell in cells if cell]
    assert len(numbers) == 13
    assert sum(numbers) == pytest.approx(float(lines[last].split()[1]), abs=0.001)


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_the_page_keeps_within_narrow_terminals(columns: int) -> None:
    for line in succeeded("why", CASE, columns=columns).splitlines():
        assert cell_len(line) <= columns


def test_with_advice_the_money_is_explained() -> None:
    page = succeeded("why", "injector_stuck_open", "--advice")
    for words in ("Why this repair and not the next best", "What the answers so far were worth", "What would turn the"):
        assert words in page
    assert "possible answers were tried" in page


def test_a_danger_comes_first_with_its_cautions() -> None:
    page = succeeded("why", "injector_stuck_open")
    assert page.index("CAUTION") < page.index("Why: injector")


def test_the_place_may_be_left_out_on_both_sides(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run_here(capsys, "why", CASE, "--rather-than", "mounts", "seal:blown")
    assert code == 0
    assert "Why: combustion seal: blown, cylinder 2" in out
    assert "Why this, and not: engine mounts and flywheel" in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("why", CASE, "sael"), "there is no fault 'sael'; did you mean 'seal'?"),
        (("why", CASE, "seal", "9"), "there is no cylinder 9 in this engine; it has cylinders 1 to 4"),
        (("why", CASE, "seal", "2", "--rather-than", "seal", "2"), "one of the two faults contains the other"),
    ],
)
def test_what_cannot_be_asked_is_one_clear_line(arguments: tuple[str, ...], message: str) -> None:
    result = run(*arguments)
    assert result.returncode == 2
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
    assert result.stdout == ""


def test_the_session_says_why_too(tmp_path: Path) -> None:
    typed = "why\nwhy seal 2 rather than clamp 2\nwhy sael\nquit\n"
    result = run_in(tmp_path, "talk", CASE, typed=typed)
    assert result.returncode == 0, result.stderr
    page = " ".join(result.stdout.split())
    assert "Its answer is worth" in page
    assert page.count("It is above all 'chuffing in time") == 2
    assert "Why this, and not: clamp and bolt, cylinder 2" in page
    assert "there is no fault 'sael'; did you mean 'seal'?" in page
