"""Whole jobs by keyboard alone, on every screen, with a focus that is seen (WCAG 2.2, criteria 2.1.1, 2.4.7)."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.conftest import House
from tests.browser.keyboard import Hands
from tests.support.pages import pages_in


def test_a_technician_without_a_mouse_from_complaint_to_paper(house: House) -> None:
    """Begin a case, tell its vehicle, touch a cylinder, answer, read a number with its unit, undo, decide, print."""
    page = house.visitor(1440)
    hands = Hands(page)
    hands.write("^Vehicle, and what it came with", "Gannet van chuffs when cold")
    hands.to("^Engine$", "SELECT")
    page.keyboard.type("Ostrel 4")
    hands.write("^Distance in km", "150000")
    hands.send()
    expect(page.get_by_role("heading", level=1)).to_have_text("Gannet van chuffs when cold")
    number = re.search(r"/case/(\d+)", page.url).group(1)  # type: ignore[union-attr]

    hands.open("^Vehicle$")
    hands.write("^Age, such as", "9 years")
    hands.send()
    expect(page.get_by_text("Taken.")).to_be_visible()
    hands.to("^On the injector, cylinder 1$")
    hands.open("^Bay$")

    hands.open("^cylinder 2, .*chance of something wrong there$", "a")
    expect(page.get_by_role("heading", name="cylinder 2", exact=True)).to_be_visible()
    hands.to("^there$", "BUTTON")
    hands.press("Space")
    pressed = page.locator("button[aria-pressed=true][value=present]")
    expect(pressed).to_have_count(1)
    expect(pressed).to_be_focused()
    hands.to("^something in between", "SUMMARY")
    hands.press("Enter")
    hands.open("^a bit", "BUTTON")
    expect(page.locator("button[aria-pressed=true][value=a_bit]")).to_have_count(1)

    hands.open("^correction of every cylinder at idle", "SUMMARY")
    hands.to("^idle correction of the cylinder$", "INPUT")
    page.keyboard.type("2.4")
    hands.send()
    expect(page.get_by_text("There stands: 2.4 mg/stroke")).to_be_visible()
    hands.open("^Number pad: idle correction", "A")
    expect(page.locator("#value")).to_be_focused()
    for key in ("1", "−", "5"):
        hands.to(f"^{key}$", "BUTTON")
        hands.press("Space")
    expect(page.locator("#value")).to_have_value("-15")
    hands.to("^Rub out$", "BUTTON")
    hands.press("Enter")
    hands.to("^Reading$", "INPUT", back=True)
    hands.to("^this much$", "INPUT")
    hands.press("ArrowRight")
    expect(page.get_by_label("above it")).to_be_checked()
    hands.open("^Take it$", "BUTTON")
    expect(page.locator("strong", has_text="above -1.0 mg/stroke")).to_be_visible()

    hands.open("^Take the last entry back$", "BUTTON")
    expect(page.locator("strong", has_text="above -1.0 mg/stroke")).to_have_count(0)
    hands.open("^Back to the bay$")
    expect(page.locator(".offers .card").first).to_be_visible(timeout=60_000)
    hands.to(r"^1\. ", "A")
    hands.open("^Can't do it", "BUTTON")
    expect(page.get_by_text("Cannot be done here")).to_be_visible()

    hands.open("^Options$")
    hands.to(".", "INPUT")
    before = page.locator("output").first.inner_text()
    hands.press("ArrowRight", "ArrowRight")
    expect(page.locator("output").first).not_to_have_text(before)
    expect(page.get_by_text("With other money than the workshop's own:")).to_be_visible(timeout=60_000)
    hands.open("^Why$")
    hands.to("^Why this fault$", "SELECT")
    hands.open("^Say why$", "BUTTON")

    hands.open("^Counter$")
    hands.to("^Language of the customer's page", "SELECT")
    page.keyboard.type("Deutsch")
    hands.open("^Show these$", "BUTTON")
    hands.open("^Turn the screen to the customer$")
    expect(page.get_by_role("heading", level=1)).to_have_text("Was wir fanden und was Sie tun können")
    hands.to("^Print$", "A")
    paper = page.request.get(str(page.evaluate("() => document.activeElement.href")))
    assert pages_in(paper.body()) == 1
    assert hands.unseen == []
    assert f"/case/{number}/" in page.url


def test_a_case_is_tried_closed_and_found_without_a_mouse(house: House) -> None:
    page = house.visitor(820, "dark")
    hands = Hands(page)
    hands.open("Fathom estate chuffs on the left bank", "BUTTON")
    hands.open("^Work tried$")
    hands.to("^Work$", "SELECT")
    page.keyboard.type("reseal")
    hands.to("^cylinder 5$", "INPUT")
    hands.press("Space")
    hands.to("^not known yet$", "INPUT")
    hands.press("ArrowRight")
    hands.open("^Take it$", "BUTTON")
    expect(page.get_by_text("Taken.")).to_be_visible()
    hands.open("^Log$")
    hands.to("^The file$", "INPUT")
    hands.open("^Journal$")
    hands.to("^yes$", "INPUT")
    hands.press("Space")
    hands.to(r"^What was found \(1\)$", "SELECT")
    hands.press("ArrowDown")
    hands.open("^Close it$", "BUTTON")
    expect(page.get_by_text("The case is closed and in the book.")).to_be_visible()
    hands.open("^Cases$")
    hands.to("^Open or closed$", "SELECT")
    hands.press("ArrowDown", "ArrowDown")
    hands.open("^Find cases$", "BUTTON")
    expect(page.get_by_text("1 found.")).to_be_visible()
    assert hands.unseen == []


def test_a_class_is_opened_and_played_without_a_mouse(house: House) -> None:
    trainer = Hands(house.visitor(1440))
    trainer.open("^Classroom$")
    trainer.to("^Smell|grade 1 of 5", "INPUT")
    trainer.press("Space")
    trainer.open("^Open it$", "BUTTON")
    expect(trainer.page.get_by_role("heading", name="Who sits there")).to_be_visible(timeout=60_000)
    hands = Hands(house.visitor(390))
    page = hands.page
    hands.open("^Classroom$")
    hands.write("^Your name$", "Anna")
    hands.send()
    expect(page.get_by_role("heading", name="Known so far")).to_be_visible()
    hands.to("^Fault$", "SELECT")
    page.keyboard.type("combustion seal")
    hands.to("^Where$", "SELECT")
    page.keyboard.type("2")
    hands.write("^Chance in per cent$", "40")
    hands.send()
    expect(page.get_by_text("Noted how sure you are: combustion seal, cylinder 2, 40 %.")).to_be_visible()
    hands.to("look into the wells", "SUMMARY")
    hands.press("Enter")
    hands.open("^Ask, look into the wells", "BUTTON")
    expect(page.get_by_text("Taken.")).to_be_visible()
    hands.to("^reseal the injector", "SUMMARY")
    hands.press("Space")
    hands.to("^cylinder 1$", "INPUT")
    hands.press("Space")
    hands.write("^What you tell the customer$", "We renew the seal.")
    hands.open("^This is my plan", "BUTTON")
    hands.open("^Look back at every step$")
    expect(page.get_by_text("What was wrong:")).to_be_visible(timeout=60_000)
    assert hands.unseen + trainer.unseen == []
