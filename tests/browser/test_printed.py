"""Screens that somebody prints with the browser's own button: no empty side, no picture cut by the end of one."""

from __future__ import annotations

import re

import pypdfium2
from playwright.sync_api import expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT
from tests.support.pages import pages_in

SIDE = 277 / 25.4 * 96  # CSS pixels of an A4 side within its margins of 10 mm


def test_a_dangerous_case_prints_on_one_side_for_the_customer_and_without_empty_sides(house: House) -> None:
    """The picture was higher than a side: it was cut, with an empty side before it, and the customer's page was two."""
    page = house.visitor(1440)
    page.locator("button[name=demo][value=injector_stuck_open]").click()
    expect(page.locator("#case")).to_be_attached()
    case = re.sub(r"\?.*", "", page.url)
    page.goto(f"{case}/customer?language=de")
    expect(page.locator(".customer table")).to_be_visible()
    assert pages_in(page.pdf(prefer_css_page_size=True)) == 1
    page.goto(f"{case}/belief")
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    expect(page.locator(".paper svg").first).to_be_visible()
    sides = pypdfium2.PdfDocument(page.pdf(prefer_css_page_size=True))
    assert all(side.get_textpage().get_text_range().strip() for side in sides)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 703, "height": 1047})
    heights = page.locator(".paper svg").evaluate_all("all => all.map(each => each.getBoundingClientRect().height)")
    assert max(heights) <= SIDE
