"""The work sheet as text and as HTML: every case, narrow and wide; contrast, boxes, nothing from outside."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import jsonschema
import pytest
from rich.cells import cell_len

from diag.casebook import demo_cases
from diag.decision import Job, with_first_tested
from diag.report import (
    WorkSheet,
    estimate_html,
    estimate_pdf,
    estimate_sheet,
    form_schema,
    render,
    sheet_blocks,
    sheet_html,
    sheet_json,
    sheet_pdf,
    work_sheet,
)
from diag.report.html_worksheet import STYLE
from diag.worksheet import estimate, work_of
from tests.support.pages import text_of
from tests.worksheet.demo import CASES, as_chosen, decided
from tests.worksheet.plans import KNOWLEDGE, case_of, sheet

VOID = {"meta", "input", "br", "hr", "link", "img"}


def best(name: str) -> WorkSheet:
    case, _, decision = decided(name)
    return work_sheet(KNOWLEDGE, case, work_of(KNOWLEDGE, case, as_chosen(decision.best)), decision.danger.cautions)


@pytest.mark.parametrize("width", [40, 60, 100])
@pytest.mark.parametrize("name", CASES)
def test_every_case_fits_the_page(name: str, width: int) -> None:
    page = render(sheet_blocks(best(name)), width)
    assert max(cell_len(line) for line in page.splitlines()) <= width
    assert "The maker's data, local codes and licensed practice come before this sheet" in " ".join(page.split())


@pytest.mark.parametrize("width", [60, 100])
def test_the_widest_sheet_fits_the_page(width: int) -> None:
    """Every seal of the V8, with an injector, the compression and the filter: eight boxes a step."""
    engine = KNOWLEDGE.engines["karrick_v8"]
    jobs = [Job("reseal", cylinder) for cylinder in engine.cylinders[1:]]
    made = sheet(case_of("karrick_v8"), Job("replace_injector", 1), *jobs, Job("replace_filter", None))
    page = render(sheet_blocks(made), width)
    assert max(cell_len(line) for line in page.splitlines()) <= width


@pytest.mark.parametrize("name", CASES)
def test_a_caution_stands_before_its_step_and_boxes_after_it(name: str) -> None:
    page = render(sheet_blocks(best(name)), 100)
    for section in best(name).sections:
        for step in section.steps:
            start = re.search(rf"^ *{step.number}\. ", page, re.MULTILINE)
            assert start
            before = page[: start.start()].rstrip().splitlines()
            if step.cautions:
                block = before[max(i for i, line in enumerate(before) if line.startswith("CAUTION:")) :]
                assert " ".join(" ".join(block).split()) == "CAUTION: " + " ".join(" ".join(step.cautions).split())


@pytest.mark.parametrize("name", CASES)
def test_the_json_has_its_documented_form(name: str) -> None:
    jsonschema.validate(json.loads(sheet_json(best(name))), form_schema("sheet"))
    case, ready, decision = decided(name)
    made = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
    jsonschema.validate(json.loads(sheet_json(estimate_sheet(KNOWLEDGE, case, made))), form_schema("estimate"))


class Outline(HTMLParser):
    """Checks nesting, and notes what a reader of the page meets."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.headings: list[int] = []
        self.inputs: list[dict[str, str | None]] = []
        self.unnamed = 0
        self.outside: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = dict(attrs)
        self.outside += [value for key, value in attrs if key in ("src", "href", "action") and value]
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "input":
            self.inputs.append(known)
            self.unnamed += not known.get("aria-label") and "label" not in self.open
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += f" {data}"


def outline(html: str) -> Outline:
    found = Outline()
    found.feed(html)
    found.close()
    assert found.open == []
    return found


@pytest.mark.parametrize("name", CASES)
def test_the_html_is_whole_named_and_fetches_nothing(name: str) -> None:
    case, ready, decision = decided(name)
    made = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
    for html in (sheet_html(best(name)), estimate_html(estimate_sheet(KNOWLEDGE, case, made))):
        found = outline(html)
        assert html.startswith('<!DOCTYPE html>\n<html lang="en" dir="ltr">')
        assert found.outside == []
        assert found.unnamed == 0
        assert "<script" not in html
        assert found.headings[0] == 1
        assert all(after <= before + 1 for before, after in zip(found.headings, found.headings[1:], strict=False))


