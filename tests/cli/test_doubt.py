"""`diag doubt` in real processes. One request serves them all: it decides the case some hundreds of times."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
from rich.cells import cell_len

from diag.report import form_schema, render
from tests.cli.process import json_of, run

CASE = "wiring_that_looks_like_an_injector"
ASKED = ("doubt", CASE, "--draws", "6", "--seed", "2")


@pytest.fixture(scope="module")
def body() -> Any:
    return json_of(*ASKED, "--json")


def test_json_has_the_documented_form(body: Any) -> None:
    jsonschema.Draft202012Validator(form_schema("doubt")).validate(body)
    assert body["draws"] == 6
    assert body["seed"] == 2
    assert body["stands"] + sum(line["share"] for line in body["others"]) == pytest.approx(1.0)
    assert len(body["lines"]) >= 5
    assert all(line["error"] <= 1e-2 for line in body["lines"])


def test_every_turn_goes_from_what_stood_below_it(body: Any) -> None:
    for line in body["lines"]:
        values = [turn["value"] for turn in line["turns"]]
        assert values == sorted(values)
        for before, after in zip(line["turns"], line["turns"][1:], strict=False):
            assert before["above"] == after["below"]


@pytest.mark.parametrize("columns", [40, 60])
def test_the_page_keeps_within_narrow_terminals(columns: int) -> None:
    from diag.cli.inputs import read_case, read_knowledge
    from diag.doubt import Doubt, Line, break_even_along, ground_of, number_at, number_axis, stand
    from diag.report import doubt_blocks, doubt_sheet

    known = read_knowledge(None, None)
    ground = ground_of(known, read_case(CASE, known))
    number = number_at(known, ("prices", "labour_per_hour"))
    line = Line(number, None, break_even_along(ground, number_axis(ground, number)))
    page = render(doubt_blocks(doubt_sheet(Doubt(ground, stand(ground, 2, 1), (), (line,))), True), columns)
    assert all(cell_len(each) <= columns for each in page.splitlines())
    text = " ".join(page.split())
    for words in (
        "The advice stands in",
        "none of the numbers that matter most turns it",
        "judged, not counted",
        "Where another option begins to win",
        "labour rate for an hour",
    ):
        assert words in text


@pytest.mark.parametrize("learned", [False, True])
def test_a_number_that_was_learned_is_not_called_judged(learned: bool, tmp_path: Path) -> None:
    """One figure counted in the workshop's own book: the page says how many of the others are judged."""
    from diag.cli.inputs import read_case, read_knowledge
    from diag.doubt import Doubt, ground_of, stand
    from diag.report import doubt_blocks, doubt_sheet

    overlay = tmp_path / "learned.yaml"
    overlay.write_text(
        "basis: {source: learned, strength: 20}\nfindings: {fumes: {chance: {some: {value: 0.9, "
        "basis: {source: learned, strength: 30}}}}}\n",
        encoding="utf-8",
    )
    known = read_knowledge(None, [overlay] if learned else None)
    ground = ground_of(known, read_case("one_blown_seal", known))
    sheet = doubt_sheet(Doubt(ground, stand(ground, 1, 1), (), ()))
    text = " ".join(render(doubt_blocks(sheet), 80).split())
    assert sheet.numbers - sheet.judged == int(learned)
    told = f"{sheet.judged} numbers are judged, not counted" if learned else "The numbers are judged, not counted"
    assert told in text


def test_what_cannot_be_asked_is_one_clear_line() -> None:
    result = run("doubt", CASE, "--draws", "0")
    assert result.returncode == 2
    assert "--draws" in result.stderr
    assert result.stdout == ""
