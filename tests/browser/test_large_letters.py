"""Letters of twice their size, as the device is set to: every screen of a case is read and touched on a telephone.

May import: `diag.web`'s templates through a real server, and the list of screens beside it.
"""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT, shown_badly, small_targets
from tests.browser.test_screens import OF_CASE

TWICE = "225%"  # the sheet's own size is 112.5 % of what the device is set to


def _enlarged(page: Page, address: str, size: str) -> list[str]:
    """What is shown badly of a screen whose letters are that large, with every fold open."""
    page.goto(address)
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    page.evaluate(
        "size => { document.documentElement.style.fontSize = size;"
        " document.querySelectorAll('details').forEach(each => { each.open = true; }); }",
        size,
    )
    return [f"{address}: {bad}" for bad in (*shown_badly(page), *small_targets(page))]


def test_letters_of_twice_their_size_stay_in_their_rows_on_a_telephone(house: House) -> None:
    """The count of what was told had been pushed out at the right of its row, and the page with it."""
    page = house.visitor(390)
    page.get_by_role("button", name=re.compile("Skerry van chuffs when cold")).click()
    expect(page.locator("#case")).to_be_attached()
    case = re.sub(r"\?.*", "", page.url)
    page.goto(f"{case}/at/2")
    page.locator("[id='b-chuff%3A2%3A-present']").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    bad = _enlarged(page, f"{case}/at/2", TWICE)
    expect(page.locator("details.group > summary > .quiet").first).to_have_text("1 told")
    screens = {case + part for parts in OF_CASE.values() for part in parts if not part.endswith("/A")}
    bad += [each for address in sorted({*screens, "/"}) for each in _enlarged(page, address, TWICE)]
    assert bad == []
