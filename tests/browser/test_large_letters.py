"""Letters of twice their size, as the device is set to: every screen is read and touched at every width.

May import: the list of screens beside it.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import House
from tests.browser.looking import NARROWEST, PATIENT, shown_badly, small_targets
from tests.browser.opening import begun
from tests.browser.test_screens import OF_A_CLOSED_CASE, OF_CASE, OF_THE_V8

TWICE = {"standard": 32, "fixed": 26}
"""Sizes in CSS pixels to which a browser is set; 16 and 13 are the usual ones."""


def _enlarged(house: House, width: int) -> Page:
    page = house.visitor(width)
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": TWICE})
    page.reload()
    size = page.evaluate("() => getComputedStyle(document.documentElement).fontSize")
    assert size == "36px", "the sheet's own size is 112.5 % of what the device is set to"
    return page


def _shown_badly(page: Page, address: str) -> list[str]:
    """What is shown badly of a screen, with every fold open."""
    page.goto(address)
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    return [f"{address}: {bad}" for bad in (*shown_badly(page), *small_targets(page))]


def _begun(page: Page, title: str) -> str:
    page.goto("/")
    return begun(page, title)


@pytest.mark.parametrize("width", NARROWEST)
def test_letters_of_twice_their_size_stay_in_their_rows(house: House, width: int) -> None:
    """On a telephone the count of what was told had been pushed out at the right of its row, and the page with it; on a
    tablet tables stuck out, and on a desk the options lay over the sliders."""
    page = _enlarged(house, width)
    case = _begun(page, "Skerry van chuffs when cold")
    page.goto(f"{case}/at/2")
    page.locator("[id='b-chuff%3A2%3A-present']").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    bad = _shown_badly(page, f"{case}/at/2")
    expect(page.locator("details.group > summary > .quiet").first).to_have_text("1 told")
    screens = {case + part for parts in OF_CASE.values() for part in parts if not part.endswith("/A")}
    bad += [each for address in sorted({*screens, "/", "/classroom"}) for each in _shown_badly(page, address)]
    eight = _begun(page, "Bollard tow truck fell onto one bank")
    bad += [each for part in OF_THE_V8 for each in _shown_badly(page, eight + part)]
    page.goto(f"{case}/book")
    page.get_by_label("yes", exact=True).check()
    page.get_by_label("What was found (1)").select_option(index=1)
    page.get_by_role("button", name="Close it").click()
    expect(page.get_by_text("The case is closed and in the book.")).to_be_visible()
    bad += [each for part in OF_A_CLOSED_CASE for each in _shown_badly(page, case + part) if not part.endswith("/A")]
    assert bad == []


SPACED = """() => {
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`
    * { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important; }
    p { margin-bottom: 2em !important; }
    figure, figure * { letter-spacing: 0 !important; word-spacing: 0 !important; }`);
  document.adoptedStyleSheets = [sheet];
}"""
"""Spacing that a reader may ask for (WCAG 2.2, 1.4.12); the text of drawn pictures does not flow and is left out."""


def test_the_options_stay_in_their_sheet_on_every_screen(house: House) -> None:
    """On a tablet of 700 pixels, and with spaced text on one of 820, the totals stuck out at the right; with letters of
    one and a half times their size they lay over the sliders of a wide desk."""
    page = house.visitor(820)
    case = _begun(page, "Bollard tow truck fell onto one bank")
    for letters, spaced, widths in ((16, False, (700, 820, 1260)), (16, True, (390, 760, 820)), (24, False, (1920,))):
        sizes = {"fontSizes": {"standard": letters, "fixed": 13}}
        page.context.new_cdp_session(page).send("Page.setFontSizes", sizes)
        page.goto(f"{case}/options")
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        if spaced:
            page.evaluate(SPACED)
        for width in widths:
            page.set_viewport_size({"width": width, "height": 900})
            assert shown_badly(page) == [], (letters, spaced, width)
