"""Colours that the device itself sets (forced colours): what is pressed and where one is can be told from the rest."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import House
from tests.browser.opening import begun

LOOKS = """each => ['color', 'backgroundColor', 'borderTopColor', 'borderTopStyle']
  .map(name => getComputedStyle(each)[name]).join()"""


def test_what_is_pressed_is_seen_in_colours_of_the_device(house: House) -> None:
    """'there' had looked as 'not there' does, once answered: grounds and shadows are taken away there (CSS Color
    Adjustment Level 1), and a frame that is not seen is drawn."""
    page = house.visitor(820)
    case = begun(page)
    for scheme in ("light", "dark"):
        page.emulate_media(forced_colors="active", color_scheme=scheme)  # type: ignore[arg-type]
        page.goto(f"{case}/at/2")
        pressed = page.locator("[id='b-tar%3A2%3A-present']")
        expect(pressed).to_have_attribute("aria-pressed", "true")
        beside = page.locator("[id='b-tar%3A2%3A-absent']")
        assert pressed.evaluate(LOOKS) != beside.evaluate(LOOKS)
        ground, ink = (pressed.evaluate(f"each => getComputedStyle(each).{of}") for of in ("backgroundColor", "color"))
        assert ground != ink
        page.goto(f"{case}/options")
        here, elsewhere = page.locator(".places [aria-current]"), page.locator(".places a:not([aria-current])").first
        ground = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
        frames = [each.evaluate("each => getComputedStyle(each).borderTopColor") for each in (here, elsewhere)]
        assert frames[0] != ground
        assert frames[1] == ground