@pytest.mark.parametrize("name", CASES)
def test_the_html_says_what_the_terminal_says(name: str) -> None:
    """Every step, caution, part and value of the record is on both."""
    made = best(name)
    text = " ".join(outline(sheet_html(made)).text.split())
    page = " ".join(render(sheet_blocks(made), 100).split())
    for section in made.sections:
        for step in section.steps:
            for words in (step.text, *step.cautions, *(torque.words for torque in step.torques)):
                assert " ".join(words.split()) in text
                assert " ".join(words.split()) in page


def test_each_place_has_its_own_box_for_the_value_reached() -> None:
    made = sheet(case_of("ostrel_3"), *(Job("reseal", cylinder) for cylinder in (1, 2, 3)))
    labels = [str(each.get("aria-label")) for each in outline(sheet_html(made)).inputs]
    for cylinder in (1, 2, 3):
        assert sum(f"clamp bolt, cylinder {cylinder}" in label for label in labels) == 2  # N·m and degrees
        assert sum(f"pressure union, cylinder {cylinder}" in label for label in labels) == 1


def test_what_people_wrote_cannot_become_markup() -> None:
    html = sheet_html(sheet(replace(case_of("ostrel_3"), title="<b onload=x>&\"'"), Job("reseal", 1)))
    assert "<b onload" not in html
    assert "&lt;b onload=x&gt;&amp;" in html


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1, 'relative luminance' in its glossary."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.1, success criterion 1.4.3."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_as_the_guideline_defines_it() -> None:
    """Black on white is 21:1 (WCAG 2.1)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_text_and_boxes_have_the_contrast_of_level_aa() -> None:
    """Text at least 4.5:1 (1.4.3), edges of boxes at least 3:1 (1.4.11); text is given in rem, so that it can grow."""
    backgrounds = set(re.findall(r"background: (#\w{6})", STYLE))
    assert backgrounds == {"#ffffff"}
    texts = set(re.findall(r"[^-]color: (#\w{6})", STYLE))
    edges = set(re.findall(r"border[^:;]*: [^;]*?(#\w{6})", STYLE))
    assert texts
    assert edges
    assert all(contrast(colour, "#ffffff") >= 4.5 for colour in texts)
    assert all(contrast(colour, "#ffffff") >= 3.0 for colour in edges)
    assert not re.search(r"font(-size)?: *\d+(px|pt)", STYLE)


def test_nothing_now_prints_no_work() -> None:
    case, _, decision = decided("findings_that_contradict")
    nothing = next(option for option in decision.options if not option.jobs)
    made = work_sheet(KNOWLEDGE, case, work_of(KNOWLEDGE, case, as_chosen(nothing)))
    assert made.sections == ()
    assert "Nothing is done now" in render(sheet_blocks(made), 80)
    assert "Nothing is done now" in sheet_html(made)
    assert set(demo_cases()) < set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_every_case_becomes_a_pdf(name: str) -> None:
    case, ready, decision = decided(name)
    made = estimate(ready.bound.tariff, case, ready.network, ready.posterior, as_chosen(decision.best))
    assert sheet_pdf(best(name)).startswith(b"%PDF-")
    assert estimate_pdf(estimate_sheet(KNOWLEDGE, case, made)).startswith(b"%PDF-")


def test_a_sheet_of_a_test_says_to_stop_at_its_result_and_what_follows_each() -> None:
    """On screen, as HTML and on paper; put together by hand it says to stop; other work says nothing of it."""
    case, ready, decision = decided("all_returns_high")
    option = next(each for each in with_first_tested(ready, decision).options if each.after)
    made = work_sheet(KNOWLEDGE, case, work_of(KNOWLEDGE, case, as_chosen(option)))
    assert len(option.after) == 2 and len(made.notes) >= 3
    stop = "STOP when the result of the test is back, and tell diag before anything is fitted."
    fails = "fails on the test bench, cylinder 4: yes (70 %): replace the injector, cylinder 4; write the trim code"
    passes = "fails on the test bench, cylinder 4: no (30 %): reseal the injector, cylinder 4."
    for page in (render(sheet_blocks(made), 100), sheet_html(made), text_of(sheet_pdf(made))):
        text = " ".join(page.split())
        assert stop in text and fails in text and passes in text
    by_hand = render(sheet_blocks(sheet(case, Job("bench_test", 4))), 100)
    assert stop in " ".join(by_hand.split()) and "(70 %)" not in by_hand
    assert "STOP when the result" not in render(sheet_blocks(best("all_returns_high")), 100)
