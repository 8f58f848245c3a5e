"""The customer's page, the work sheet and the estimate of every case, as a browser shows and prints them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from playwright.sync_api import Page

from diag.explain import explain
from diag.network import weigh
from diag.report import (
    course_picture,
    estimate_html,
    estimate_sheet,
    page_html,
    sheet_html,
    why_sheet,
    work_sheet,
)
from diag.worksheet import estimate, work_of
from tests.browser.looking import WIDTHS, shown_badly, smallest_text, violations
from tests.pictures.test_pictures import PICTURES
from tests.report.customer.demo_pages import CASES, LANGUAGES, page
from tests.report.customer.test_paper import held, longest_page
from tests.support.cases import MANY_SYMPTOMS
from tests.support.effort import LONG
from tests.support.pages import letters_of, overlaps, pages_in
from tests.worksheet.demo import as_chosen, decided
from tests.worksheet.plans import KNOWLEDGE

SOME = (
    "one_blown_seal",
    "second_seal_weeping",
    MANY_SYMPTOMS,
    "findings_that_contradict",
    "whole_bank_silent",
)
LOOKED_AT = CASES if LONG else SOME  # in line and V, one danger, no work, a fault of no cylinder
LEAST_TEXT = 14.0  # CSS pixels; everything is in rem, so that it grows with what a reader has set
PIXEL = 0.75  # points: a browser rounds paper to its pixels
FACES = ("DejaVu Serif", "DejaVu Sans", "Liberation Serif")


@cache
def made(name: str, kind: str) -> str:
    if kind in LANGUAGES:
        return page_html(page(name, kind))
    case, ready, decision = decided(name)
    chosen = as_chosen(decision.best)
    if kind == "sheet":
        return sheet_html(work_sheet(KNOWLEDGE, case, work_of(KNOWLEDGE, case, chosen), decision.danger.cautions))
    reckoned = estimate(ready.bound.tariff, case, ready.network, ready.posterior, chosen)
    return estimate_html(estimate_sheet(KNOWLEDGE, case, reckoned))


@pytest.mark.parametrize("kind", [*LANGUAGES, "sheet", "estimate"])
@pytest.mark.parametrize("name", LOOKED_AT)
def test_a_paper_is_whole_on_every_screen(tab: Page, name: str, kind: str) -> None:
    """axe-core finds nothing (WCAG 2.2 A and AA), nothing is cut off or overlaps on telephone, tablet and desk, and no
    text is smaller than 14 px; a reader's dark setting does not take the ink from the paper."""
    tab.emulate_media(color_scheme="dark")
    tab.set_content(made(name, kind))
    assert violations(tab) == []
    for width, height in WIDTHS.items():
        tab.set_viewport_size({"width": width, "height": height})
        assert shown_badly(tab) == [], f"at {width}"
    assert smallest_text(tab) >= LEAST_TEXT


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", LOOKED_AT)
def test_printed_from_the_browser_the_customers_page_is_one_side(tab: Page, name: str, language: str) -> None:
    """Whatever faces the machine has: letters measured in the PDF that Chromium prints."""
    tab.set_content(made(name, language))
    held(tab.pdf(prefer_css_page_size=True), within=PIXEL)


@pytest.mark.parametrize("face", FACES)
def test_long_names_on_a_v8_are_one_side_in_any_face(tab: Page, face: str) -> None:
    """Wide faces stand in where the page's own are missing; the longest page is the V8 in German with long names."""
    tab.set_content(page_html(longest_page()).replace("'Libertinus Serif'", f"'{face}'"))
    held(tab.pdf(prefer_css_page_size=True), within=PIXEL)
    for width, height in WIDTHS.items():
        tab.set_viewport_size({"width": width, "height": height})
        assert shown_badly(tab) == [], f"at {width}"


@pytest.mark.parametrize("kind", ["sheet", "estimate"])
def test_sheets_print_with_nothing_over_another(tab: Page, kind: str) -> None:
    """The longest work of all cases; an estimate is one side."""
    tab.set_content(made(MANY_SYMPTOMS, kind))
    printed = tab.pdf(prefer_css_page_size=True)
    assert overlaps(letters_of(printed)) == []
    assert kind == "sheet" or pages_in(printed) == 1


def test_a_word_without_end_breaks_instead_of_leaving_the_paper(tab: Page) -> None:
    tab.set_viewport_size({"width": 390, "height": 844})
    tab.set_content(page_html(replace(page("one_blown_seal"), case="Fathom" * 30)))
    assert shown_badly(tab) == []


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_whole_in_any_face(tab: Page, name: str, face: str) -> None:
    """Faces of much wider letters stand in for the one that the pictures are reckoned with."""
    tab.set_content(f"<main>{PICTURES[name]()}</main>".replace("'Libertinus Serif'", f"'{face}'"))
    assert shown_badly(tab) == []


def test_the_picture_of_belief_of_a_real_case_is_whole(tab: Page) -> None:
    """The V8 with many symptoms: 13 findings, three faults."""
    weighed = weigh(KNOWLEDGE, decided(MANY_SYMPTOMS)[0])
    picture = course_picture(why_sheet(weighed, explain(weighed)))
    for face in FACES:
        tab.set_content(f"<main>{picture}</main>".replace("'Libertinus Serif'", f"'{face}'"))
        assert shown_badly(tab) == []


def test_the_measure_sees_what_is_wrong(tab: Page) -> None:
    """What sticks out, is cut off, overlaps, is faint or has no name is found: else the tests above could not fail."""
    tab.set_content(
        '<html lang="en"><title>t</title><main><h1>One</h1><p style="margin-top:-1.2em">Over the heading</p>'
        '<p style="width:4em;height:1em;overflow:hidden">This is far too long for its box</p>'
        '<p style="position:absolute;left:-3em">Left</p><p style="color:#aaa">faint</p><input></main></html>'
    )
    told = " ".join(shown_badly(tab))
    assert "overlaps" in told and "cut off: This is far" in told and "sticks out: Left" in told
    rules = " ".join(violations(tab))
    assert "color-contrast" in rules and "label" in rules
