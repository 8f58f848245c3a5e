"""The interface for programs: every operation keeps to its description, and answers in the forms of the command line.

Schemathesis (Hatfield-Dodds & Dygalo 2022, 'Deriving semantics-aware fuzzers from web API schemas', ICSE) makes the
requests out of the description.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest
import schemathesis
from hypothesis import given
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from diag.report import form_schema
from diag.web.settings import Settings
from tests.support.effort import effort
from tests.web.served import HOST, Browser, served

UNHURRIED = Settings(pages_per_second=1e6, pages_at_once=1_000_000)
CHECKS = [not_a_server_error, content_type_conformance, response_schema_conformance, status_code_conformance]
OPERATIONS = (
    ("GET", "/api/engines"),
    ("GET", "/api/cases"),
    ("GET", "/api/cases/{number}"),
    ("GET", "/api/cases/{number}/weigh"),
    ("GET", "/api/cases/{number}/next"),
    ("GET", "/api/cases/{number}/repair"),
    ("GET", "/api/cases/{number}/why"),
    ("POST", "/api/cases"),
    ("POST", "/api/cases/{number}/findings"),
    ("POST", "/api/cases/{number}/readings"),
    ("POST", "/api/cases/{number}/remarks"),
)


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, int]]:
    """A browser, and a case that is there."""
    with served(tmp_path_factory.mktemp("api"), UNHURRIED) as browser:
        yield browser, browser.demo("one_blown_seal")


@pytest.fixture(scope="module")
def described(case: tuple[Browser, int]) -> schemathesis.schemas.BaseSchema:
    """The description, as schemathesis reads it."""
    app = case[0].client.app  # type: ignore[attr-defined]
    return schemathesis.openapi.from_asgi("/api/openapi.json", app, headers={"host": HOST})


def test_the_description_holds_every_operation_and_no_page(described: schemathesis.schemas.BaseSchema) -> None:
    found = [(each.ok().method.upper(), each.ok().path) for each in described.get_all_operations()]
    assert sorted(found) == sorted(OPERATIONS)


@pytest.mark.parametrize(("method", "path"), OPERATIONS, ids=[f"{method} {path}" for method, path in OPERATIONS])
def test_no_request_out_of_the_description_breaks_it(
    case: tuple[Browser, int], described: schemathesis.schemas.BaseSchema, method: str, path: str
) -> None:
    """Made-up requests, fitting and unfitting, mostly at a case that is there: never a fault, always a documented
    answer in its documented form."""
    statuses: set[int] = set()

    @effort(12)
    @given(made=described[path][method].as_strategy(), real=st.sampled_from((True, True, True, False)))
    def ask(made: schemathesis.Case, real: bool) -> None:
        if real and "number" in made.path_parameters:
            made.path_parameters["number"] = case[1]
        answer = made.call_and_validate(headers={"host": HOST}, checks=CHECKS)
        statuses.add(answer.status_code)

    ask()
    assert statuses - {404, 415, 421, 429}, "nothing got past the door"


FORMS = {
    "": "diag.book.case/1",
    "/weigh": "diag.weigh/1",
    "/next": "diag.next/1",
    "/repair": "diag.repair/1",
    "/why": "diag.why/1",
}


@pytest.mark.parametrize("what", FORMS)
def test_a_case_is_answered_in_the_form_of_the_command_line(case: tuple[Browser, int], what: str) -> None:
    browser, number = case
    answer = browser.client.get(f"/api/cases/{number}{what}")
    assert answer.status_code == 200
    assert answer.json()["form"] == FORMS[what]
    jsonschema.validate(answer.json(), form_schema(FORMS[what]))


def test_a_program_writes_and_is_told_when_the_book_has_moved(case: tuple[Browser, int]) -> None:
    """The revision that it had seen decides, as in the command line, whose exit code for this is 10."""
    browser, number = case
    on = browser.revision(number)
    told = {"item": "bubbles", "place": "2", "answer": "present", "on": on}
    first = browser.client.post(f"/api/cases/{number}/findings", json=told)
    assert first.status_code == 200
    assert first.json()["case"]["revision"] == on + 1
    second = browser.client.post(f"/api/cases/{number}/findings", json={**told, "answer": "absent"})
    assert second.status_code == 409
    assert second.json()["error"] == "book moved"


def test_the_customer_is_not_handed_out(tmp_path: Path) -> None:
    """Who the customer is stays in the book, whatever a program asks for."""
    from diag.store import Customer, note_customer

    with served(tmp_path) as browser:
        number = browser.demo("one_blown_seal")
        book = browser.client.app.state.shop.keeping.book  # type: ignore[attr-defined]
        note_customer(book, number, Customer("Ada Fathom", "BW 123"))
        for path in ("/api/cases", f"/api/cases/{number}?journal=true", f"/case/{number}", "/"):
            text = browser.client.get(path).text
            assert "Ada Fathom" not in text
            assert "BW 123" not in text
