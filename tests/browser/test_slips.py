"""A slip at a place is told there, with what was typed, and the focus never falls back to the top of the page."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, Route, TimeoutError, expect

from tests.browser.conftest import House
from tests.browser.looking import PATIENT, fine
from tests.browser.opening import begun

IN_THE_SCREEN = "() => !!document.activeElement.closest('#screen')"


def _begun(page: Page) -> str:
    address = begun(page)
    page.wait_for_load_state()  # a form sent before the scripts stand goes the plain way, to a new page without a focus
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    return address


def _stays(page: Page) -> None:
    """The focus is in the screen, or the failure says where it is and what is still under way."""
    try:
        page.wait_for_function(IN_THE_SCREEN, timeout=PATIENT / 2)
    except TimeoutError:
        where = page.evaluate("() => document.activeElement.outerHTML.slice(0, 200)")
        raise AssertionError(where + page.locator("#screen").inner_html()[:2000]) from None


def test_a_reading_that_is_none_stays_in_its_field_and_is_told_where_it_is_seen(house: House) -> None:
    page = house.visitor(390)
    case = _begun(page)
    page.goto(f"{case}/at/2")
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    field = page.get_by_role("textbox", name=re.compile("correction")).first
    field.fill("2.5o")
    field.press("Enter")
    said = page.get_by_role("alert")
    expect(said).to_contain_text("unknown unit 'o")
    expect(said).to_be_in_viewport()
    expect(field).to_have_value("2.5o")
    expect(field).to_be_focused()
    page.evaluate("() => scrollTo(0, 0)")  # further down it stays in view, over what is scrolled past
    fine(page)
    field.fill("2.5")
    field.press("Enter")
    expect(page.locator("#told")).to_contain_text("Taken.")
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(field).to_have_value("")


def test_a_slip_outlives_what_the_page_had_asked_for_and_what_others_write(house: House) -> None:
    """The page that was asked for before the slip, or is asked for as somebody else writes, had taken its place."""
    page = house.visitor(820)
    case = _begun(page)
    held: list[Route] = []
    page.route(re.compile("/at/2.patient=yes"), lambda route: held.append(route))
    page.goto(f"{case}/at/2")
    page.evaluate(
        "() => { htmx.ajax('GET', location.pathname + '?patient=yes', {target: '#screen', select: '#screen'}); }"
    )
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    field = page.get_by_role("textbox", name=re.compile("correction")).first
    field.fill("2.5o")
    field.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("unknown unit 'o")
    with page.expect_response(re.compile("/at/2.patient=yes")):
        for route in held:
            route.continue_()
    other = house.visitor(820)
    other.goto(f"{case}/at/3")
    other.locator("[id$='-present']").first.click()
    expect(other.locator("#told")).to_contain_text("Taken.")
    page.wait_for_timeout(1500)  # within which the stream tells of it
    expect(page.get_by_role("alert")).to_contain_text("unknown unit 'o")
    expect(field).to_have_value("2.5o")
    field.fill("2.5")
    field.press("Enter")
    expect(page.locator("#told")).to_contain_text("Taken")
    expect(page.get_by_role("alert")).to_have_count(0)


def test_each_reading_of_a_check_that_is_none_says_so_beside_it(house: House) -> None:
    """The first of them alone had been told, above all cautions, without its cylinder; a screen reader said nothing."""
    page = house.visitor(390)
    page.goto(f"{_begun(page)}/check/idle_correction/vehicle")
    for place, text in (("1", "0,5"), ("2", "1.2.3"), ("4", "900")):
        page.get_by_label(f"cylinder {place}", exact=True).fill(text)
    page.get_by_role("button", name="Take it").click()
    expect(page.get_by_role("alert")).to_contain_text("2 readings cannot be taken as typed")
    second, fourth = (page.get_by_label(f"cylinder {place}", exact=True) for place in "24")
    expect(second).to_be_focused()
    expect(second).to_be_in_viewport()
    for field, why in ((second, "unknown unit"), (fourth, "not plausible")):
        expect(field).to_have_attribute("aria-invalid", "true")
        expect(field).to_have_accessible_description(re.compile(why))
    first = page.get_by_label("cylinder 1", exact=True)
    expect(first).to_have_value("0,5")
    expect(first).not_to_have_attribute("aria-invalid", "true")
    page.evaluate("() => scrollTo(0, 0)")
    fine(page, 820)
    second.fill("1.2")
    fourth.fill("0.9")
    page.get_by_role("button", name="Take it").click()
    expect(page.locator("#told")).to_contain_text("Taken.")


COVERED = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect();
  if (at === document.body || box.bottom <= 0 || box.top >= innerHeight) return '';
  const high = Math.min(box.bottom, innerHeight) - Math.max(box.top, 0);
  const top = document.elementFromPoint(box.left + box.width / 2, Math.max(box.top, 0) + high / 2);
  return at.contains(top) || top.contains(at) ? '' : `${at.tagName} ${at.name || at.textContent.trim()}`;
}"""


