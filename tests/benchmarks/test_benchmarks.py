"""The benchmark scripts run, on tiny sizes; no time is asserted anywhere."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from diag.inference import infer, maximum
from diag.knowledge_base import load_knowledge
from tests.benchmarks.book import report as report_book
from tests.benchmarks.draws import ground_with
from tests.benchmarks.draws import report as report_draws
from tests.benchmarks.growth import Sweep, growth
from tests.benchmarks.learning import report as report_learning
from tests.benchmarks.limit import account, counted, share_of
from tests.benchmarks.many_symptoms import invented, measured
from tests.benchmarks.million import different_rows
from tests.benchmarks.million import report as report_million
from tests.benchmarks.shipped import engine_lines
from tests.benchmarks.side_by_side import PROGRAMS, Point, Scale, as_csv, as_markdown, as_picture, measure
from tests.benchmarks.six_cylinders import LADDER, compare
from tests.benchmarks.start import report as report_starts
from tests.benchmarks.v8 import batch_of, report
from tests.support.mixed_book import mixed_book
from tests.support.synthetic import Layout, random_case, workshop_model

TINY = Layout(cylinders=2, shared=3, detail=2, vehicle=1, configurations=2)


def test_growth_prints_its_three_tables() -> None:
    """Cylinders, symptoms present in both forms, and symptoms absent."""
    lines = growth(Sweep((1, 2), (0, 1, 2), (0, 1), (0,), TINY, least_s=0.0))
    assert sum(line.startswith("Time") for line in lines) == 4
    assert any("4 terms" in line for line in lines)


def test_v8_report_states_its_sizes() -> None:
    """Every figure stands below a line with the sizes it was measured on."""
    lines = report(workshop_model(TINY), present=2, least_s=0.0, cases=3)
    assert "2 configurations" in lines[0] and "local states" in lines[0] and "2 of 3 shared" in lines[0]
    assert len(lines) == 5


@pytest.mark.parametrize("which", ["pgmpy", "pyagrum"])
def test_comparison_with_a_reference_agrees_to_nine_digits(which: str) -> None:
    """A reference in a process of its own gives the same component marginals."""
    model = workshop_model(TINY)
    done, line = compare(model, random_case(model, 1, 2), which, memory_gib=8.0, limit_s=60.0)
    assert done.finished, done.trouble
    assert "times faster" in line
    assert float(line.rsplit(" ", 1)[1]) < 1e-9


def test_a_reference_that_cannot_is_told_so() -> None:
    """Out of time is said, and no ratio is made of it but a lower bound."""
    model = workshop_model(LADDER[0].layout)
    done, line = compare(model, random_case(model, 1, 6), "pyagrum", memory_gib=8.0, limit_s=0.2)
    assert not done.finished
    assert "not done within 0.2 s (more than" in line


def test_shipped_knowledge_states_its_sizes() -> None:
    """The table of the shipped knowledge, on one engine and two symptoms."""
    lines = engine_lines(load_knowledge(), "ostrel_3", (2,), least_s=0.0)
    assert "2 shared symptoms present" in lines[0]
    assert "local states" in lines[0] and "terms" in lines[0]


def test_the_book_is_timed_on_books_of_several_sizes() -> None:
    """Every question with its growth, on very small books."""
    lines = report_book((20, 40), least_s=0.0)
    assert sum("times for 2 times the cases" in line for line in lines) == 9
    assert "Books of 20, 40 cases" in lines[0]


def test_learning_report_goes_through_a_mixed_book() -> None:
    knowledge = load_knowledge()
    lines = report_learning(knowledge, mixed_book(knowledge, 3, 1, ("ostrel_3",)), 1)
    assert lines[0].startswith("3 cases")
    assert [line.split(":")[0] for line in lines[1:]] == ["expected counts", "and products of scores"]


def test_draws_are_timed_with_their_sizes() -> None:
    """On one engine, two symptoms and three draws."""
    lines = report_draws(ground_with("ostrel_3", 2), 3, 1)
    assert "configurations" in lines[0] and "numbers" in lines[0]
    assert lines[1].startswith("  3 draws in ") and "draws a second" in lines[1]
    assert "of processor time a draw" in lines[-1]


def test_the_three_engines_stand_side_by_side() -> None:
    """Table, CSV and plot of a tiny network in one run; all three agree, and no time is asserted."""
    rows = measure(Scale((Point("cylinders", 2, TINY, 2),), limit_s=60.0, least_s=0.0, batch=3))
    assert [one.program for one in rows] == list(PROGRAMS)
    assert all(one.done.finished and one.done.memory_mib > 1 for one in rows), [one.done.trouble for one in rows]
    assert all(one.difference < 1e-9 for one in rows)
    when = date(2026, 1, 2)
    table = as_markdown(rows, {"diag": 0.5}, when, "a machine")
    assert "2026-01-02: a machine" in table
    row = next(line for line in table.splitlines() if line.startswith("| 2 cylinders |")).split(" | ")
    assert len(row) == 7 and all(cell.endswith((" ms", " s")) for cell in row[1:5]) and row[5].count(" / ") == 2
    assert [line["program"] for line in csv.DictReader(as_csv(rows).splitlines())] == list(PROGRAMS)
    assert ElementTree.fromstring(as_picture(rows, when, "a machine")).tag.endswith("svg")


def test_arithmetic_is_counted_and_changes_no_answer() -> None:
    """A product of 3 x 4 and 4 x 5 is 120 operations, a sum of 15 numbers 15; the engine answers the same."""
    model = workshop_model(TINY)
    told = batch_of(random_case(model, 1, 2), 5)
    plain = infer(model, told)
    with counted() as counts:
        watched = infer(model, told)
        assert counts["products"] > 0 and counts["other"] > 0
        counts.clear()
        product = maximum.np.ones((3, 4)) @ np.ones((4, 5))  # type: ignore[attr-defined]
        product.sum()
        assert (counts["products"], counts["other"]) == (120, 15)
    assert np.array_equal(watched.log_evidence, plain.log_evidence)
    share = share_of(model, told, 1e9, 1e9, times=1)
    assert "million operations a case" in str(share)
    stages = account(model, told, 1e9, least=0.0)
    assert sum(stage.time_share for stage in stages) == pytest.approx(1.0)
    assert sum(stage.products for stage in stages) * told.cases == pytest.approx(share.products)
    assert sum(stage.other for stage in stages) * told.cases == pytest.approx(share.other)
    assert {"maximum", "local", "passes"} <= {stage.name for stage in stages}


def test_many_symptoms_tell_form_bound_time_and_memory() -> None:
    line = measured(invented, 2, "auto")
    assert line.startswith("subtracting, error bound ")
    assert "s of processor time" in line and "MiB" in line


def test_no_two_rows_of_the_large_table_tell_the_same() -> None:
    rows = [tuple(row[1:]) for row in different_rows(30_000)]
    assert len(set(rows)) == len(rows)


def test_a_large_table_is_killed_and_goes_on_to_the_same_file(tmp_path: Path) -> None:
    """Rate, memory, kill and comparison of few rows, as of a million."""
    lines = list(report_million(tmp_path, 10, 0, 1, "ostrel_3"))
    assert any("10 rows came out, 0 left out, 10 different cases" in line for line in lines)
    assert any("most memory of all processes together: " in line for line in lines)
    assert lines[-1].strip().startswith("the same file to the byte")


def test_starts_of_the_page_are_told_with_both_books() -> None:
    """Once with a new book and once with one that is there; the first screen came both times."""
    new, there = report_starts(1)
    assert new.startswith("a new book: first screen after")
    assert there.startswith("a book that is there: first screen after")
