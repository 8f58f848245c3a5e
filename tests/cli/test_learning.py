"""Learning and scoring at the command line, in real processes."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest

from diag.casebook import Answer, Case, Epoch
from diag.knowledge_base import load_knowledge
from diag.report import form_schema
from diag.store import Closed, Draft, Fitted, Found, Outcome, keep, open_book, opening
from tests.cli.process import run_in


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book of 24 closed cases, and a word of its own on minutes."""
    folder = tmp_path_factory.mktemp("shop")
    known = load_knowledge()
    with open_book(str(folder / "book.sqlite3")) as book:
        for number in range(24):
            cylinder = 1 + number % 3
            answers = (
                Answer("fumes", None, "present"),
                *(Answer("tar", each, "present" if each == cylinder else "absent") for each in (1, 2, 3)),
            )
            case = Case(
                "", known.engines["ostrel_3"], "ostrel_3", 150_000.0 + number, 9.0, epochs=(Epoch((), answers),)
            )
            found = (
                Found(
                    "clamp" if number % 4 == 0 else "seal", "loose" if number % 4 == 0 else "blown", cylinder, "seen"
                ),
            )
            outcome = Outcome("yes", found, (Fitted("reseal", cylinder),), 180.0 + number, 369.0, "EUR")
            keep(book, (*opening(Draft.of(case, known)), Closed(outcome)))
    return folder


def test_learning_shows_writes_applies_only_when_asked_and_is_taken_back(shop: Path) -> None:
    """Show; write an overlay; the overlay changes a case's chances, and leaving it away gives the old ones again."""
    book = ("--book", "book.sqlite3")
    before = run_in(shop, "weigh", "one_blown_seal", "--json").stdout
    shown = run_in(shop, "learn", *book, "--turns", "2", "--json")
    assert shown.stderr == ""
    sheet = json.loads(shown.stdout)
    jsonschema.validate(sheet, form_schema("learn"))
    figures = {line["path"]: line for line in sheet["figures"]}
    assert sheet["cases"] == 24
    assert figures["findings.tar.chance.none"]["after"] < figures["findings.tar.chance.none"]["before"]
    assert figures["repairs.reseal.minutes"]["after"] > figures["repairs.reseal.minutes"]["before"]
    assert list(shop.glob("*.yaml")) == []
    written = run_in(shop, "learn", *book, "--turns", "2", "--out", "learned.yaml")
    assert written.returncode == 0, written.stderr
    assert "Nothing is applied" in " ".join(written.stdout.split())
    assert "someone complained" in (shop / "learned.yaml").read_text(encoding="utf-8")
    after = run_in(shop, "weigh", "one_blown_seal", "--json", "--overlay", "learned.yaml")
    assert after.returncode == 0, after.stderr
    assert json.loads(after.stdout)["faults"] != json.loads(before)["faults"]
    assert run_in(shop, "weigh", "one_blown_seal", "--json").stdout == before
    again = run_in(shop, "learn", *book, "--out", "learned.yaml")
    assert again.returncode == 2
    assert "already there" in again.stderr


def test_learning_on_top_of_what_was_learned_says_that_cases_may_count_twice(shop: Path) -> None:
    """The overlay of last month's learning, given to this month's: the same cases would be learned from again."""
    book = ("learn", "--book", "book.sqlite3", "--turns", "1")
    first = run_in(shop, *book, "--out", "first.yaml")
    assert first.returncode == 0, first.stderr
    assert "count twice" not in first.stdout
    on_top = run_in(shop, *book, "--overlay", "first.yaml", "--out", "second.yaml", "--json")
    assert on_top.returncode == 0, on_top.stderr
    caution = json.loads(on_top.stdout)["assumed"][0]
    count = (shop / "first.yaml").read_text(encoding="utf-8").count("bear upon it")
    assert caution.startswith(f"CAUTION, learned before: {count} figures") and "count twice" in caution
    assert caution in (shop / "second.yaml").read_text(encoding="utf-8")
    assert caution not in (shop / "first.yaml").read_text(encoding="utf-8")


