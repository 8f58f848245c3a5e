"""A gloved hand touches twice where it means once, and the workshop's network is slow."""

from __future__ import annotations

import re

from playwright.sync_api import APIResponse, Page, Route, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT
from tests.browser.opening import begun


def _slow(page: Page) -> None:
    conditions = {"offline": False, "latency": 600, "downloadThroughput": -1, "uploadThroughput": -1}
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", conditions)


def test_touched_twice_one_case_is_begun(house: House) -> None:
    page = house.visitor(820)
    page.get_by_label("Vehicle, and what it came with").fill("Tern van touched twice")
    _slow(page)
    page.get_by_role("button", name="Begin", exact=True).dblclick(delay=20)
    expect(page.get_by_role("heading", level=1)).to_have_text("Tern van touched twice")
    page.goto("/")
    expect(page.get_by_role("link", name=re.compile("Tern van touched twice"))).to_have_count(1)


def test_touched_twice_one_entry_is_taken_back(house: House) -> None:
    """And it is not said that somebody else wrote."""
    page = house.visitor(820)
    address = begun(page)
    page.goto(f"{address}/at/3")
    for answer in ("not there", "there"):
        page.get_by_role("button", name=answer, exact=True).first.click()
        expect(page.get_by_role("button", name=answer, exact=True).first).to_have_attribute("aria-pressed", "true")
    page.goto(address)
    before = int(str(page.locator("#case").get_attribute("data-revision")))
    _slow(page)
    page.get_by_role("button", name="Take the last entry back").dblclick(delay=20)
    expect(page.locator("#told")).to_contain_text("Taken back.")
    page.wait_for_timeout(1500)
    expect(page.locator("#told")).to_contain_text("Taken back.")
    assert int(str(page.locator("#case").get_attribute("data-revision"))) == before + 1


def test_a_page_that_was_asked_for_before_an_entry_does_not_take_its_place(house: House) -> None:
    """What is still being worked out is asked for once more; that answer was of before the entry, and came after it."""
    page = house.visitor(820)
    address = begun(page)
    page.goto(f"{address}/at/3")
    held: list[tuple[Route, APIResponse]] = []
    page.route(re.compile("/at/3.patient=yes"), lambda route: held.append((route, route.fetch())))
    page.evaluate(
        "() => { htmx.ajax('GET', location.pathname + '?patient=yes',"
        " {target: '#screen', select: '#screen', selectOOB: '#told:innerHTML'}); }"
    )
    page.wait_for_timeout(500)
    assert held
    button = page.locator("[id='b-chuff%3A3%3A-present']")
    button.click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    for route, answer in held:
        route.fulfill(response=answer)
    page.wait_for_timeout(500)
    expect(page.locator("#told")).to_contain_text("Taken.")
    expect(button).to_have_attribute("aria-pressed", "true")


def test_entries_that_come_faster_than_the_answers_are_all_taken_in_their_order(house: House) -> None:
    """A slip that was put right before the slow answer came had been called somebody else's, and a third touch was
    dropped without a word."""
    page = house.visitor(820)
    page.goto(begun(page) + "/at/3")
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    before = int(str(page.locator("#case").get_attribute("data-revision")))
    _slow(page)
    for answer in ("tar%3A3%3A-present", "tar%3A3%3A-absent", "tar%3A3%3A-not_sure", "chuff%3A3%3A-present"):
        page.locator(f"[id='b-{answer}']").click()
    expect(page.locator("[id='b-chuff%3A3%3A-present']")).to_have_attribute("aria-pressed", "true", timeout=PATIENT)
    expect(page.locator("[id='b-tar%3A3%3A-not_sure']")).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#told")).to_contain_text("Taken.")
    assert int(str(page.locator("#case").get_attribute("data-revision"))) == before + 4