def test_what_has_the_focus_is_not_covered_at_four_times_the_size(house: House) -> None:
    """A screen of 1280 by 1024 at 400 %; the words of a slip lay over the field to go back to (WCAG 2.2, 2.4.11)."""
    page = house.visitor(390)
    page.set_viewport_size({"width": 320, "height": 256})
    page.goto(f"{_begun(page)}/check/idle_correction/vehicle")
    for place in "1234":
        page.get_by_label(f"cylinder {place}", exact=True).fill("1.2.3")
    page.get_by_role("button", name="Take it").click()
    expect(page.get_by_role("alert")).to_contain_text("4 readings cannot be taken as typed")
    expect(page.get_by_role("alert")).to_be_in_viewport()
    page.get_by_role("button", name="Can't do it").focus()
    covered = []
    for _ in range(24):
        page.keyboard.press("Shift+Tab")
        covered.append(page.evaluate(COVERED))
    assert [each for each in covered if each] == []


def test_what_is_unfolded_in_a_check_stays_so_when_somebody_else_writes(house: House) -> None:
    """An answer in between had been folded away under the hand, and the focus with it."""
    page, other = house.visitor(820), house.visitor(820)
    case = _begun(page)
    page.goto(f"{case}/check/look_into_wells/A")
    fold = page.locator("details.softly").nth(3)
    fold.locator("summary").click()
    fold.locator("input").first.check()
    other.goto(f"{case}/at/3")
    other.locator("[id='b-tar%3A3%3A-present']").click()
    expect(page.locator("#told")).to_contain_text("Somebody else wrote to this case", timeout=PATIENT)
    page.wait_for_timeout(300)
    expect(fold.locator("input").first).to_be_visible()
    expect(fold.locator("input").first).to_be_checked()
    expect(fold.locator("input").first).to_be_focused()


def test_codes_that_are_none_stay_in_their_field(house: House) -> None:
    page = house.visitor(820)
    case = _begun(page)
    page.goto(f"{case}/at/vehicle")
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    field = page.get_by_label(re.compile("Codes that are stored"))
    field.fill("P0263 PX")
    field.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("PX")
    expect(field).to_have_value("P0263 PX")


def test_the_focus_stays_in_the_screen_where_a_check_is_gone(house: House) -> None:
    """After 'can't do it' its check is gone, after 'it can' the button."""
    page = house.visitor(820)
    _begun(page)
    for button in (page.locator("button[id^=cannot-]").first, page.get_by_role("button", name=re.compile("it can"))):
        button.first.focus()
        page.keyboard.press("Enter")
        expect(page.locator("#told")).to_contain_text("Taken.")
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        page.wait_for_timeout(300)
        _stays(page)
        page.evaluate("() => document.querySelector('#told').replaceChildren()")


def test_the_focus_stays_in_the_screen_where_what_had_it_is_gone(house: House) -> None:
    """After 'clear' the button is gone that was touched."""
    page = house.visitor(820)
    page.goto(f"{_begun(page)}/at/2")
    page.evaluate("() => document.querySelectorAll('details').forEach(each => { each.open = true; })")
    page.locator("button[id$='-clear']").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_contain_text("Taken.")
    page.wait_for_timeout(300)
    page.wait_for_function(IN_THE_SCREEN)