def test_scoring_a_book(shop: Path) -> None:
    result = run_in(shop, "score-book", "--book", "book.sqlite3", "--picture", "diagram.svg", "--json")
    assert result.stderr == ""
    sheet = json.loads(result.stdout)
    jsonschema.validate(sheet, form_schema("score-book"))
    everything = sheet["scores"][0]
    assert everything["predictions"] == 48  # a seal and a clamp of each case were in somebody's hands
    assert everything["faults"] == 24
    parts = everything["reliability"] - everything["resolution"] + everything["uncertainty"] + everything["within"]
    assert parts == pytest.approx(everything["brier"], abs=1e-12)
    assert sum(sheet["ranks"].values()) == 24
    assert (shop / "diagram.svg").read_text(encoding="utf-8").startswith("<svg")
    page = run_in(shop, "score-book", "--book", "book.sqlite3", COLUMNS="60")
    assert page.returncode == 0
    assert "Brier score" in page.stdout


def test_advice_followed_or_not_and_learning_on_the_way(tmp_path: Path) -> None:
    """Four cases, told as a book is: the second pair is predicted with what the first taught; money by advice."""
    known = load_knowledge()
    answers = (Answer("fumes", None, "present"), Answer("tar", 2, "present"), Answer("chuff", 2, "present"))
    engine, told = known.engines["ostrel_3"], (Epoch((), answers),)
    with open_book(str(tmp_path / "book.sqlite3")) as book:
        jobs = ((("reseal",), 280.0), (("reseal", "replace_injector"), 700.0)) * 2
        for number, (work, cost) in enumerate(jobs):
            case = Case("", engine, "ostrel_3", 150_000.0 + number, 9.0, epochs=told)
            fitted = tuple(Fitted(each, 2) for each in work)
            outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),), fitted, 120.0, cost, "EUR")
            keep(book, (*opening(Draft.of(case, known)), Closed(outcome)))
    asked = ("score-book", "--book", "book.sqlite3", "--advice", "--learn-every", "2")
    sheet = json.loads(run_in(tmp_path, *asked, "--json").stdout)
    jsonschema.validate(sheet, form_schema("score-book"))
    assert sheet["learned"] == 1
    spent = {line["followed"]: line for line in sheet["spent"]}
    assert (spent[True]["cases"], spent[True]["cost"]) == (2, 280.0)  # the advice of this case is to reseal
    assert (spent[False]["cases"], spent[False]["cost"]) == (2, 700.0)
    page = " ".join(run_in(tmp_path, *asked).stdout.split())
    assert "advice followed" in page
    assert "no experiment" in page


def test_money_of_two_currencies_is_never_added_up(tmp_path: Path) -> None:
    """Half of the cases told in another currency: the mean is of the others, and both commands name what they left."""
    known = load_knowledge()
    answers = (Answer("fumes", None, "present"), Answer("tar", 2, "present"), Answer("chuff", 2, "present"))
    with open_book(str(tmp_path / "book.sqlite3")) as book:
        for number in range(4):
            case = Case(
                "", known.engines["ostrel_3"], "ostrel_3", 150_000.0 + number, 9.0, epochs=(Epoch((), answers),)
            )
            found, fitted = (Found("seal", "blown", 2, "seen"),), (Fitted("reseal", 2),)
            cost, currency = (300.0 + number, "EUR") if number % 2 else (7_500.0, "CZK")
            keep(
                book,
                (*opening(Draft.of(case, known)), Closed(Outcome("yes", found, fitted, 120.0, cost, currency))),
            )
    scored = json.loads(run_in(tmp_path, "score-book", "--book", "book.sqlite3", "--advice", "--json").stdout)
    assert [(line["cases"], line["cost"]) for line in scored["spent"]] == [(4, 302.0)]
    assert scored["currency"] == "EUR"
    learned = json.loads(run_in(tmp_path, "learn", "--book", "book.sqlite3", "--turns", "1", "--json").stdout)
    for sheet in (scored, learned):
        (caution,) = [line for line in sheet["assumed"] if "another currency" in line]
        assert caution.endswith("cases 1 and 3.")


