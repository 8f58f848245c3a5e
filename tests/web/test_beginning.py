"""The page's first screens: the list, a case begun, the bay, taking back."""

from __future__ import annotations

import pytest

from tests.web.served import Browser


def test_a_case_is_begun_and_stands_in_the_list(browser: Browser) -> None:
    """From the first form to the bay, and back in the list of cases."""
    answer = browser.send("/cases/new", title="Skerry van shakes", engine="ostrel_4", distance="120000", age="8")
    assert answer.status_code == 200
    assert "<h1>Skerry van shakes</h1>" in answer.text
    assert "120,000 km" in answer.text
    assert "Skerry van shakes" in browser.client.get("/").text


def test_the_bay_says_of_each_cylinder_what_the_command_line_says(browser: Browser) -> None:
    """The demonstration case's seal stands first, as in `diag weigh`, and each cylinder is a link with its words."""
    text = browser.client.get(f"/case/{browser.demo('one_blown_seal')}").text
    assert "combustion seal: weeping or blown, cylinder 2" in text
    assert 'aria-label="cylinder 2, 95 % very likely, 3 told: chance of something wrong there"' in text


@pytest.mark.parametrize(
    ("title", "engine", "distance", "said"),
    [
        ("", "ostrel_4", "", "no title yet"),
        ("van", "no_such", "", "choose an engine"),
        ("van", "ostrel_4", "far", "far"),
    ],
)
def test_what_cannot_be_a_case_is_refused_in_words(
    browser: Browser, title: str, engine: str, distance: str, said: str
) -> None:
    answer = browser.send("/cases/new", title=title, engine=engine, distance=distance)
    assert answer.status_code == 422
    assert said in answer.text
    assert "Traceback" not in answer.text


def test_an_error_says_nothing_of_the_command_line(browser: Browser) -> None:
    """What to type at a terminal helps nobody who holds a tablet."""
    answer = browser.client.get("/case/77777")
    assert answer.status_code == 404
    assert "the book has no case 77777" in answer.text
    assert "diag book" not in answer.text