@pytest.mark.parametrize(
    "order",
    [("before", "gone", "before", "after"), ("before", "after", "gone", "after")],
    ids=["two begin before one ends", "a part is in place before the rest"],
)
def test_the_focus_outlives_changes_that_overlap(house: House, order: tuple[str, ...]) -> None:
    """What had the focus is gone when the second change begins, or still there when the first part of one has come."""
    page = house.visitor(820)
    page.goto(f"{_begun(page)}/at/2")
    page.locator("button[id$='-present']").first.focus()
    page.evaluate(
        """(order) => {
          for (const step of order)
            if (step === "gone") document.activeElement.remove();
            else document.dispatchEvent(new Event(`htmx:${step}:swap`));
        }""",
        order,
    )
    page.wait_for_function(IN_THE_SCREEN)


def test_what_only_goes_out_of_sight_gives_the_focus_to_what_is_around_it(house: House) -> None:
    """A browser takes the focus from what is hidden when it draws next, after the change (WHATWG HTML: focus fixup)."""
    page = house.visitor(820)
    case = _begun(page)
    page.goto(f"{case}/at/2")
    hidden = page.evaluate(
        """() => {
          const fold = document.querySelector("#screen details[id]");
          fold.open = true;
          const inside = fold.querySelector("button, input, a");
          inside.focus();
          const had = document.activeElement === inside;
          fold.open = false;
          document.dispatchEvent(new Event("htmx:after:swap"));
          return had;
        }"""
    )
    assert hidden
    page.wait_for_timeout(400)
    _stays(page)


def test_a_case_that_cannot_be_begun_yet_says_why_beside_what_was_typed(house: House) -> None:
    """Below a long list of cases on a telephone, both are seen."""
    page = house.visitor(390)
    for number in range(4):
        page.goto("/")
        page.get_by_label("Vehicle, and what it came with").fill(f"Tern van {number}")
        page.get_by_role("button", name="Begin", exact=True).click()
        expect(page.locator("#case")).to_be_attached()
    page.goto("/")
    page.get_by_label("Vehicle, and what it came with").fill("Tern van, shakes")
    page.get_by_label("Distance in km").fill("187 000")
    page.get_by_role("button", name="Begin", exact=True).click()
    said = page.get_by_role("alert")
    expect(said).to_contain_text("'187 000' is not a plain number")
    expect(said).to_be_in_viewport()
    title = page.get_by_label("Vehicle, and what it came with")
    expect(title).to_have_value("Tern van, shakes")
    expect(title).to_be_focused()
    expect(title).to_be_in_viewport()
    page.evaluate("() => scrollTo(0, 0)")
    fine(page)


def test_what_was_typed_into_one_form_outlives_the_sending_of_another(house: House) -> None:
    """Codes of four injectors had been gone once the distance was kept, and a closing with the first remark."""
    page = house.visitor(820)
    case = _begun(page)
    page.goto(f"{case}/vehicle")
    page.get_by_label("On the injector, cylinder 3").fill("ABC123")
    page.get_by_label("How the control unit numbers the cylinders").select_option(index=1)
    page.get_by_label("Distance, such as").fill("190000 km")
    page.get_by_role("button", name=re.compile("^Keep")).first.click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    expect(page.get_by_label("Distance, such as")).to_have_value("190000 km")
    expect(page.get_by_label("On the injector, cylinder 3")).to_have_value("ABC123")
    page.goto(f"{case}/vehicle")
    expect(page.get_by_label("On the injector, cylinder 3")).to_have_value("")
    page.goto(f"{case}/book")
    page.get_by_label("partly", exact=True).check()
    page.get_by_label("What was found (1)").select_option(index=2)
    page.get_by_label("What else there is to say").fill("tar up to the rim")
    page.get_by_label("A remark").fill("the owner calls at four")
    page.get_by_role("button", name="Add the remark").click()
    expect(page.locator("#told")).to_contain_text("Taken.")
    expect(page.get_by_label("A remark")).to_have_value("")
    expect(page.get_by_label("partly", exact=True)).to_be_checked()
    expect(page.get_by_label("What else there is to say")).to_have_value("tar up to the rim")
    assert page.get_by_label("What was found (1)").evaluate("each => each.selectedIndex") == 2
    page.goto(case)
    assert page.evaluate("() => sessionStorage.length") == 0