def test_a_case_stands_in_one_quarter(shop: Path, tmp_path: Path) -> None:
    """Two predictions of each case: never one in one quarter and one in the next; no quarters of fewer than four."""
    known = load_knowledge()
    answers = (Answer("fumes", None, "present"), Answer("tar", 2, "present"))
    counts = []
    with open_book(str(tmp_path / "book.sqlite3")) as book:
        for number in range(5):
            case = Case(
                "", known.engines["ostrel_3"], "ostrel_3", 150_000.0 + number, 9.0, epochs=(Epoch((), answers),)
            )
            outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),), (Fitted("reseal", 2),))
            keep(book, (*opening(Draft.of(case, known)), Closed(outcome)))
            sheet = json.loads(run_in(tmp_path, "score-book", "--book", "book.sqlite3", "--json").stdout)
            counts.append([line["predictions"] for line in sheet["over_time"]])
    assert counts == [[], [], [], [2, 2, 2, 2], [2, 2, 2, 4]]
    assert "Over time" in run_in(shop, "score-book", "--book", "book.sqlite3").stdout


def test_where_a_file_cannot_be_written_is_said_before_the_work(shop: Path, tmp_path: Path) -> None:
    """A picture or an overlay that is there, or in a folder that is not: told first, before the book is even opened."""
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    for command, option in (("learn", "--out"), ("score-book", "--picture")):
        for path, words in ((taken, "already there"), (tmp_path / "none" / "file", "there is no folder")):
            result = run_in(shop, command, option, str(path), "--book", "none.sqlite3")
            assert result.returncode == 2
            assert words in " ".join(result.stderr.split())
    assert taken.read_text(encoding="utf-8") == "mine"


def test_figures_are_written_out(shop: Path) -> None:
    """A seal's life in kilometres and the lower end of a small chance: no exponents."""
    page = run_in(shop, "learn", "--book", "book.sqlite3", COLUMNS="100").stdout
    table = page.split("stay as they are")[0]
    assert re.search(r"components\.seal\.life\.scale +600,000 +\d{3},\d{3} ", table)
    assert "under 0.0001 to" in table
    assert not re.search(r"\de[+-]\d", table)


def test_more_cases_than_there_are_is_explained(shop: Path) -> None:
    """Tar was told of on three cylinders of each of 24 cases: that counts up to 72 times, and the page says why."""
    page = run_in(shop, "learn", "--book", "book.sqlite3", "--turns", "1")
    sheet = json.loads(run_in(shop, "learn", "--book", "book.sqlite3", "--turns", "1", "--json").stdout)
    assert max(line["cases"] for line in sheet["figures"]) > sheet["cases"]
    assert "on several cylinders counts once for each of them under 'cases'" in " ".join(page.stdout.split())


def test_a_biased_sample_is_warned_of(shop: Path, tmp_path: Path) -> None:
    """Faults of the air path written down only where there were some: the page says it, and the file."""
    known = load_knowledge()
    answers = (Answer("fumes", None, "present"), Answer("black_smoke", None, "present"))
    with open_book(str(tmp_path / "book.sqlite3")) as book:
        for number in range(4):
            case = Case(
                "", known.engines["ostrel_3"], "ostrel_3", 150_000.0 + number, 9.0, epochs=(Epoch((), answers),)
            )
            outcome = Outcome("yes", (Found("air_path", "leaking", None, "seen"),), ())
            keep(book, (*opening(Draft.of(case, known)), Closed(outcome)))
    done = run_in(tmp_path, "learn", "--book", "book.sqlite3", "--turns", "1", "--least", "1", "--out", "learned.yaml")
    assert "a biased sample: air_path" in " ".join(done.stdout.split())
    assert "a biased sample: air_path" in (tmp_path / "learned.yaml").read_text(encoding="utf-8")
    fine = run_in(shop, "learn", "--book", "book.sqlite3", "--turns", "1")
    assert "a biased sample" not in fine.stdout


def test_without_a_book_both_say_so(tmp_path: Path) -> None:
    for command in ("learn", "score-book"):
        result = run_in(tmp_path, command, "--book", "none.sqlite3")
        assert result.returncode != 0
        assert "there is no book yet" in " ".join(result.stderr.split())
        assert "Traceback" not in result.stderr
