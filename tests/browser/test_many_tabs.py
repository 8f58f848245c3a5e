"""Many tabs and windows of one browser at the cases of one house."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import House

TABS = 8  # browsers keep at most six connections to one house open
HIDDEN = """hidden => {
  Object.defineProperty(document, 'hidden', {configurable: true, get: () => hidden});
  document.dispatchEvent(new Event('visibilitychange'));
}"""
"""What a browser with a head says to a tab of which another takes the place; one without says it to none."""


def _seen(page: Page, seen: bool) -> None:
    page.evaluate(HIDDEN, not seen)


def test_many_tabs_of_a_case_all_open_and_each_is_up_to_date_when_it_is_looked_at(house: House) -> None:
    """A tab that is not seen holds no connection; once it is seen again, it shows what was told meanwhile."""
    first = house.visitor(820)
    first.get_by_role("button", name=re.compile("Skerry van chuffs when cold")).click()
    expect(first.locator("#case")).to_be_attached()
    case = re.sub(r"\?.*", "", first.url)
    _seen(first, False)
    for _ in range(TABS):
        tab = first.context.new_page()
        tab.goto(f"{case}/at/3", timeout=20_000)
        expect(tab.locator("#case")).to_be_attached()
        _seen(tab, False)
    _seen(tab, True)
    tab.get_by_role("button", name="there", exact=True).first.click()
    expect(tab.locator("#told")).to_contain_text("Taken.")
    assert first.locator("#case").get_attribute("data-revision") != tab.locator("#case").get_attribute("data-revision")
    _seen(first, True)
    now = str(tab.locator("#case").get_attribute("data-revision"))
    expect(first.locator("#case")).to_have_attribute("data-revision", now)
