"""Every screen that there is, one by one: axe's rules, nothing cut or covered at three widths, targets for gloves.

The list is held against the routes of the page, so that a new screen cannot be forgotten. May import: `diag.web`.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from playwright.sync_api import Browser, Page, expect

from diag.web.app import ROUTES
from tests.browser.conftest import House
from tests.browser.looking import PATIENT, fine
from tests.browser.opening import begun
from tests.logs.simulated import HEADS, State, simulate, written
from tests.web.served import server

OF_CASE = {
    "/case/{number}": ("",),
    "/case/{number}/belief": ("/belief",),
    "/case/{number}/next": ("/next",),
    "/case/{number}/at/{where}": ("/at/2", "/at/A", "/at/vehicle"),
    "/case/{number}/pad/{item}/{where}": ("/pad/correction/2",),
    "/case/{number}/tried": ("/tried",),
    "/case/{number}/vehicle": ("/vehicle",),
    "/case/{number}/checks": ("/checks?patient=yes",),
    "/case/{number}/check/{check}/{where}": ("/check/look_into_wells/A", "/check/idle_correction/vehicle",
                                             "/check/read_injector_codes/vehicle"),
    "/case/{number}/log": ("/log",),
    "/case/{number}/options": ("/options", "/options?labour_per_hour=180"),
    "/case/{number}/turns": ("/turns",),
    "/case/{number}/option": ("/option?what=all%20seals",),
    "/case/{number}/counter": ("/counter", "/counter?option=no%20such"),
    "/case/{number}/customer": ("/customer", "/customer?language=de"),
    "/case/{number}/estimate": ("/estimate", "/estimate?language=de"),
    "/case/{number}/sheet": ("/sheet",),
    "/case/{number}/book": ("/book",),
    "/case/{number}/alike": ("/alike",),
    "/case/{number}/why": ("/why", "/why?advice=yes"),
}  # fmt: skip
"""Screens of a case by their route, with the addresses at which each is looked at."""
OF_THE_V8 = ("", "/at/3", "/at/B", "/check/idle_correction/vehicle", "/options", "/vehicle", "/belief")
OF_A_CLOSED_CASE = ("", "/at/2", "/tried", "/log", "/vehicle", "/book", "/check/look_into_wells/A")
OTHERS = {"/", "/calibration", "/pair"}
IN_THE_WALKS = {"/classroom", "/classroom/play", "/classroom/debrief", "/classroom/class"}
NO_SCREENS = re.compile(r"^/api/|/live$|/begin/|\.(pdf|csv|html|\{kind\})$")
NARROW, WIDE = 390, 1440


def test_no_screen_is_forgotten() -> None:
    """What can be asked for and is a page stands in one of the lists above."""
    routes = [route for each in ROUTES for route in each.router.routes if isinstance(route, APIRoute)]
    asked = {route.path for route in routes if "GET" in route.methods and not NO_SCREENS.search(route.path)}
    assert asked == {*OF_CASE, *OTHERS, *IN_THE_WALKS}


def _begun(page: Page, title: str) -> str:
    page.goto("/")
    return begun(page, title)


def _looked_at(page: Page, *addresses: str) -> None:
    """Every fold is opened first, so that what it hides is seen, too."""
    for address in addresses:
        page.goto(address)
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
        fine(page, NARROW, WIDE)


def test_every_screen_of_a_case_is_fine(house: House) -> None:
    page = house.visitor(820)
    case = _begun(page, "Skerry van chuffs when cold")
    _looked_at(page, *(case + part for parts in OF_CASE.values() for part in parts))


def test_a_title_without_a_gap_breaks_in_the_list_as_in_its_case(house: House) -> None:
    """Such as an address that was pasted: the list had been as wide as the title, the journal as a remark."""
    page = house.visitor(NARROW)
    page.get_by_label("Vehicle, and what it came with").fill("W" * 150)
    page.get_by_role("button", name="Begin", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("W" * 150)
    case = re.sub(r"\?.*", "", page.url)
    page.goto(f"{case}/book")
    page.get_by_label("A remark").fill(f"see {'w' * 300} for it")
    page.get_by_role("button", name="Add the remark").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    _looked_at(page, case, f"{case}/book", "/")
    page.set_viewport_size({"width": 820, "height": 1180})
    page.goto(f"{case}/book")
    fine(page)


def test_screens_of_eight_cylinders_are_fine_in_the_dark(house: House) -> None:
    page = house.visitor(820, "dark")
    case = _begun(page, "Bollard tow truck fell onto one bank")
    _looked_at(page, *(case + part for part in OF_THE_V8))


def test_screens_of_a_closed_case_and_those_that_tell_of_trouble_are_fine(house: House) -> None:
    page = house.visitor(820, "dark")
    case = _begun(page, "Skerry van chuffs when cold")
    page.goto(f"{case}/book")
    page.get_by_label("yes", exact=True).check()
    page.get_by_label("What was found (1)").select_option(index=1)
    page.get_by_role("button", name="Close it").click()
    expect(page.get_by_text("The case is closed and in the book.")).to_be_visible()
    _looked_at(page, *(case + part for part in OF_A_CLOSED_CASE), "/", "/?state=closed", "/calibration")
    _looked_at(page, "/case/999999", "/nothing", f"{case}/at/99", f"{case}/check/none/2", "/classroom/play")


@pytest.mark.parametrize("width", [820, WIDE])
def test_what_is_chosen_when_a_case_is_closed_can_be_read(house: House, width: int) -> None:
    """Of 'combustion seal: weeping' nine letters were seen on a tablet. The width that a field would take by itself is
    the measure."""
    page = house.visitor(width)
    page.goto(f"{_begun(page, 'Skerry van chuffs when cold')}/book")
    page.get_by_label("What was found (1)").select_option("seal weeping")
    page.get_by_label("How sure (1)").select_option("measured")
    for label in ("What was found (1)", "Where (1)", "How sure (1)"):
        cut = page.get_by_label(label, exact=True).evaluate(
            """field => {
              const alone = field.cloneNode();
              alone.append(new Option(field.selectedOptions[0].text));
              alone.style.cssText = 'position: absolute; width: auto';
              document.body.append(alone);
              const wide = alone.getBoundingClientRect().width;
              alone.remove();
              return wide - field.getBoundingClientRect().width;
            }"""
        )
        assert cut <= 0, (label, cut)
    fine(page, NARROW, WIDE)


def test_a_log_that_was_read_is_shown_well(house: House) -> None:
    page = house.visitor(820)
    page.goto(f"{_begun(page, 'Skerry van chuffs when cold')}/log")
    content = ("\n".join(written(simulate(State()))) + "\n").encode()
    page.get_by_label("The file").set_input_files({"name": "drive.csv", "mimeType": "text/csv", "buffer": content})
    page.get_by_role("button", name="Read it").click()
    expect(page.locator("figure svg").first).to_be_visible(timeout=PATIENT)
    fine(page, NARROW, WIDE)


@pytest.mark.parametrize("width", [NARROW, WIDE])
def test_columns_that_are_not_known_are_said_by_keyboard_alone(house: House, width: int) -> None:
    """The screen as it asks, as it says what makes no sense, and as it shows the readings; what is typed in a list
    chooses in it, and somebody else's entry in the case takes nothing of it away."""
    page = house.visitor(width, "dark" if width == WIDE else "light")
    case = _begun(page, "Skerry van chuffs when cold")
    page.goto(f"{case}/log")
    heads = {**HEADS, "speed": "K7", "correction 2": "A_2 [mg/stroke]", "coolant": "C4"}
    content = ("\n".join(written(simulate(State()), heads)) + "\n").encode()
    page.get_by_label("The file").set_input_files({"name": "drive.csv", "mimeType": "text/csv", "buffer": content})
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_role("alert")).to_contain_text("no column is known to be the engine speed", timeout=PATIENT)
    fine(page, NARROW, WIDE)
    _typed_at(page, "What it is, Column 2", "engine s")
    _typed_at(page, "Its unit, Column 2", "kPa")
    _sent(page, "Read again with this")
    expect(page.get_by_role("alert")).to_contain_text("'kPa' is no unit of 'engine speed'", timeout=PATIENT)
    assert page.get_by_label("Its unit, Column 2", exact=True).input_value() == "kPa"
    fine(page, NARROW, WIDE)
    _typed_at(page, "Its unit, Column 2", "rpm")
    _typed_at(page, "What it is, Column 10", "correction of the cylinder, cylinder 2")
    page.get_by_label("The engine was warm all the time").focus()
    page.keyboard.press("Space")
    _sent(page, "Read again with this")
    expect(page.get_by_text("readings can be taken into the case.")).to_be_visible(timeout=PATIENT)
    assert page.locator("details#columns").get_attribute("open") is None
    page.locator("details#columns summary").click()
    expect(page.get_by_text("It counts as said here, in mg/stroke.")).to_be_visible()
    fine(page, NARROW, WIDE)
    other = house.visitor(820)
    other.goto(f"{case}/at/3")
    other.locator("button[id='b-chuff%3A3%3A-present']").click()
    expect(other.get_by_text("Taken")).to_be_visible()
    page.wait_for_timeout(1500)  # as long as a page takes to be told of it
    page.get_by_role("button", name="Take these readings").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Taken", timeout=PATIENT)


