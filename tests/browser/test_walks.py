"""Technician, advisor, trainer and trainees do their whole jobs in Chromium, from the first click to the paper."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, Response, expect

from diag.casebook import demo_studies, load_study
from tests.browser.conftest import House
from tests.browser.looking import NARROWEST, PATIENT, WIDTHS, fine
from tests.report.customer.test_paper import held
from tests.support.pages import letters_of, overlaps, pages_in, text_of
from tests.worksheet.plans import KNOWLEDGE

PIXEL = 0.75
LEAST_TEXT = 14.0


def go(page: Page, name: str) -> None:
    """Touch a link of that name."""
    page.get_by_role("link", name=name, exact=True).first.click()


def take_demo(page: Page, title: str) -> None:
    page.get_by_role("button", name=re.compile(re.escape(title))).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(re.escape(title)))


def paper(page: Page, name: str) -> bytes:
    """The file behind a link that is seen."""
    link = page.get_by_role("link", name=name, exact=True)
    expect(link).to_be_visible()
    answer = page.request.get(str(link.get_attribute("href")))
    assert answer.ok, answer.status_text
    return answer.body()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_technician_from_complaint_to_work_sheet(house: House, width: int) -> None:
    page = house.visitor(width, "dark" if width == 820 else "light")
    fine(page)
    page.get_by_label("Vehicle, and what it came with").fill("Gannet van chuffs when cold")
    page.get_by_label("Engine").last.select_option("ostrel_4")
    page.get_by_label("Distance in km").fill("187000")
    page.get_by_role("button", name="Begin", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Gannet van chuffs when cold")
    fine(page)
    page.locator("a[href$='/at/2']").first.click()
    fine(page)
    chuffs = page.get_by_role("group", name=re.compile("chuff", re.IGNORECASE)).first
    chuffs.get_by_role("button", name="there", exact=True).click()
    expect(page.get_by_role("group", name=re.compile("chuff", re.IGNORECASE)).first.get_by_role(
        "button", name="there", exact=True)).to_have_attribute("aria-pressed", "true")  # fmt: skip
    go(page, "Bay")
    expect(page.locator("#belief")).to_contain_text("combustion seal: weeping or blown, cylinder 2", timeout=PATIENT)
    fine(page)
    go(page, "Options")
    fine(page)
    go(page, "Why")
    fine(page)
    go(page, "Counter")
    page.get_by_role("link", name=re.compile("^Work sheet ?: only the likeliest")).click()
    fine(page)
    made = paper(page, "Work sheet as PDF")
    assert pages_in(made) > 1
    assert "Work sheet: reseal the injector" in text_of(made)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_advisor_from_the_case_to_the_signed_page(house: House, width: int) -> None:
    """In German, with options chosen, shown, printed on one side, noted, and the estimate as a file."""
    page = house.visitor(width, "dark" if width == 1440 else "light")
    take_demo(page, "Skerry van chuffs when cold")
    go(page, "Counter")
    fine(page)
    page.get_by_label("Language of the customer's page").select_option("de")
    page.get_by_label("all seals", exact=True).check()
    page.get_by_label(re.compile("only the likeliest")).check()
    page.get_by_role("button", name="Show these").click()
    made = paper(page, "Customer's page as PDF, one side of A4")
    held(made)
    assert "Was wir fanden" in text_of(made)
    go(page, "Turn the screen to the customer")
    expect(page.get_by_role("heading", level=1)).to_have_text("Was wir fanden und was Sie tun können")
    fine(page)
    assert page.locator("html").get_attribute("lang") == "de"
    seen = page.locator("main").inner_text()
    assert not re.search(r"Bay|Cases|Journal|posterior|workshop|second_seal|case \d", seen)
    links = {str(each.get_attribute("href")).split("?")[0].rsplit("/", 1)[-1] for each in page.locator("a").all()}
    assert links == {"counter", "customer.pdf"}
    printed = page.pdf(prefer_css_page_size=True)
    assert pages_in(printed) == 1
    assert "Back" not in text_of(printed)
    assert overlaps(letters_of(printed)) == []
    go(page, "Back")
    page.get_by_label("The customer chose", exact=True).select_option(index=1)
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("Call before it goes above")).to_be_visible()
    page.get_by_role("link", name=re.compile("^Estimate")).first.click()
    fine(page)
    expect(page.get_by_role("heading", name=re.compile("^Kostenvoranschlag"))).to_be_visible()
    rows = list(csv.DictReader(io.StringIO(paper(page, "as CSV").decode())))
    assert [row["kind"] for row in rows][-3:] == ["net", "tax", "total"]
    made = paper(page, "Estimate as PDF")
    assert pages_in(made) == 1
    assert "erwartete Rechnung, ohne Steuer" in text_of(made)


def test_two_tablets_at_one_case_see_and_keep_each_others_answers(house: House) -> None:
    """Each answers on its own cylinder while it sees the other's come in; neither touches anything to see it."""
    one, other = house.visitor(820), house.visitor(390)
    take_demo(one, "Skerry van chuffs when cold")
    case = re.sub(r"\?.*", "", one.url)
    other.goto(f"{case}/at/3")
    one.goto(f"{case}/at/4")
    for page in (one, other):
        page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
        page.locator(f"button[id='b-chuff%3A{page.url[-1]}%3A-present']").click()
        expect(page.get_by_text("Taken")).to_be_visible()
    for page, place in ((one, 3), (other, 4)):
        vessel = page.locator(f"#cylinder-{place}")
        expect(vessel).to_contain_text(f"{4 if place == 3 else 3} told", timeout=10_000)
    one.goto(f"{case}/book")
    journal = one.locator("main").inner_text()
    assert all(f"cylinder {place}: present" in journal or f"cyl. {place}" in journal for place in (3, 4))


