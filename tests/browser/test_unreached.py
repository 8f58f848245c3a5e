"""The server stops, or the tablet leaves the network, while somebody enters things: nothing is lost without a word."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT, violations
from tests.web.served import server


def test_an_entry_that_does_not_get_through_is_told_until_one_does(chromium: Browser, tmp_path: Path) -> None:
    """Nothing had been shown: 'Taken.' of the entry before had stayed above one that was lost."""
    with server(tmp_path) as running:
        house = House(running, chromium)
        page = house.visitor(820)
        page.get_by_role("button", name=re.compile("Skerry van chuffs when cold")).click()
        expect(page.locator("#case")).to_be_attached()
        page.goto(re.sub(r"\?.*", "", page.url) + "/at/3")
        chuffs = page.locator("[id='b-chuff%3A3%3A-present']")
        chuffs.click()
        expect(page.locator("#told")).to_contain_text("Taken.")
        page.reload()  # what is believed now is still being worked out, and asked for
        running.kill()
        tar = page.locator("[id='b-tar%3A3%3A-present']")
        tar.click()
        said = page.get_by_role("alert")
        expect(said).to_contain_text("diag cannot be reached from here")
        expect(said).to_be_in_viewport()
        expect(page.locator("#told")).to_be_empty()
        assert violations(page) == []
    port = running.address.rsplit(":", 1)[1]
    with server(tmp_path, "--port", port):
        expect(said).to_contain_text("Look whether what you entered last was taken.", timeout=PATIENT)
        expect(chuffs).to_have_attribute("aria-pressed", "true")
        expect(tar).to_have_attribute("aria-pressed", "false")
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        expect(said).to_contain_text("Look whether")
        tar.click()
        expect(page.locator("#told")).to_contain_text("Taken.")
        expect(tar).to_have_attribute("aria-pressed", "true")
        expect(said).to_have_count(0)
        assert [each for each in house.troubles if "Failed to" not in each and "ERR_" not in each] == []
        house.troubles.clear()
        house.close()
