"""What a screen reader is given on every screen, and what it says by itself; a stand-in for trying one out.

WCAG 2.2: 1.3.1 and 2.4.6 (headings), 4.1.2 (names), 4.1.3 (status messages), 3.2.2 (what an entry does to the focus).
"""

from __future__ import annotations

import re
import time

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import House
from tests.browser.listening import OPENED, heading_gaps, live_regions, nameless, spoken
from tests.browser.looking import PATIENT
from tests.browser.opening import begun
from tests.browser.test_screens import OF_CASE

ALL_THERE = "() => !document.querySelector('#screen [aria-busy=true]')"


def _unfolded(page: Page, address: str) -> None:
    """That screen, whole, with every fold open."""
    page.goto(address)
    page.wait_for_function(ALL_THERE, timeout=PATIENT)
    page.evaluate(OPENED)


def test_every_control_has_a_name_and_headings_descend(house: House) -> None:
    """With every fold open, on each screen of a case and those around it."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    screens = [case + part for parts in OF_CASE.values() for part in parts]
    wrong: dict[str, list[str]] = {}
    for address in (*screens, "/", "/classroom", "/calibration", "/nothing"):
        _unfolded(page, address)
        controls = [role for role, _, _ in spoken(page) if role in ("button", "link")]
        assert len(controls) >= 2, address
        # the options' own sentence is read out, too, while a slider moves, and that the counter waits for its papers;
        # what says that an entry is under way is empty before it is told what became of it
        extra = [each for each in live_regions(page) if each not in ("told", "under-way")]
        regions = ["more than one live region"] if extra and not re.search("/options|/counter", address) else []
        bad = [*nameless(page), *heading_gaps(page), *regions]
        there = page.locator("header.top").count()  # nothing changes on what the customer is shown
        assert live_regions(page).count("told") == there, address
        if bad:
            wrong[address.removeprefix(case)] = bad
    assert wrong == {}


GLUED = """() => [...document.querySelectorAll('.unseen')]
    .filter(each => each.previousSibling && each.parentNode.textContent.trim() !== each.textContent.trim())
    .filter(each => !/^[,:]/.test(each.textContent)).map(each => each.parentNode.textContent)"""


def test_each_page_of_a_case_is_named_by_what_it_shows(house: House) -> None:
    """All had the name of the case alone, in tabs, in the history and to a screen reader (WCAG 2.2, 2.4.2); a part that
    comes later does not take the name away."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    named = {}
    for part in ("", "/at/2", "/at/vehicle", "/pad/correction/2", "/check/idle_correction/vehicle", "/belief",
                 "/checks?patient=yes", "/vehicle", "/options", "/option?what=all%20seals", "/counter", "/estimate",
                 "/sheet", "/why", "/tried", "/log", "/book", "/alike"):  # fmt: skip
        page.goto(case + part)
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        named[part] = page.title()
    assert len(set(named.values())) == len(named), named
    assert all("Skerry van" in each and not each.startswith("Skerry van") for each in named.values()), named
    assert named[""].startswith("Bay: ")
    assert named["/options"].startswith("Options: ")
    page.goto(f"{case}/at/2")
    page.locator("[id='b-tar%3A2%3A-absent']").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    assert page.title().startswith("cylinder 2: ")


def test_words_that_are_only_heard_stand_apart_and_marks_are_not_read_out(house: House) -> None:
    """A space at the edge of what is only heard is dropped: 'Why' and a fault's name would be one word. The sign before
    a fold is for the eye; that it is open or closed is said anyway."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    wrong: dict[str, list[str]] = {}
    heard = []
    for address in [case + part for parts in OF_CASE.values() for part in parts]:
        _unfolded(page, address)
        names = [name for _, name, _ in spoken(page)]
        heard += names
        bad = [*page.evaluate(GLUED), *(name for name in names if re.match(r"[+–]\s", name))]
        if bad:
            wrong[address.removeprefix(case)] = bad
    assert wrong == {}
    assert any(re.match("Why ?: ", name) for name in heard)
    assert any(
        re.match(r"cylinder 2, \d+ % [a-z ]+, \d+ told: chance of something wrong there", name) for name in heard
    )


@pytest.mark.parametrize("by", ["mouse", "keyboard"])
def test_an_answer_is_read_out_with_what_it_made_of_the_belief_and_the_focus_stays(house: House, by: str) -> None:
    """The region is the same element before and after, or nothing would be read; so is the button that was pressed."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    _unfolded(page, f"{case}/at/3")
    page.evaluate("() => { window.region = document.getElementById('told'); }")
    expect(page.locator("#told")).to_be_empty()
    button = page.locator("button[value=absent]").first
    name = button.get_attribute("id")
    button.focus()
    if by == "mouse":
        button.click()
    else:
        page.keyboard.press("Enter")
    told = page.locator("#told")
    expect(told).to_have_text(
        re.compile(r"^\s*Taken\. Likeliest now: .+, (over |under )?\d+\s%\.\s*$"), timeout=PATIENT
    )
    assert page.evaluate("() => window.region === document.getElementById('told') && window.region.isConnected")
    expect(page.locator(f"[id='{name}']")).to_be_focused()
    expect(page.locator(f"[id='{name}']")).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="Take the last entry back").press("Enter")
    expect(told).to_have_text(re.compile(r"^\s*Taken back\. .*Likeliest now: "), timeout=PATIENT)


def test_a_reading_is_read_out_and_the_focus_stays_with_it(house: House) -> None:
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    _unfolded(page, f"{case}/at/3")
    field = page.get_by_role("textbox", name="idle correction of the cylinder", exact=True)
    field.fill("0.4")
    field.press("Enter")
    expect(page.locator("#told")).to_have_text(re.compile(r"Taken\. Likeliest now: "), timeout=PATIENT)
    expect(page.get_by_role("textbox", name="idle correction of the cylinder", exact=True)).to_be_focused()


