"""What stands on the screen of the options while other money is tried speaks of one money."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT
from tests.browser.opening import begun


def _at_options(page: Page) -> None:
    """At the options, with the picture of what luck may make of each, which is drawn meanwhile."""
    address = begun(page) + "/options"
    for _ in range(60):
        page.goto(address)
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        if page.locator("#spread-head").count():
            return
        page.wait_for_timeout(500)
    raise AssertionError("the picture was not drawn")


def test_the_picture_of_luck_goes_while_other_money_is_tried(house: House) -> None:
    """Its totals are of the own money and would contradict the table beside it; slid back, it is there again."""
    page = house.visitor(1440)
    _at_options(page)
    rate = page.get_by_role("slider", name=re.compile("labour rate"))
    own = rate.input_value()
    rate.press("End")
    expect(page.locator("#options-sheet")).to_contain_text("With other money")
    expect(page.locator("#spread-head")).to_have_count(0)
    rate.fill(own)
    expect(page.locator("#options-sheet")).not_to_contain_text("With other money")
    expect(page.locator("#spread-head")).to_have_count(1)


def test_a_slider_stands_where_its_number_says_after_the_way_back(house: House) -> None:
    """The browser would put it where the hand had left it, beside a table of the workshop's own money."""
    page = house.visitor(1440)
    _at_options(page)
    rate = page.get_by_role("slider", name=re.compile("labour rate"))
    rate.press("End")
    expect(page.locator("#options-sheet")).to_contain_text("With other money")
    page.locator("#options-sheet a.button").first.click()
    expect(page.get_by_role("heading", name=re.compile("Why these numbers"))).to_be_visible()
    page.go_back()
    expect(page.locator("#options-sheet")).not_to_contain_text("With other money")
    page.wait_for_load_state()
    shown = page.locator(f"output[for={rate.get_attribute('id')}]").inner_text()
    assert float(rate.input_value()) == float(shown)
