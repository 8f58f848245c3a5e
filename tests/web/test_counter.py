"""The counter: what the customer is shown, which papers come out, what the customer chose; and closing a case."""

from __future__ import annotations

import csv
import html
import io
import json
import re

import jsonschema
import pytest

from diag.casebook import demo_cases, load_case
from diag.cli.work import planned_sheet
from diag.knowledge_base import load_knowledge
from diag.report import form_schema
from diag.web.words import SAY
from tests.support.pages import pages_in, text_of
from tests.web.served import Browser


@pytest.fixture(scope="module")
def number(browser: Browser) -> int:
    return browser.demo("one_blown_seal")


def _words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


@pytest.mark.parametrize(("language", "title"), [("en", "What we found"), ("de", "Was wir fanden")])
def test_screen_and_paper_say_the_same(browser: Browser, number: int, language: str, title: str) -> None:
    """Every price and every chance of the screen stands on the PDF, which is one side."""
    screen = browser.client.get(f"/case/{number}/customer", params={"language": language})
    paper = browser.client.get(f"/case/{number}/customer.pdf", params={"language": language})
    assert paper.headers["content-type"] == "application/pdf"
    assert pages_in(paper.content) == 1
    assert f'<html lang="{language}"' in screen.text
    assert title in _words(screen.text)
    said = re.findall(r"[\d.,]+ EUR|\d+ %", _words(screen.text).replace("\u00a0", " "))
    printed = text_of(paper.content).replace("\u00a0", " ")
    assert len(said) > 15
    assert all(each in printed for each in said)


def test_the_customer_sees_nothing_of_the_house(browser: Browser, number: int) -> None:
    """No other case, no list of faults, no workshop's side, no way but back and to the paper."""
    browser.demo("second_seal_weeping")
    text = browser.client.get(f"/case/{number}/customer").text
    assert {each.split("?")[0] for each in re.findall(r'href="(/case[^"]*)"', text)} == {
        f"/case/{number}/counter",
        f"/case/{number}/customer.pdf",
    }
    assert 'href="/"' not in text
    assert "Fathom" not in text
    assert not re.search(r"goodwill|posterior|decibans?|workshop's own|combustion seal", text)


def test_chosen_options_stand_side_by_side(browser: Browser, number: int) -> None:
    asked = {"option": ["all seals", "nothing now, watch it"]}
    text = _words(browser.client.get(f"/case/{number}/customer", params=asked).text)
    assert "Option B" in text and "Option C" not in text
    assert "all 4 cylinders" in text and "Do nothing for now" in text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"option": ["all seals"]}, "two or three different options"),
        ({"option": ["all seals", "no such"]}, "is not among the options"),
        ({"language": "xx"}, "no such language"),
        ({"language": "../../etc/passwd"}, "no such language"),
    ],
)
def test_what_cannot_be_shown_is_told(browser: Browser, number: int, asked: dict[str, list[str]], said: str) -> None:
    for path in ("customer", "customer.pdf", "customer.html"):
        answer = browser.client.get(f"/case/{number}/{path}", params=asked)
        assert answer.status_code == 422
        assert said in _words(answer.text)
    assert said in _words(browser.client.get(f"/case/{number}/counter", params=asked).text)


def test_testing_first_is_offered_as_on_the_command_line(browser: Browser) -> None:
    """`diag repair` and `diag customer` have it: so have the counter, the options, the estimate and the work sheet."""
    number = browser.demo("all_returns_high")
    title = "send the injectors to the test bench first (4), then decide"
    case = load_case(demo_cases()["all_returns_high"], load_knowledge())
    expected = next(each for each in planned_sheet(load_knowledge(), case).options if each.name == title)
    for path in ("counter", "options"):
        assert title in _words(browser.client.get(f"/case/{number}/{path}").text)
    beside = f"Untested, this comes to 1,826 EUR in the end; to {title}, comes to 1,789 EUR."
    assert beside in _words(browser.client.get(f"/case/{number}/options").text)
    told = browser.client.get(f"/api/cases/{number}/repair").json()["options"]
    assert [each["total"] for each in told if each["name"] == title] == [pytest.approx(expected.total)]
    moved = browser.client.get(f"/api/cases/{number}/repair", params={"labour_per_hour": "120"}).json()["options"]
    assert [each["total"] > expected.total for each in moved if each["name"] == title] == [True]
    shown = _words(browser.client.get(f"/case/{number}/customer", params={"option": [title, "all injectors"]}).text)
    assert "Injectors tested first" in shown
    priced = _words(browser.client.get(f"/case/{number}/estimate", params={"what": title}).text)
    assert "This is for the test alone" in priced
    sheet = _words(browser.client.get(f"/case/{number}/sheet", params={"what": title}).text)
    assert "mark" in sheet and "STOP when the result of the test is back" in sheet
    assert all("; ".join(each.work) in sheet for each in expected.after)
    full = _words(browser.client.get(f"/case/{number}/option", params={"what": title}).text)
    assert SAY["why_left"] not in full and SAY["why_invoice_tested"] in full
    for each in expected.after:
        assert f"{'; '.join(each.answers)} ({round(100 * each.chance)}" in full and "; ".join(each.work) in full
    assert len(expected.after) == 2