def test_what_somebody_else_told_is_read_out_with_the_belief(house: House) -> None:
    """Two tablets at one case: the other one says what happened, and where its focus is stays where it is."""
    here, there = house.visitor(820), house.visitor(820)
    case = begun(here, "Skerry van chuffs when cold")
    for page in (here, there):
        _unfolded(page, f"{case}/at/4")
    watched = there.locator("button[value=present]").last
    watched.focus()
    name = watched.get_attribute("id")
    here.locator("button[value=absent]").first.click()
    expect(there.locator("#told")).to_have_text(re.compile(r"Likeliest now: "), timeout=PATIENT)
    expect(there.locator(f"[id='{name}']")).to_be_focused()


def test_what_somebody_else_told_is_read_out_with_the_belief_that_comes_later(house: House) -> None:
    """Where what is believed was not there in time, the page that brought it had taken the words away unsaid."""
    here, there = house.visitor(820), house.visitor(820)
    case = begun(here, "Skerry van chuffs when cold")
    for page in (here, there):
        _unfolded(page, f"{case}/at/4")

    def without_belief(route: Route) -> None:
        if "patient" in route.request.url:
            time.sleep(0.5)
            route.continue_()
            return
        waits = f'<p aria-busy="true" hx-get="{route.request.url}?patient=yes" hx-trigger="load delay:50ms">wait</p>'
        answer = route.fetch()
        text = re.sub(r'data-likeliest="[^"]*"', 'data-likeliest=""', answer.text())
        route.fulfill(response=answer, body=re.sub(r'(<div id="case"[^>]*>)', rf"\1{waits}", text))

    there.route("**/at/4*", without_belief)
    here.locator("button[value=absent]").first.click()
    expect(there.locator("#told")).to_have_text(re.compile("this page shows it[.]$"), timeout=PATIENT)
    expect(there.locator("#told")).to_have_text(re.compile(r"Somebody else .*Likeliest now: "), timeout=PATIENT)


def test_a_slider_is_spoken_with_its_unit_and_keeps_the_focus(house: House) -> None:
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    page.goto(f"{case}/options?patient=yes")
    page.wait_for_function(ALL_THERE, timeout=PATIENT)
    sliders = page.get_by_role("slider")
    assert sliders.count() >= 3
    for number in range(sliders.count()):
        assert re.search(r"\d .+", sliders.nth(number).get_attribute("aria-valuetext") or ""), number
    first = sliders.first
    before = first.get_attribute("aria-valuetext")
    first.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("With other money than the workshop's own:")).to_be_visible(timeout=PATIENT)
    expect(first).to_be_focused()
    assert first.get_attribute("aria-valuetext") != before


def test_what_one_tells_oneself_is_not_said_to_be_somebody_elses(house: House) -> None:
    """The answer comes late, long after the stream said that the case has moved."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    _unfolded(page, f"{case}/at/3")
    page.evaluate(
        "() => { window.said = []; const told = document.getElementById('told');"
        " const heard = () => window.said.push(told.innerText);"
        " new MutationObserver(heard).observe(told, {childList: true, subtree: true}); }"
    )

    def late(route: Route) -> None:
        if route.request.method != "POST":
            route.continue_()
            return
        answer = route.fetch(max_redirects=0)
        time.sleep(2.5)  # the stream tells within two seconds
        route.fulfill(response=answer)

    page.route("**/*", late)
    page.locator("button[value=absent]").first.click()
    expect(page.locator("#told")).to_have_text(re.compile(r"Taken\. Likeliest now: "), timeout=PATIENT)
    assert not [each for each in page.evaluate("() => window.said") if "Somebody else" in each]


SAID = """() => {
  window.said = [];
  const note = all => all.forEach(each => each.addedNodes.forEach(node => window.said.push(node.textContent.trim())));
  addEventListener('DOMContentLoaded', () =>
    new MutationObserver(note).observe(document.getElementById('told'), {childList: true}));
}"""
"""Notes what is put into the line that is read out once the page stands; what it comes with is not read out."""


def test_what_became_of_a_form_is_read_out_on_the_page_that_it_leads_to(house: House) -> None:
    """Of a check, a closing or work: 'Taken.' stood there, and was never said."""
    page = house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    page.add_init_script(f"({SAID})()")
    page.goto(f"{case}/book")
    page.get_by_label("A remark").fill("the owner calls at four")
    page.get_by_role("button", name="Add the remark").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    page.wait_for_function("() => window.said.length > 0", timeout=PATIENT)
    page.wait_for_timeout(600)
    assert [each for each in page.evaluate("() => window.said") if each.startswith("Taken.")] == ["Taken."]


def test_that_somebody_else_closed_the_case_is_read_out(house: House) -> None:
    """'Somebody else wrote' alone was said, while everything to answer with went away."""
    page, other = house.visitor(820), house.visitor(820)
    case = begun(page, "Skerry van chuffs when cold")
    page.goto(f"{case}/at/2")
    page.wait_for_function(ALL_THERE, timeout=PATIENT)
    other.goto(f"{case}/book")
    other.get_by_label("yes", exact=True).check()
    other.get_by_label("What was found (1)").select_option(index=1)
    other.get_by_role("button", name="Close it").click()
    expect(page.locator("#told")).to_contain_text("Somebody else wrote to this case just now", timeout=PATIENT)
    expect(page.locator("#told")).to_contain_text("This case is closed.", timeout=PATIENT)
