"""Closing a case of the book at the command line: what was spent, and what the journal says of it."""

from __future__ import annotations

import pytest

from diag.casebook import demo_cases
from tests.cli.desk import CASE, CLOSING, Desk


def test_the_journal_says_all_that_a_closing_told_and_what_was_told_anew(desk: Desk) -> None:
    """A closing that was taken back stands in the journal alone, so its money and note do, too; of a case that is told
    anew, what is otherwise than before."""
    desk("book", "keep", CASE)
    desk("book", "close", "1", *CLOSING, "--note", "two washers in the bore")
    desk("book", "undo", "1")
    text = demo_cases()[CASE].read_text()
    for old, new in (("187000 km", "190000 km"), ("tar: {2: present", "tar: {2: absent"), ("2: 0.9", "2: 0.7")):
        assert old in text
        text = text.replace(old, new)
    (desk.folder / "again.yaml").write_text(text)
    desk("book", "keep", "again.yaml", "--into", "1")
    journal = desk.json("book.case", "book", "show", "1", "--journal")["journal"]
    said = {line["kind"]: line["words"] for line in journal}
    assert said["closed"].endswith("1 h 30 min; 269 EUR; cured: yes; two washers in the bore")
    assert said["retold"] == (
        "distance 190,000 km; black tar-like carbon around the injector, cylinder 2: absent; "
        "idle correction of the cylinder, cylinder 2: 0.7 mg/stroke; "
        "no longer: black tar-like carbon around the injector, cylinder 2: present; "
        "no longer: idle correction of the cylinder, cylinder 2: 0.9 mg/stroke"
    )


@pytest.mark.parametrize(
    ("said", "minutes"),
    [
        ("1 h 35 min", 95.0),
        ("0h5min", 5.0),
        ("12 h 00 min", 720.0),
        ("1:35", 95.0),
        ("1:35 h", 95.0),
        ("1h35", 95.0),
        ("0:05", 5.0),
        ("1.5 hrs", 90.0),
    ],
)
def test_a_time_is_taken_as_every_page_writes_it(desk: Desk, said: str, minutes: float) -> None:
    desk("book", "keep", CASE)
    desk("book", "close", "1", "--cured", "yes", "--time", said)
    assert desk.json("book.case", "book", "show", "1")["outcome"]["minutes"] == minutes


@pytest.mark.parametrize("said", ["1 h 75 min", "1 h -5 min", "h 5 min", "1 h 5", "1:75", "1:5", "1:35 min"])
def test_a_time_that_is_none_is_refused(desk: Desk, said: str) -> None:
    desk("book", "keep", CASE)
    desk.refused("book", "close", "1", "--cured", "yes", "--time", said)
    assert desk.json("book.case", "book", "show", "1")["outcome"] is None


def test_what_was_spent_is_told_and_shown_before_tax(desk: Desk) -> None:
    """'diag learn' takes it for that, and an estimate ends with the sum with tax: nothing had said which to write."""
    desk("book", "keep", CASE)
    assert "348 EUR before tax" in desk("book", "close", "1", "--cured", "yes", "--cost", "348 EUR")
    assert "before tax" in " ".join(desk("book", "close", "--help").split())
