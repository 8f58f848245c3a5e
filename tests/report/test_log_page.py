"""The page and the picture of a log that holds next to nothing, and of one with everything that can be amiss."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from rich.cells import cell_len

from diag.knowledge_base import Knowledge, load_knowledge
from diag.logs import Fate, LogResult, read_log, rules_of
from diag.report import log_blocks, log_picture, log_sheet, render
from diag.report.words_log import FATES, WHY_COLUMN, WHY_READING

KNOWN = load_knowledge()
ENGINE = KNOWN.engines["karrick_v8"]

POOR = "time;rpm\n0;0\n1;0\n"
AMISS = (
    "Time;RPM;Coolant [°C];Coolant [°C];Rail pressure;Correction [mg/stroke];Correction cyl 9 [mg/stroke];"
    'Correction cyl 3 [mg/stroke];\u200bodd <name> & "more"\n'
    + "".join(f"{row};{800 + row % 3};88;88;27;1;1;{row % 2};x\n" for row in range(90))
    + "90;err;88;88;27;1;1;99;x\n91;1\n"
)


def result_of(text: str, folder: Path) -> LogResult:
    path = folder / "log & <more>.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path, KNOWN, ENGINE)


@pytest.mark.parametrize("text", [POOR, AMISS], ids=["next to nothing", "much amiss"])
@pytest.mark.parametrize("width", [40, 60, 100])
def test_no_line_is_wider_than_the_terminal(text: str, width: int, tmp_path: Path) -> None:
    page = render(log_blocks(log_sheet(KNOWN, ENGINE, result_of(text, tmp_path))), width)
    assert max(cell_len(line) for line in page.splitlines()) <= width


@pytest.mark.parametrize("text", [POOR, AMISS], ids=["next to nothing", "much amiss"])
def test_the_picture_is_whole_whatever_the_log_holds(text: str, tmp_path: Path) -> None:
    result = result_of(text, tmp_path)
    sheet = log_sheet(KNOWN, ENGINE, result)
    root = ElementTree.fromstring(log_picture(result, sheet, rules_of(KNOWN).warm_from))
    assert root.get("role") == "img"


def test_what_is_amiss_is_said(tmp_path: Path) -> None:
    sheet = log_sheet(KNOWN, ENGINE, result_of(AMISS, tmp_path))
    assert [line.why for line in sheet.columns] == [
        "",
        "",
        "column 4 looks the same",
        "column 3 looks the same",
        "its unit is not said (bar, kPa, MPa, psi, mbar, Pa or kg/cm2)",
        "it does not say which cylinder",
        "the engine has no cylinder 9",
        "",
        "not recognised",
    ]
    assert [line.odd for line in sheet.columns if line.odd] == [1]
    assert [line.implausible for line in sheet.columns if line.implausible] == [1]
    page = render(log_blocks(sheet), 110)
    assert "cells without a number: 1" in page


def test_every_fate_and_every_reason_has_words(tmp_path: Path) -> None:
    from typing import get_args

    from diag.logs import Why, WhyNot

    assert set(FATES) == {fate.name for fate in Fate}
    assert set(WHY_COLUMN) == set(get_args(Why)) - {""}
    assert set(WHY_READING) == set(get_args(WhyNot)) - {""}


def test_the_rules_that_are_named_are_those_of_the_knowledge() -> None:
    known: Knowledge = KNOWN
    assert set(known.log_rules) == set(type(rules_of(known)).__dataclass_fields__)
    assert all(rule.reason and rule.basis for rule in known.log_rules.values())


@pytest.mark.parametrize(
    ("cylinders", "said"),
    [
        (range(1, 9), []),
        (range(1, 5), ["no correction of cylinders 5, 6, 7 and 8: log that of every cylinder, or look whether it is"]),
        (range(1, 11), ["corrections of cylinders that this engine has not: look whether it is one of this vehicle"]),
        ((), ["Log the correction of every cylinder"]),
    ],
)
def test_a_log_of_another_engine_is_told_by_its_cylinders(
    cylinders: Iterable[int], said: list[str], tmp_path: Path
) -> None:
    heads = ["Time [s]", "RPM", "Coolant [°C]", *(f"Correction cyl {each} [mg/stroke]" for each in cylinders)]
    rows = [";".join([str(row), "800", "88", *("0.5" for _ in heads[3:])]) for row in range(120)]
    advice = log_sheet(KNOWN, ENGINE, result_of("\n".join([";".join(heads), *rows]) + "\n", tmp_path)).advice
    found = [line for line in advice if "correction" in line]
    assert len(found) == len(said)
    for line, words in zip(found, said, strict=True):
        assert words in line


def test_a_column_in_which_nothing_stands_is_said_and_asked_for(tmp_path: Path) -> None:
    """Rail pressure of which no number was logged: its line says so, and the next log is to hold it."""
    rows = "".join(f"{row};800;88;270;\n" for row in range(90))
    head = "Time [s];RPM;Coolant [°C];Rail pressure wanted [bar];Rail pressure actual [bar]\n"
    sheet = log_sheet(KNOWN, ENGINE, result_of(head + rows, tmp_path))
    assert [line.why for line in sheet.columns] == ["", "", "", "", "no number in any row"]
    assert any("Log rail pressure wanted and actual" in line for line in sheet.advice)
    page = " ".join(render(log_blocks(sheet), 120).split())
    assert "rail pressure, actual; no number in any row" in page


def test_a_log_that_cannot_be_of_this_engine_is_doubted_where_its_readings_are_taken(tmp_path: Path) -> None:
    """Above the readings, before anybody takes them, and not only in what is said of the next log."""
    heads = ["Time [s]", "RPM", "Coolant [°C]", *(f"Correction cyl {each} [mg/stroke]" for each in range(1, 11))]
    rows = [";".join([str(row), "800", "88", *(f"{0.1 * (row % 5)}" for _ in heads[3:])]) for row in range(120)]
    sheet = log_sheet(KNOWN, ENGINE, result_of("\n".join([";".join(heads), *rows]) + "\n", tmp_path))
    page = " ".join(render(log_blocks(sheet), 100).split())
    assert page.index("cylinders that this engine has not") < page.index("idle correction of the cylinder")
