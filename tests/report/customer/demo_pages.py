"""The customer's page of every demo case, and of the V8 with many symptoms, in every language; each is made once."""

from __future__ import annotations

from functools import cache

from diag.casebook import Case, load_case
from diag.decision import Advice, OptionSpread, advise_on, reckon, spreads_of, with_test_as_option
from diag.knowledge_base import Knowledge, language_names, load_knowledge, load_language
from diag.network import weigh
from diag.report import CustomerPage, WeighSheet, customer_page, page_pdf, weigh_sheet
from tests.support.cases import every_case

CASES = tuple(every_case())
LANGUAGES = language_names()


@cache
def shipped() -> Knowledge:
    return load_knowledge()


@cache
def judged(name: str) -> tuple[Case, WeighSheet, Advice, dict[str, OptionSpread]]:
    """One of the cases, weighed and decided, with the spread of its options by few draws."""
    knowledge = shipped()
    case = load_case(every_case()[name], knowledge)
    weighed = weigh(knowledge, case)
    ready = reckon(knowledge, case, weighed.network, weighed.posterior)
    advice = with_test_as_option(ready, advise_on(ready))
    return case, weigh_sheet(weighed), advice, spreads_of(ready, advice.repair, draws=500)


@cache
def page(name: str, language: str = "en", options: tuple[str, ...] = ()) -> CustomerPage:
    case, weighed, advice, spreads = judged(name)
    return customer_page(shipped(), case, load_language(language), weighed, advice, options, spreads)


@cache
def pdf(name: str, language: str = "en") -> bytes:
    return page_pdf(page(name, language))


def sentences(of: CustomerPage) -> tuple[str, ...]:
    """The running text of a page: everything in sentences, the case's own title left out."""
    sections = (of.safety, of.wrong, of.nothing, of.advice, of.unknown, of.terms)
    lines = [line for section in sections for line in section.lines]
    return (of.invented, *lines, of.map_caption, of.map_description)


def cells(of: CustomerPage) -> tuple[str, ...]:
    """The cells of the comparison."""
    return tuple(line for row in of.rows for cell in row.cells for line in cell)


def everything(of: CustomerPage) -> tuple[str, ...]:
    """All that is written on a page but the case's own title and vehicle."""
    sections = (of.safety, of.wrong, of.nothing, of.advice, of.unknown, of.terms)
    rest = (of.title, of.options_heading, of.advised, of.choice_label, of.choose, of.choose_none, of.footer)
    headings = tuple(section.heading for section in sections) + tuple(option.heading for option in of.options)
    labels = tuple(row.label for row in of.rows) + tuple(bank.label for bank in of.banks)
    return (*sentences(of), *cells(of), *rest, *headings, *labels)