def test_the_advised_option_is_named_where_options_stand_one_below_the_other(browser: Browser, number: int) -> None:
    """On a telephone the heads of the columns are gone, and a tint alone says nothing (WCAG 2.2, 1.4.1)."""
    text = browser.client.get(f"/case/{number}/customer").text
    rows = text.count('<tr><th scope="row">')
    assert rows > 5
    assert text.count('data-label="Option A – our advice"') == rows == text.count('data-label="Option B"')


def test_the_picture_of_two_banks_is_told_in_words_on_a_telephone(browser: Browser, number: int) -> None:
    several = browser.demo("second_seal_weeping")
    for path in ("customer", "customer.html"):
        said = re.findall(
            r'aria-hidden="true">(The engine seen[^<]*)<', browser.client.get(f"/case/{several}/{path}").text
        )
        assert len(said) == 1 and all(f"Cylinder {each}:" in said[0] for each in range(1, 7))
        assert 'aria-hidden="true">The engine' not in browser.client.get(f"/case/{number}/{path}").text


def test_a_barred_option_is_not_offered(browser: Browser) -> None:
    """With exhaust gas in the cabin nothing is left as it is (HSE, OSHA limits of carbon monoxide)."""
    danger = browser.demo("second_seal_weeping")
    assert "Do not drive." in browser.client.get(f"/case/{danger}/customer").text
    page = browser.client.get(f"/case/{danger}/counter").text
    assert 'value="all seals"' in page
    assert 'value="nothing now, watch it"' not in page
    asked = {"option": ["all seals", "nothing now, watch it"]}
    assert browser.client.get(f"/case/{danger}/customer", params=asked).status_code == 422


def test_what_was_chosen_is_noted_with_price_and_limit(browser: Browser, number: int) -> None:
    """The price with tax and the limit above it are those of the page: 348 EUR and 410 EUR."""
    answer = browser.send(f"/case/{number}/chosen", on=browser.revision(number), chosen="likeliest", language="en")
    said = _words(answer.text).replace("\u00a0", " ")
    assert "The customer chose: Option A: New injector seal (cylinder 2); about 348 EUR with tax." in said
    assert "Call before it goes above 410 EUR." in said
    answer = browser.send(f"/case/{number}/chosen", on=browser.revision(number), chosen="", language="en")
    assert "none of the options for now" in _words(answer.text)
    answer = browser.send(f"/case/{number}/chosen", on=browser.revision(number), chosen="nowhere", language="en")
    assert answer.status_code == 422


def test_a_choice_of_before_the_case_went_on_says_so(browser: Browser) -> None:
    """The price that the customer agreed to had stood there as if it were of the plan as it is now; an option that is
    gone was told by words for the command line ('it can be likeliest, all_seals, ...'), under the heading that there
    is no page at all."""
    number = browser.demo("one_blown_seal")
    for place in ("3", "4"):
        told = {"item": "tar", "place": place, "under": "", "answer": "present"}
        assert "Taken." in browser.send(f"/case/{number}/tell", on=browser.revision(number), **told).text
    asked = {"option": ["reseal the injector (2, 4)", "all seals"]}
    assert "Option B" in browser.client.get(f"/case/{number}/customer", params=asked).text
    browser.send(f"/case/{number}/chosen", on=browser.revision(number), chosen="all_seals")
    caution = "The case has gone on since that was noted"
    assert caution not in browser.client.get(f"/case/{number}/counter", params=asked).text
    for place in ("3", "4"):
        told = {"item": "tar", "place": place, "under": "", "answer": "clear"}
        assert "Taken." in browser.send(f"/case/{number}/tell", on=browser.revision(number), **told).text
    for path in ("customer", "customer.pdf"):
        answer = browser.client.get(f"/case/{number}/{path}", params=asked)
        assert answer.status_code == 422
        assert "is not among the options as the case stands now" in answer.text
        assert "all_seals" not in answer.text
    text = html.unescape(_words(browser.client.get(f"/case/{number}/counter", params=asked).text))
    assert caution in text
    assert "These cannot stand side by side: 'reseal the injector (2, 4)' is not among the options" in text


