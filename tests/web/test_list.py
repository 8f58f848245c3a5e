"""The list of cases says what the book has: none open is not none at all, and what is left out is said."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diag.web import routes_cases
from tests.web.served import Browser, served


def _begun(browser: Browser, title: str) -> int:
    answer = browser.send("/cases/new", title=title, engine="ostrel_3")
    return int(re.search(r"/case/(\d+)", str(answer.url)).group(1))  # type: ignore[union-attr]


def _closed(browser: Browser, title: str) -> None:
    number = _begun(browser, title)
    answer = browser.send(f"/case/{number}/close", on=browser.revision(number), cured="yes")
    assert answer.status_code == 200, answer.text


def test_many_closed_cases_never_push_an_open_one_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """However long ago it was begun; and a list that leaves some out says so."""
    monkeypatch.setattr(routes_cases, "MOST", 2)
    with served(tmp_path) as browser:
        assert "The book has no case yet" in browser.client.get("/").text
        _begun(browser, "Tern van waits for its part")
        _closed(browser, "Petrel bus")
        _closed(browser, "Gannet van")
        text = browser.client.get("/").text
        assert "Tern van waits for its part" in text
        assert "newest 2" not in text
        _closed(browser, "Skua truck")
        text = browser.client.get("/").text
        assert "Tern van waits for its part" in text
        assert "Petrel bus" not in text
        assert "These are the newest 2" in text
        assert "More than 2 found" in browser.client.get("/?state=closed").text


def test_a_book_of_closed_cases_alone_is_not_called_empty(tmp_path: Path) -> None:
    with served(tmp_path) as browser:
        _closed(browser, "Petrel bus")
        text = browser.client.get("/").text
        assert "The book has no case yet" not in text
        assert "No case is open." in text