def _typed_at(page: Page, label: str, letters: str) -> None:
    """Go on by Tab to the list of that name, which has to be seen there, and type what is chosen."""
    at = page.get_by_label(label, exact=True)
    for _ in range(60):
        if at.evaluate("each => each === document.activeElement"):
            break
        page.keyboard.press("Tab")
    expect(at).to_be_focused()
    assert at.evaluate("each => getComputedStyle(each).outlineStyle") != "none"
    page.keyboard.type(letters)


def _sent(page: Page, name: str) -> None:
    """Go on by Tab to that button and press it."""
    at = page.get_by_role("button", name=name)
    for _ in range(60):
        if at.evaluate("each => each === document.activeElement"):
            break
        page.keyboard.press("Tab")
    expect(at).to_be_focused()
    page.keyboard.press("Enter")


def test_the_screen_that_lets_a_device_in_is_fine(chromium: Browser, tmp_path: Path) -> None:
    """Before and after a wrong code."""
    with server(tmp_path, "--network", "--address", "127.0.0.1") as running:
        context = chromium.new_context(base_url=running.address, viewport={"width": 820, "height": 1180})
        page = context.new_page()
        page.goto("/")
        fine(page, NARROW, WIDE)
        page.get_by_label("Code, eight digits").fill("1")
        page.get_by_role("button", name="Let in").click()
        expect(page.get_by_role("alert")).to_be_visible()
        fine(page, NARROW, WIDE)
        context.close()
