"""A page is there at once, and what takes longer comes by its own request; what is made once serves many, and carries
nobody's token but one's own."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from diag.web import casepage
from tests.web.served import HOST, Browser, held_up, served


@pytest.mark.parametrize("screen", ["", "/at/2", "/belief", "/checks", "/why", "/options"])
def test_a_screen_comes_without_waiting_and_asks_once_for_the_rest(tmp_path: Path, screen: str) -> None:
    """Where nothing is worked out yet the page says so, and names the request that waits for it; that one has it."""
    with served(tmp_path, in_time=False) as browser:
        with held_up():
            number = browser.demo("one_blown_seal")
            text = browser.client.get(f"/case/{number}{screen}").text
        assert "Being worked out" in text
        asked = re.search(r'aria-busy="true" hx-get="([^"]*patient=yes)"', text)
        assert asked is not None
        whole = browser.client.get(asked.group(1)).text
        assert not re.search(r'aria-busy="true" hx-get="[^"]*patient=', whole)
        assert len(whole) > len(text)


def test_what_takes_longer_than_a_request_waits_is_asked_for_by_another_address(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A part that comes again just as it stood does not ask once more: 'Being worked out' had stayed for ever."""
    monkeypatch.setattr(casepage, "PATIENT_S", 0.01)
    with served(tmp_path, in_time=False) as browser, held_up():
        address, seen = f"/case/{browser.demo('one_blown_seal')}/why?fault=seal+2", set()
        for _ in range(10):
            text = browser.client.get(address).text
            assert "Being worked out" in text
            asked = re.search(r'aria-busy="true" hx-get="([^"]+)"', text)
            if asked is None:
                break
            assert asked[1] not in seen and "fault=seal+2" in asked[1]
            seen.add(address := html.unescape(asked[1]))
        assert asked is None and len(seen) == 9, "after some minutes by a hand alone"
        (button,) = re.findall(r'Being worked out \.\.\. <a class="button" href="([^"]+)"', text)
        assert 'aria-busy="true"' in browser.client.get(html.unescape(button)).text


def test_the_checks_are_begun_while_what_was_told_of_one_is_taken_in(tmp_path: Path) -> None:
    """The bay is shown next; the request for it finds them under way, or there."""
    with served(tmp_path, in_time=False) as browser, held_up():
        number = browser.demo("one_blown_seal")
        shop = browser.client.app.state.shop  # type: ignore[attr-defined]
        told = {"token": browser.token(), "on": browser.revision(number), "wet_joint:2:": "absent"}
        before = len(shop.reckoner._known)
        sent = browser.client.post(f"/case/{number}/check/look_into_wells/2", data=told, follow_redirects=False)
        assert sent.status_code == 303
        begun = {job for job, *_ in list(shop.reckoner._known)[before:]}
        _, case = shop.keeping.read(number)
        assert begun >= {"belief", "options", "checks"}
        shop.reckoner.begun("checks", case)
        assert len(shop.reckoner._known) == before + len(begun), "of the very case that was written"


def test_what_is_made_once_carries_ones_own_token_and_the_case_one_looks_at(browser: Browser) -> None:
    """Two browsers at two cases of one engine: the same questions, each with its own token, number and revision."""
    app = browser.client.app  # type: ignore[attr-defined]
    other = Browser(TestClient(app, f"http://{HOST}", raise_server_exceptions=False))
    first, second = browser.demo("one_blown_seal"), other.demo("second_seal_weeping")
    pages = [(browser, first), (other, second), (browser, second), (other, first)]
    for who, number in pages:
        text = who.client.get(f"/case/{number}/at/2").text
        assert set(re.findall(r'name="token" value="([^"]+)"', text)) == {who.token()}
        assert set(re.findall(r'action="/case/(\d+)/(?:tell|measure)"', text)) == {str(number)}
        assert set(re.findall(r'name="on" value="(\d+)"', text)) == {str(who.revision(number))}
        assert not re.search("[\ue000-\uf8ff]", text)


def test_a_journal_that_grew_elsewhere_is_read_anew(browser: Browser) -> None:
    """Also where another program wrote to the book: what is remembered of a case is of one revision."""
    from diag.store import Remark, append, open_book

    number = browser.demo("one_blown_seal")
    before = browser.revision(number)
    shop = browser.client.app.state.shop  # type: ignore[attr-defined]
    with open_book(shop.settings.book, make=False) as elsewhere:
        append(elsewhere, number, (Remark("written at a terminal"),), based_on=before)
    assert browser.revision(number) == before + 1
    assert "written at a terminal" in browser.client.get(f"/case/{number}/book").text