def test_a_case_is_closed_found_again_and_counted(house: House) -> None:
    page = house.visitor(820)
    take_demo(page, "Fathom estate chuffs on the left bank")
    number = page.url.rstrip("/").rsplit("/", 1)[-1].split("?")[0]
    go(page, "Journal")
    fine(page)
    page.get_by_label("yes", exact=True).check()
    page.get_by_label("What was found (1)").select_option(index=1)
    page.get_by_label("What was fitted or done (1)").select_option("reseal")
    page.get_by_label("Where it was done (1)").select_option("5")
    page.get_by_label("Time it took, such as 95 min").fill("95 min")
    page.get_by_label("What it cost in the end before tax, such as 269 EUR").fill("640 EUR")
    page.get_by_role("button", name="Close it").click()
    expect(page.get_by_text("The case is closed and in the book.")).to_be_visible()
    fine(page)
    go(page, "Cases")
    page.get_by_label("Open or closed").select_option("closed")
    page.get_by_label("Words in the case, or a number plate").fill("fathom")
    page.get_by_role("button", name="Find cases").click()
    expect(page.get_by_text("1 found.")).to_be_visible()
    fine(page)
    go(page, "How good the predictions were")
    expect(page.locator("figure svg")).to_be_visible()
    fine(page)
    go(page, "Cases")
    take_demo(page, "Fathom estate chuffs on the left bank")
    go(page, "Journal")
    go(page, "Cases like this one")
    expect(page.get_by_role("link", name=f"case {number}", exact=True)).to_be_visible()
    fine(page)


STUDY = "smell_under_the_bonnet"
TRAINEES = {"Anna": (390, "light"), "Ben": (820, "dark"), "Cem": (1440, "light")}


