"""Numbers as a hand types them: the comma of a tablet's keys, and a distance that may be read in two ways."""

from __future__ import annotations

import re

import pytest

from diag.web.typed import number_typed, reading_typed, with_unit
from tests.web.served import Browser


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        ("1,5", "1.5"),
        ("-2,25 mg/stroke", "-2.25 mg/stroke"),
        ("\u22122,5", "-2.5"),
        ("above 0,250 bar", "above 0.250 bar"),
        ("12,3456", "12.3456"),
        ("3,12 +/- 0,05", "3.12 +/- 0.05"),
        (",5", ".5"),
        ("180", "180"),
    ],
)
def test_a_comma_for_decimals_is_a_point(typed: str, written: str) -> None:
    assert number_typed(typed) == written


@pytest.mark.parametrize("typed", ["1,500 bar", "187,000", "1,500.5", "1.500,5", "1,2,3", "1 000,5", "1'000,5"])
def test_a_comma_that_may_stand_between_thousands_is_not_guessed_at(typed: str) -> None:
    assert number_typed(typed) == typed


def test_a_bare_number_is_given_its_unit_and_anything_else_left_alone() -> None:
    assert with_unit("187000", "km") == "187000 km"
    assert with_unit("186683.904 km", "km") == "186683.904 km"
    assert with_unit("9,5", "years") == "9.5 years"
    assert with_unit("-5", "km") == "-5 km"  # refused for what it is, not for a unit that nobody has to write
    assert with_unit("116 thousand miles", "km") == "116 thousand miles"


@pytest.mark.parametrize(
    ("typed", "whole"),
    [
        ("1,5", "1.5 bar"),
        ("above 60", "above 60 bar"),
        ("-2e1", "-2e1 bar"),
        ("3,1 +/- 0,05", "3.1 +/- 0.05 bar"),
        ("1,500", "1,500"),  # refused for what it is, with a unit or without
        ("0,4 MPa", "0.4 MPa"),
        ("820 kg/m3", "820 kg/m3"),
        ("60 mL/min at 400 bar", "60 mL/min at 400 bar"),
        ("much", "much"),
    ],
)
def test_a_reading_is_given_the_chosen_unit_unless_it_has_its_own(typed: str, whole: str) -> None:
    assert reading_typed(typed, "bar") == whole


def test_a_comma_is_taken_wherever_the_page_asks_for_a_number(browser: Browser) -> None:
    """The reading at a cylinder, those of a check, and the vehicle's age."""
    begun = browser.send("/cases/new", title="Skerry van", engine="ostrel_4", distance="150000", age="9,5")
    number = int(re.search(r"/case/(\d+)", str(begun.url)).group(1))  # type: ignore[union-attr]
    one = {"item": "correction", "place": "3", "under": "", "unit": "mg/stroke", "value": "1,5"}
    assert browser.send(f"/case/{number}/measure", on=browser.revision(number), **one).status_code == 200
    check, many = f"/case/{number}/check/idle_correction/vehicle", {"correction:2:": "-2,5"}
    assert browser.send(check, on=browser.revision(number), **many).status_code == 200
    assert "1.5 mg/stroke" in browser.client.get(f"/case/{number}/at/3").text
    assert "-2.5 mg/stroke" in browser.client.get(f"/case/{number}/at/2").text
    end = {"cured": "yes", "time": "1,5 h", "cost": "269,50 EUR"}
    assert browser.send(f"/case/{number}/close", on=browser.revision(number), **end).status_code == 200
    assert 'value="9.5 years"' in browser.client.get(f"/case/{number}/vehicle").text


def test_a_distance_of_which_thousands_would_be_lost_begins_no_case(browser: Browser) -> None:
    """`187.000` had begun a case of a vehicle that is nearly new."""
    answer = browser.send("/cases/new", title="Skerry van", engine="ostrel_4", distance="187.000", age="9")
    assert answer.status_code == 422
    assert "the point in '187.000 km' may stand for thousands; write '187000 km'" in answer.text.replace("&#39;", "'")


def test_a_reading_takes_the_unit_beside_it_or_its_own() -> None:
    """'450 psi' typed while 'bar' was chosen had been refused as 'psi bar'."""
    assert reading_typed("28,5", "bar") == "28.5 bar"
    assert reading_typed("3.1 ± 0.2", "mg/stroke") == "3.1 ± 0.2 mg/stroke"
    assert reading_typed("60 at 400 bar", "mL/min") == "60 mL/min at 400 bar"
    assert reading_typed("450 psi", "bar") == "450 psi"
    assert reading_typed("> 60", "mL/min") == "> 60 mL/min"
    assert reading_typed("1:35", "s") == "1:35"
    assert reading_typed("", "bar") == ""
