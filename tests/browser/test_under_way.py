"""On a slow network what was touched says that it is under way, and nothing moves; what is quick says nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from tests.browser.conftest import House
from tests.browser.looking import NARROWEST, PATIENT, fine, violations
from tests.browser.opening import begun

PLACES = """() => [...document.querySelectorAll('#screen *')].map(each => each.getBoundingClientRect())
    .map(box => [box.x, box.y, box.width, box.height].map(Math.round).join())"""


@contextmanager
def _slow(page: Page, latency_ms: int = 2500) -> Iterator[None]:
    """A network on which every answer takes that long."""
    line = page.context.new_cdp_session(page)
    rates = {"downloadThroughput": -1, "uploadThroughput": -1}
    line.send("Network.emulateNetworkConditions", {"offline": False, "latency": latency_ms, **rates})
    yield
    line.send("Network.emulateNetworkConditions", {"offline": False, "latency": 0, **rates})


def _at_a_cylinder(house: House, width: int) -> Page:
    page = house.visitor(width)
    page.goto(begun(page) + "/at/3")
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    return page


def _sign(page: Page) -> Locator:
    return page.locator("#under-way")


@pytest.mark.parametrize("width", NARROWEST)
def test_an_entry_that_takes_its_time_is_marked_and_moves_nothing(house: House, width: int) -> None:
    """Nothing had shown that the touch was heard; people touched once more."""
    page = _at_a_cylinder(house, width)
    button = page.locator("[id='b-tar%3A3%3A-present']")
    button.scroll_into_view_if_needed()
    before = page.evaluate(PLACES)
    with _slow(page):
        button.click()
        expect(button).to_have_attribute("aria-busy", "true")
        expect(_sign(page)).to_have_text("Under way ...")
        expect(_sign(page)).to_be_in_viewport()
        assert page.evaluate(PLACES) == before
        assert violations(page) == []
        expect(page.locator("#told")).to_contain_text("Taken.", timeout=PATIENT)
        expect(button).to_have_attribute("aria-pressed", "true")
        expect(_sign(page)).to_be_empty()
        expect(button).not_to_have_attribute("aria-busy", "true")
    page.evaluate("() => scrollTo(0, 0)")
    fine(page)


NOTED = """() => {
    const line = document.getElementById('under-way'), marked = '[aria-busy=true]';
    const note = busy => busy && sessionStorage.setItem('sign', `${line.textContent}: ${busy.textContent}`);
    sessionStorage.clear();
    new MutationObserver(() => note(document.querySelector(marked))).observe(line, {childList: true});
}"""
"""Notes for the next page what this one showed while it waited; it cannot be asked then."""


def _noted(page: Page) -> str:
    """What was shown while this page was waited for."""
    return str(page.evaluate("() => sessionStorage.getItem('sign')"))


def test_a_page_that_takes_its_time_is_under_way_until_it_is_there(house: House) -> None:
    """Forms that lead to another page, and links that look like buttons; back again nothing is under way."""
    page = _at_a_cylinder(house, 820)
    page.evaluate(NOTED)
    with _slow(page):
        page.get_by_role("link", name="Back to the bay").click()
        expect(page.get_by_role("heading", name="What is believed now")).to_be_visible(timeout=PATIENT)
        assert _noted(page) == "Under way ...: Back to the bay"
        expect(_sign(page)).to_be_empty()
        page.go_back()
        expect(page.locator("[id='b-tar%3A3%3A-present']")).to_be_visible(timeout=PATIENT)
        expect(_sign(page)).to_be_empty()
    page.goto("/")
    page.get_by_label("Vehicle, and what it came with").fill("Tern van on a slow network")
    page.evaluate(NOTED)
    with _slow(page):
        page.get_by_role("button", name="Begin", exact=True).click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Tern van on a slow network", timeout=PATIENT)
        assert _noted(page) == "Under way ...: Begin"
        expect(_sign(page)).to_be_empty()


def test_a_cylinder_a_case_and_a_place_are_under_way_once_touched(house: House) -> None:
    """What is touched most had shown nothing: the page stood as before until the next one was there."""
    page = _at_a_cylinder(house, 390)
    places = page.locator(".places a", has_text="Bay")
    for touched in (page.locator("#cylinder-2"), places, page.locator("a.card").first):
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        here = page.url
        page.evaluate(NOTED)
        with _slow(page, 1500):
            touched.click()
            page.wait_for_url(lambda address, here=here: address != here, timeout=PATIENT)
            assert _noted(page).startswith("Under way ...: ")
            expect(_sign(page)).to_be_empty()


def test_what_is_quick_or_does_not_get_through_leaves_no_sign(house: House) -> None:
    """A sign that flickers with every touch would be noise; one that stays after an error would be untrue."""
    page = _at_a_cylinder(house, 820)
    page.evaluate(NOTED)
    quick = page.request.get(page.url).text()  # an answer at once, however busy this machine is
    page.route("**/tell", lambda route: route.fulfill(content_type="text/html; charset=utf-8", body=quick))
    with page.expect_response("**/tell"):
        page.locator("[id='b-tar%3A3%3A-absent']").click()
    page.wait_for_timeout(600)
    assert _noted(page) == "None"
    page.unroute("**/tell")
    held: list[Route] = []
    page.route("**/tell", lambda route: held.append(route))
    page.locator("[id='b-tar%3A3%3A-present']").click()
    expect(_sign(page)).to_have_text("Under way ...")
    assert _noted(page) == "Under way ...: there"
    held[0].abort()
    expect(page.get_by_role("alert")).to_contain_text("diag cannot be reached from here")
    expect(_sign(page)).to_be_empty()
    expect(page.locator("#screen [aria-busy=true]")).to_have_count(0)
    assert [each for each in house.troubles if "Failed to" not in each and "ERR_" not in each] == []
    house.troubles.clear()


def test_what_is_refused_with_a_page_of_its_own_is_not_under_way_any_longer(house: House) -> None:
    """Such as a form from before diag was started anew: 'Under way ...' had stood over its answer for good."""
    page = _at_a_cylinder(house, 390)
    page.evaluate("() => document.querySelectorAll('[name=token]').forEach(each => { each.value = 'of before'; })")
    page.locator("[id='b-tar%3A3%3A-present']").click()
    expect(page.get_by_role("button", name="Send it again")).to_be_visible()
    page.wait_for_timeout(600)
    expect(_sign(page)).to_be_empty()
    fine(page)
