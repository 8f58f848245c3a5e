"""A device that is not let in any longer keeps its page and what was typed, and is told the way back in."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT, fine, violations
from tests.browser.opening import begun
from tests.web.served import Server, server


def _code(running: Server) -> str:
    found = re.search(r"Code for a tablet: (\d{4} \d{4})", "".join(running.lines))
    assert found is not None, running.lines
    return found.group(1)


def _let_in(page: Page, running: Server) -> None:
    page.get_by_label("Code, eight digits").fill(_code(running))
    page.get_by_role("button", name="Let in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Cases")


def test_a_device_that_is_shut_out_keeps_what_was_typed_and_comes_back_in(chromium: Browser, tmp_path: Path) -> None:
    """The readings of a check had been gone with their page, an answer had taken the page away, and at a slider the
    options vanished without a word."""
    with server(tmp_path, "--network", "--address", "127.0.0.1") as running:
        house = House(running, chromium)
        page = house.visitor(820)
        _let_in(page, running)
        address = begun(page)
        for part, touch in (("/options", "slider"), ("/at/3", "answer"), ("/check/idle_correction/vehicle", "form")):
            page.goto(address + part)
            page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
            page.context.clear_cookies()
            if touch == "slider":
                page.locator("input[type=range]").first.press("ArrowRight")
            elif touch == "answer":
                page.locator("[id='b-tar%3A3%3A-present']").click()
            else:
                page.get_by_label("cylinder 3", exact=True).fill("1,5")
                page.get_by_role("button", name="Take it").click()
            said = page.get_by_role("alert")
            expect(said).to_contain_text("This device is not let in any longer")
            expect(page.get_by_role("heading", level=1)).to_contain_text("Skerry van chuffs when cold")
            expect(page.locator("#under-way")).to_be_empty()
            if touch == "slider":
                expect(page.locator("#options-sheet tbody tr").first).to_be_visible()
            assert violations(page) == []
            with page.context.expect_page() as opened:
                said.get_by_role("link", name="Let this device in").click()
            _let_in(opened.value, running)
            opened.value.close()
        expect(page.get_by_label("cylinder 3", exact=True)).to_have_value("1,5")
        page.evaluate("() => scrollTo(0, 0)")
        fine(page)
        page.get_by_role("button", name="Take it").click()
        again = page.get_by_role("button", name="Send it again")  # its token is of before
        expect(again.or_(page.locator("#told p")).first).to_be_visible()
        if again.count():
            expect(page.locator("#screen li")).to_have_text(
                "idle correction of the cylinder, cylinder 3: 1,5 mg/stroke"
            )
            again.click()
        expect(page.locator("#told")).to_contain_text("Taken.")
        house.close()
