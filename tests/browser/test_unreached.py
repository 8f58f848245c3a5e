"""The server stops, or the tablet leaves the network, while somebody enters things: nothing is lost without a word."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, Route, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT, fine, violations
from tests.browser.opening import begun
from tests.web.served import server


def test_an_entry_that_does_not_get_through_is_told_until_one_does(chromium: Browser, tmp_path: Path) -> None:
    """Nothing had been shown: 'Taken.' of the entry before had stayed above one that was lost."""
    with server(tmp_path) as running:
        house = House(running, chromium)
        page = house.visitor(820)
        page.goto(begun(page) + "/at/3")
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


def test_a_tablet_that_is_on_the_network_again_is_told_so(house: House) -> None:
    """Off and on within a moment, so that the stream of what others write never breaks."""
    page = house.visitor(390)
    page.goto(begun(page) + "/at/3")
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    page.context.set_offline(True)
    page.locator("[id='b-tar%3A3%3A-present']").click()
    said = page.get_by_role("alert")
    expect(said).to_contain_text("diag cannot be reached from here")
    page.context.set_offline(False)
    expect(said).to_contain_text("Look whether what you entered last was taken.")
    page.evaluate("() => scrollTo(0, 0)")  # further down it stays in view, over what is scrolled past
    fine(page)
    assert [each for each in house.troubles if "Failed to" not in each and "ERR_" not in each] == []
    house.troubles.clear()


def test_a_form_that_leads_to_another_page_stays_with_what_was_typed(house: House) -> None:
    """It had been sent into nothing: the browser's own page stood there, and twelve readings were gone."""
    page = house.visitor(820)
    address = begun(page)
    page.goto(f"{address}/check/idle_correction/vehicle")
    page.wait_for_load_state()
    field = page.get_by_label("cylinder 3", exact=True)
    field.fill("1,5")
    page.context.set_offline(True)
    page.get_by_role("button", name="Take it").click()
    expect(page.get_by_role("alert")).to_contain_text("diag cannot be reached from here")
    expect(page.locator("#under-way")).to_be_empty()
    expect(field).to_have_value("1,5")
    page.context.set_offline(False)
    expect(page.get_by_role("alert")).to_contain_text("diag can be reached again")
    expect(field).to_have_value("1,5")
    page.get_by_role("button", name="Take it").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    page.goto(f"{address}/at/3")
    expect(page.locator("[id^='asked-correction'] strong")).to_contain_text("1.5 mg/stroke")
    assert [each for each in house.troubles if "Failed to" not in each and "ERR_" not in each] == []
    house.troubles.clear()


def test_what_is_not_there_after_one_long_wait_is_waited_for_again(house: House) -> None:
    """A part that is the same as before asks no more; one with another address, as the server gives it, does."""
    page = house.visitor(1440)
    address = begun(page) + "/belief"
    done = page.request.get(f"{address}?patient=yes").text()
    waits = [_waiting(done, each) for each in ("patient=yes", "patient=2", "patient=3")]
    asked: list[str] = []

    def answer(route: Route) -> None:
        asked.append(route.request.url.partition("?")[2])
        body = waits[len(asked) - 1] if len(asked) <= len(waits) else done
        route.fulfill(body=body, content_type="text/html")

    page.route("**/belief*", answer)
    page.goto(address)
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    assert asked == ["", "patient=yes", "patient=2", "patient=3"]


def _waiting(text: str, asked: str) -> str:
    """The page with the part that asks by an address, as the template has it, instead of what it is about."""
    part = f'<p aria-busy="true" hx-get="?{asked}" hx-trigger="load delay:50ms">Being worked out ...</p>'
    return re.sub(r'(<main id="screen".*?>).*</main>', lambda found: f"{found[1]}{part}</main>", text, flags=re.DOTALL)
