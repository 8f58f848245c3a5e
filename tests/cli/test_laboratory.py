"""`diag laboratory` in real processes: the table, the files, what is refused; and `--cannot` of `diag next`."""

from __future__ import annotations

import csv
from pathlib import Path

import jsonschema
import pytest

from diag.report import form_schema
from tests.cli.process import json_of, run_in

QUICK = ("laboratory", "ostrel_3", "--complaint", "no_power", "--cases", "4", "--processes", "1")
POLICIES = ("--policy", "likeliest at once", "--policy", "change everything")


def test_json_has_the_documented_form_and_adds_up() -> None:
    """Every policy meets every case; totals are checks and repair; nothing is below the bound."""
    body = json_of(*QUICK, *POLICIES, "--json")
    jsonschema.validate(body, form_schema("laboratory"))
    assert [line["policy"] for line in body["policies"]] == ["likeliest at once", "change everything"]
    assert len(body["runs"]) == 8
    for line in body["policies"]:
        mine = [run for run in body["runs"] if run["policy"] == line["policy"]]
        assert line["total"] == pytest.approx(sum(run["total"] for run in mine) / 4)
        assert line["total"] >= body["least"]
    for run in body["runs"]:
        assert run["total"] == pytest.approx(run["check_cost"] + run["repair"])


def test_the_cases_and_the_picture_are_written(tmp_path: Path) -> None:
    """The CSV has a row for each case and policy, the picture is SVG, and neither is written over unasked."""
    files = ("--csv", "cases.csv", "--plot", "policies.svg")
    done = run_in(tmp_path, *QUICK, *POLICIES, *files)
    assert done.returncode == 0, done.stderr
    assert "likeliest at once" in done.stdout
    rows = list(csv.DictReader((tmp_path / "cases.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 8
    assert {row["currency"] for row in rows} == {"EUR"}
    assert (tmp_path / "policies.svg").read_text(encoding="utf-8").startswith("<svg ")
    again = run_in(tmp_path, *QUICK, *POLICIES, *files)
    assert again.returncode != 0
    assert "is already there" in again.stderr


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--complaint", "no_powr"), "'no_powr' is no complaint to start from; did you mean 'no_power'"),
        (("--policy", "cheapest"), "there is no policy 'cheapest'"),
        (("--plot", "picture.png"), "picture.png does not end in .svg"),
        (("--csv", "none/cases.csv"), "none/cases.csv cannot be written: there is no folder none"),
    ],
)
def test_what_makes_no_sense_is_refused_before_anything_is_drawn(
    more: tuple[str, str], said: str, tmp_path: Path
) -> None:
    """One clear sentence, and nothing written."""
    done = run_in(tmp_path, "laboratory", "ostrel_3", "--cases", "2", *more)
    assert done.returncode != 0
    assert said in " ".join(done.stderr.split())
    assert not list(tmp_path.iterdir())


def test_what_is_not_possible_here_is_barred_and_the_rest_is_ranked_again() -> None:
    """By the id of a check, or by an instrument: all checks that need it."""
    whole = json_of("next", "no_start_from_air", "--json")
    first = whole["checks"][0]["check"]
    assert "diagnostic tester" in whole["checks"][0]["tools"]
    fewer = json_of("next", "no_start_from_air", "--cannot", "diagnostic tester", "--json")
    assert not any("diagnostic tester" in check["tools"] for check in fewer["checks"])
    assert len(fewer["barred"]) > len(whole["barred"])
    assert fewer["checks"][0]["check"] != first


def test_an_unknown_check_or_instrument_is_refused(tmp_path: Path) -> None:
    """With the nearest name."""
    done = run_in(tmp_path, "next", "no_start_from_air", "--cannot", "diagnostic tster")
    assert done.returncode != 0
    assert "did you mean 'diagnostic tester'" in " ".join(done.stderr.split())
