"""`diag log` in real processes: the sheet, the picture, the case, the questions, and what goes wrong."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from rich.cells import cell_len

from diag.report import form_schema
from tests.cli.process import run_in
from tests.logs.simulated import State, simulate, written

LOG = "\n".join(written(simulate(State(seed=4)))) + "\n"
CASE = "title: shakes at idle\nengine: ostrel_4\nfindings: {rough_idle: present}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    (tmp_path / "case.yaml").write_text(CASE, encoding="utf-8")
    return tmp_path


def test_the_sheet_shows_readings_with_error_what_was_used_and_what_was_not(folder: Path) -> None:
    done = run_in(folder, "log", "log.csv", "--engine", "ostrel_4")
    assert (done.returncode, done.stderr) == (0, "")
    for words in ("Readings", "mg/stroke", "error", "Stretches that count", "What became of the rows", "settling",
                  "Columns", "all rows", "The maker's data"):  # fmt: skip
        assert words in done.stdout
    assert "\x1b" not in done.stdout


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_the_sheet_fits_the_terminal(columns: int, folder: Path) -> None:
    page = run_in(folder, "log", "log.csv", "--engine", "ostrel_4", COLUMNS=str(columns)).stdout
    assert max(cell_len(line) for line in page.splitlines()) <= columns
    assert "warm, steady idle" in page


def test_json_has_the_documented_form_and_its_rows_add_up(folder: Path) -> None:
    done = run_in(folder, "log", "log.csv", "--engine", "ostrel_4", "--json")
    sheet = json.loads(done.stdout)
    jsonschema.validate(sheet, form_schema("log"))
    assert sum(line["rows"] for line in sheet["fates"]) == sheet["rows"] == LOG.count("\n") - 1
    corrections = {line["place"]: line for line in sheet["readings"] if line["reading"] == "correction"}
    assert corrections[2]["value"] == pytest.approx(2.1, abs=4 * corrections[2]["error"])


def test_the_readings_go_into_the_case_once_and_weigh_there(folder: Path) -> None:
    added = run_in(folder, "log", "log.csv", "--case", "case.yaml", "--add")
    assert (added.returncode, added.stderr) == (0, "")
    text = (folder / "case.yaml").read_text(encoding="utf-8")
    assert re.search(r"correction: \{1: -?0\.\d+ \+/- 0\.\d+ mg/stroke, 2: 2\.\d+ \+/- 0\.\d+ mg/stroke", text)
    assert "rough_idle: present" in text
    assert "rail_pressure_cranking" in text
    weighed = run_in(folder, "weigh", "case.yaml")
    assert weighed.returncode == 0, weighed.stderr
    again = run_in(folder, "log", "log.csv", "--case", "case.yaml", "--add")
    assert again.returncode == 2
    assert "already in the case" in again.stderr
    assert (folder / "case.yaml").read_text(encoding="utf-8") == text


def test_a_log_that_gives_nothing_shows_the_page_that_says_why(folder: Path) -> None:
    """A header that nobody knows: the message speaks of a table, which stands above it."""
    (folder / "odd.csv").write_text("Zeit;Drehzahl U/min;Korr Zyl 1\n0,0;800;1,0\n0,5;801;1,1\n", encoding="utf-8")
    done = run_in(folder, "log", "odd.csv", "--case", "case.yaml", "--add")
    assert done.returncode == 2 and "the table of readings says why" in done.stderr
    assert "not recognised" in done.stdout
    assert (folder / "case.yaml").read_text(encoding="utf-8") == CASE


def test_the_picture_is_an_svg_with_words_and_without_colour(folder: Path) -> None:
    done = run_in(folder, "log", "log.csv", "--engine", "ostrel_4", "--plot", "log.svg")
    assert done.returncode == 0, done.stderr
    text = (folder / "log.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    space = "{http://www.w3.org/2000/svg}"
    title, about = root.findtext(f"{space}title"), root.findtext(f"{space}desc")
    assert title is not None
    assert about is not None
    assert "log.csv" in title
    assert "warm, steady idle" in about
    assert "mg/stroke" in about
    colours = set(re.findall(r"#[0-9a-f]{3,6}\b", text))
    assert all(len(set(colour[1:])) == 1 for colour in colours), "greys only"
    assert not re.search(r"nan|inf", text.split("</desc>")[1])
    drawn_again = run_in(folder, "log", "log.csv", "--engine", "ostrel_4", "--plot", "log.svg")
    assert drawn_again.returncode == 0


def test_an_answer_that_makes_two_columns_one_thing_is_refused(folder: Path) -> None:
    (folder / "odd.csv").write_text(
        LOG.replace("Engine speed [rpm]", "N").replace("Boost wanted", "M"), encoding="utf-8"
    )
    done = run_in(folder, "log", "odd.csv", "--engine", "ostrel_4", "--ask", typed="speed\nspeed\n", COLUMNS="400")
    assert done.returncode == 8, done.stdout
    assert "columns 2 and 7 are both said to be 'speed'" in done.stderr


def test_columns_are_asked_for_and_the_answers_kept(folder: Path) -> None:
    plain = LOG.replace("Engine speed [rpm]", "N").replace("Correction cylinder 2 [mg/stroke]", "K2")
    (folder / "odd.csv").write_text(plain, encoding="utf-8")
    refused = run_in(folder, "log", "odd.csv", "--engine", "ostrel_4", COLUMNS="400")
    assert refused.returncode == 8
    assert re.search(r"odd\.csv:1:1: no column is known to be the engine speed; .*--ask", refused.stderr)
    done = run_in(
        folder, "log", "odd.csv", "--engine", "ostrel_4", "--ask", "--keep-columns", "map.yaml",
        typed="sped\nspeed\ncorrection 9 mg/stroke\ncorrection 2 mg/stroke\n",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "did you mean 'speed'" in done.stdout
    assert "needs the number of a cylinder, 1 to 4" in done.stdout
    kept = (folder / "map.yaml").read_text(encoding="utf-8")
    assert '"N": {is: speed, unit: "rpm"}' in kept
    again = run_in(folder, "log", "odd.csv", "--engine", "ostrel_4", "--columns", "map.yaml", "--json")
    assert again.returncode == 0, again.stderr
    assert [line["place"] for line in json.loads(again.stdout)["readings"] if line["reading"] == "correction"] == [
        1,
        2,
        3,
        4,
    ]


BAD: list[tuple[str, tuple[str, ...], int, str]] = [
    ("no such file", ("nothing.csv", "--engine", "ostrel_4"), 8, r"nothing\.csv: there is no such file"),
    ("a folder", (".", "--engine", "ostrel_4"), 8, r"\.: this is a folder"),
    ("no log", ("case.yaml", "--engine", "ostrel_4"), 8, r"case\.yaml:1:1: this is no table"),
    ("whose log", ("log.csv",), 2, r"either --engine ENGINE or --case CASE"),
    ("both", ("log.csv", "--engine", "ostrel_4", "--case", "case.yaml"), 2, r"either --engine ENGINE or --case CASE"),
    ("add to nothing", ("log.csv", "--engine", "ostrel_4", "--add"), 2, r"name it with --case CASE"),
    ("add to a demo", ("log.csv", "--case", "one_blown_seal", "--add"), 2, r"demo case and stays as it is"),
    ("no engine", ("log.csv", "--engine", "ostrel_5"), 2, r"ostrel_5.*did you mean"),
    ("no mapping", ("log.csv", "--engine", "ostrel_4", "--columns", "no.yaml"), 8, r"no\.yaml: there is no such file"),
    ("bad mapping", ("log.csv", "--engine", "ostrel_4", "--columns", "case.yaml"), 8, r"case\.yaml:1:1: 'title'"),
    ("picture", ("log.csv", "--engine", "ostrel_4", "--plot", "log.png"), 2, r"log\.png does not end in \.svg"),
    ("no picture", ("log.csv", "--engine", "ostrel_4", "--plot", "keep.svg"), 2, r"keep\.svg is already there, is no"),
    ("ask and json", ("log.csv", "--engine", "ostrel_4", "--ask", "--json"), 2, r"use one of the two"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "arguments", "code", "message"), BAD, ids=[row[0] for row in BAD])
def test_what_goes_wrong_is_said_once_and_nothing_is_written(
    name: str, arguments: tuple[str, ...], code: int, message: str, folder: Path
) -> None:
    (folder / "keep.svg").write_text("my notes", encoding="utf-8")
    before = {path: path.read_bytes() for path in folder.iterdir()}
    done = run_in(folder, "log", *arguments, COLUMNS="400")
    assert (done.returncode, done.stdout) == (code, ""), done.stderr
    assert re.search(message, done.stderr), done.stderr
    assert "Traceback" not in done.stderr
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_a_time_in_a_unit_that_nobody_named_is_asked_about(folder: Path) -> None:
    lines = ["Time;RPM;Coolant", *(f"{row * 100};800;88" for row in range(400))]  # milliseconds, unsaid
    (folder / "ms.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    page = run_in(folder, "log", "ms.csv", "--engine", "ostrel_4").stdout
    assert "if the time is not in s, say its unit" in " ".join(page.split())
    assert "CAUTION" in page  # whoever records another log runs the engine
    lines = ["Time;RPM;Coolant", *(f"{1764378000000000 + row * 100000};800;88" for row in range(400))]
    (folder / "epoch.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")  # microseconds, unsaid
    page = run_in(folder, "log", "epoch.csv", "--engine", "ostrel_4").stdout
    assert "if the time is not in s, say its unit" in " ".join(page.split())