def test_the_estimate_is_one_in_every_form(browser: Browser, number: int) -> None:
    body = json.loads(browser.client.get(f"/case/{number}/estimate.json").content)
    jsonschema.validate(body, form_schema("estimate"))
    rows = list(csv.DictReader(io.StringIO(browser.client.get(f"/case/{number}/estimate.csv").text)))
    assert float(rows[-1]["amount"]) == pytest.approx(body["total"])
    shown = _words(browser.client.get(f"/case/{number}/estimate").text).replace("\u00a0", " ")
    assert f"{body['total']:,.2f} EUR" in shown
    assert f"{body['total']:,.2f}" in text_of(browser.client.get(f"/case/{number}/estimate.pdf").content)
    assert browser.client.get(f"/case/{number}/estimate.exe").status_code == 422


def test_the_estimate_speaks_the_customers_language(browser: Browser, number: int) -> None:
    """The language that was chosen for the customer's page goes on to the estimate and its papers, and back."""
    text = browser.client.get(f"/case/{number}/counter", params={"language": "de"}).text
    links = re.findall(rf'href="(/case/{number}/(?:estimate|sheet)[^"]*)"', text)
    assert links and all(each.endswith("language=de") for each in links)
    page = browser.client.get(links[0].replace("&amp;", "&")).text
    assert "Kostenvoranschlag" in page and 'lang="de"' in page and "counter?language=de" in page
    for kind in ("pdf", "csv"):
        link = re.search(rf'href="(/case/{number}/estimate\.{kind}[^"]*)"', page)
        assert link is not None
        answer = browser.client.get(link.group(1).replace("&amp;", "&"))
        assert "mit Steuer" in (text_of(answer.content) if kind == "pdf" else answer.text)
    assert browser.client.get(f"/case/{number}/estimate", params={"language": "../x"}).status_code == 422


def test_the_way_back_from_a_paper_keeps_what_stands_side_by_side(browser: Browser, number: int) -> None:
    """Language and options that were chosen; the customer's screen had the usual ones after a look at the estimate."""
    chosen = ["all seals", "nothing now, watch it"]
    text = browser.client.get(f"/case/{number}/counter", params={"language": "de", "option": chosen}).text
    for paper in ("estimate", "sheet"):
        link = re.search(rf'href="(/case/{number}/{paper}\?[^"]*)"', text)
        assert link is not None
        page = browser.client.get(link.group(1).replace("&amp;", "&")).text
        back = re.search(rf'href="(/case/{number}/counter\?[^"]*)"', page)
        assert back is not None
        again = browser.client.get(back.group(1).replace("&amp;", "&")).text
        assert re.findall(r'name="option" value="([^"]+)" checked', again) == chosen
        assert '<option value="de" selected>' in again


def test_files_that_hold_markup_are_kept_and_not_run(browser: Browser, number: int) -> None:
    answer = browser.client.get(f"/case/{number}/customer.html")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "script-src 'self'" in answer.headers["content-security-policy"]


def test_a_case_is_closed_counted_and_opened_again(browser: Browser) -> None:
    number = browser.demo("one_blown_seal")
    fields = {"cured": "yes", "found1": "seal blown 2", "sure1": "seen", "fitted1": "reseal", "fitted_where1": "2"}
    answer = browser.send(f"/case/{number}/close", on=browser.revision(number), time="95 min", cost="340", **fields)
    assert answer.status_code == 200
    said = _words(answer.text)
    assert "The case is closed" in said and "combustion seal: blown" in said and "340 EUR before tax" in said
    listed = browser.client.get("/", params={"state": "closed", "found": "seal", "words": "skerry"}).text
    assert f"/case/{number}" in listed
    assert "Brier" in browser.client.get("/calibration").text
    other = browser.demo("one_blown_seal")
    assert f'href="/case/{number}"' in browser.client.get(f"/case/{other}/alike").text
    answer = browser.send(f"/case/{number}/reopen", on=browser.revision(number))
    assert answer.status_code == 200
    assert "Close the case" in answer.text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"cured": ""}, "does not say whether it cured"),
        ({"cured": "yes", "found1": "seal blown", "found_where1": "9"}, "cylinder"),
        ({"cured": "yes", "found1": "sael blown 2"}, "no component"),
        ({"cured": "yes", "found1": "seal blown 2", "found2": "seal weeping 2"}, "found both blown and weeping"),
        ({"cured": "yes", "cost": "1.234"}, "may stand for thousands"),
        ({"cured": "yes", "time": "long"}, "is not a number"),
        ({"cured": "yes", "cost": "<b>"}, "no amount of money"),
    ],
)
def test_a_closing_that_makes_no_sense_writes_nothing(browser: Browser, fields: dict[str, str], said: str) -> None:
    number = browser.demo("one_blown_seal")
    before = browser.revision(number)
    answer = browser.send(f"/case/{number}/close", on=before, **fields)
    assert answer.status_code == 422
    assert said in _words(answer.text)
    assert browser.revision(number) == before