@pytest.mark.parametrize("width", NARROWEST)
def test_a_class_of_three_from_the_first_click_to_the_printed_pages(house: House, width: int) -> None:
    """The trainer at every width, trainees at all of them. All that the trainees receive before their end is searched
    for the truth and for the notes of the study. One ends by the book, one after a trial, one still plays."""
    study = load_study(Path(demo_studies()[STUDY]), KNOWLEDGE)
    trainer = house.visitor(width, "dark" if width == 390 else "light")
    go(trainer, "Classroom")
    fine(trainer)
    trainer.get_by_text("Cases by wish", exact=True).click()
    fine(trainer)
    trainer.locator(f"input[value={STUDY}]").check()
    trainer.get_by_role("button", name="Open it").click()
    expect(trainer.get_by_role("heading", name="Who sits there")).to_be_visible(timeout=PATIENT)
    bodies: list[str] = []
    pages = {name: _sits_down(house, name, bodies, looked_at=width == 390) for name in TRAINEES}
    told = " ".join(bodies)
    assert len(bodies) >= 12
    for secret in (study.learn, study.misleads, *study.ask, *study.covers, "scripted", STUDY):
        assert not secret or secret not in told
    assert not re.search(r"What was wrong|regret|truth", told)
    _fits_for_a_trial(pages["Ben"])
    for name in ("Anna", "Ben"):
        pages[name].get_by_label("What you tell the customer").fill(f"{name}: we renew the seal.")
        pages[name].get_by_role("button", name="This is my plan: end the case").click()
    go(pages["Anna"], "Look back at every step")
    expect(pages["Anna"].get_by_text("What was wrong:")).to_be_visible(timeout=PATIENT)
    fine(pages["Anna"])
    assert "Anna: we renew the seal." in text_of(paper(pages["Anna"], "To print, as PDF"))
    assert pages["Cem"].request.get("/classroom/debrief").status == 422
    trainer.reload()
    expect(trainer.get_by_role("cell", name=re.compile("has told a plan|has ended all"))).to_have_count(2)
    fine(trainer)
    go(trainer, "Compare the class")
    expect(trainer.get_by_text("Anna").first).to_be_visible(timeout=PATIENT)
    fine(trainer)
    rows = list(csv.DictReader(io.StringIO(paper(trainer, "Every choice, as CSV").decode())))
    assert {row["trainee"] for row in rows} == {"Anna", "Ben"}
    for name in ("Anna", "Ben"):
        printed = paper(trainer, f"{name}: to print, as PDF")
        assert f"{name}: practice cases" in text_of(printed)
        assert overlaps(letters_of(printed)) == []
    go(trainer, "Back to the classroom")
    trainer.get_by_role("button", name="End the class").click()
    expect(trainer.get_by_text("The class has ended; its journals stay.")).to_be_visible()


def _sits_down(house: House, name: str, bodies: list[str], looked_at: bool) -> Page:
    """Take a seat, ask for a check, say how sure one is; what it receives is gathered. Screens need one look each."""
    page = house.visitor(*TRAINEES[name])  # type: ignore[arg-type]
    page.on("response", lambda response: bodies.append(response.text()) if _readable(response) else None)
    go(page, "Classroom")
    if looked_at:
        fine(page)
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("heading", name="Known so far")).to_be_visible()
    if looked_at:
        fine(page)
    page.get_by_text("look into the wells").first.click()
    page.get_by_role("button", name=re.compile("look into the wells")).first.click()
    expect(page.get_by_text("Taken.")).to_be_visible()
    page.get_by_label("Fault", exact=True).select_option("seal")
    page.get_by_label("Where", exact=True).select_option("2")
    page.get_by_label("Chance in per cent").fill("70")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_text("Noted how sure you are: combustion seal, cylinder 2, 70 %.")).to_be_visible()
    assert page.request.get("/classroom/debrief").status == 422
    assert page.request.get("/classroom/class").status == 403
    return page


def _fits_for_a_trial(page: Page) -> None:
    """Renew a seal and see whether it helps."""
    page.locator("summary", has_text=re.compile("^reseal the injector")).click()
    page.locator("input[name=job][value='reseal@2']").check()
    page.get_by_role("button", name="Fit it for a trial").click()
    expect(page.get_by_text(re.compile("^After it (some of )?the complaint is"))).to_be_visible(timeout=PATIENT)


def _readable(response: Response) -> bool:
    """Whether it is a page of the classroom; a redirection has no body."""
    return "/classroom" in response.url and response.status == 200


def test_the_counter_works_by_keyboard_alone(house: House) -> None:
    page = house.visitor(1440)
    take_demo(page, "Skerry van chuffs when cold")
    number = re.search(r"/case/(\d+)", page.url)
    assert number is not None
    page.goto(f"/case/{number.group(1)}/counter")
    seen: list[str] = []
    for _ in range(60):
        page.keyboard.press("Tab")
        word = page.evaluate(
            "() => { const e = document.activeElement, s = getComputedStyle(e);"
            "const word = (e.name || e.textContent || '').trim().slice(0, 40);"
            "return word + (s.outlineStyle === 'none' ? ' UNSEEN' : ''); }"
        )
        seen.append(word)
        if word.startswith("Turn the screen"):
            page.keyboard.press("Enter")
            break
    page.wait_for_url("**/customer?**")
    assert seen[0].startswith("Go to the page itself")
    assert "language" in seen and "option" in seen
    assert not [word for word in seen if word.endswith("UNSEEN")]
