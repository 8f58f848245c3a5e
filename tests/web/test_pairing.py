"""On the workshop's network: a code lets a tablet in, guesses are few, and without it nothing is served."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diag.web.sessions import CODE_DIGITS, WRONG_CODES, Pairing, Sessions
from diag.web.settings import Settings
from tests.web.served import Browser, served

NETWORK = Settings(network=True)


@pytest.mark.parametrize("path", ["/", "/case/1", "/case/1/options", "/case/1/live", "/no-such"])
def test_a_device_that_was_not_let_in_sees_the_door_alone(tmp_path: Path, path: str) -> None:
    with served(tmp_path, NETWORK) as browser:
        answer = browser.client.get(path, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.headers["location"] == "/pair"
        assert "set-cookie" not in answer.headers


def test_the_interface_is_shut_to_it_too(tmp_path: Path) -> None:
    with served(tmp_path, NETWORK) as browser:
        assert browser.client.get("/api/cases").status_code == 401
        assert browser.client.post("/api/cases", json={"title": "x", "engine": "ostrel_4"}).status_code == 401
        assert browser.client.post("/cases/new", data={"title": "x"}).status_code == 401


def test_a_tablet_that_enters_something_after_a_restart_is_led_to_the_door(tmp_path: Path) -> None:
    """It was told that it had not been let in *yet*, with no way to do so, and nothing of what became of its entry."""
    with served(tmp_path, NETWORK) as browser:
        answer = browser.client.post("/case/1/tell", data={"token": "of before", "item": "tar", "answer": "present"})
        assert answer.status_code == 401
        assert "Nothing was written" in answer.text
        (door,) = re.findall(r'<a class="button strong" href="([^"]+)">Let this device in</a>', answer.text)
        assert 'name="code"' in browser.client.get(door).text


def test_the_code_on_the_screen_lets_it_in(tmp_path: Path) -> None:
    with served(tmp_path, NETWORK) as browser:
        code = _code(browser)
        answer = browser.client.post("/pair", data={"code": f"{code[:4]} {code[4:]}"}, follow_redirects=True)
        assert answer.status_code == 200
        assert "<h1>Cases</h1>" in answer.text


def _code(browser: Browser) -> str:
    pairing = browser.client.app.state.shop.pairing  # type: ignore[attr-defined]
    return str(pairing.code)


def test_guesses_are_few(tmp_path: Path) -> None:
    """After a handful of wrong codes even the right one has to wait."""
    with served(tmp_path, NETWORK) as browser:
        wrong = f"{(int(_code(browser)) + 1) % 10**CODE_DIGITS:0{CODE_DIGITS}d}"
        statuses = [browser.client.post("/pair", data={"code": wrong}).status_code for _ in range(7)]
        assert statuses[0] == 403
        assert statuses[-1] == 429
        assert browser.client.post("/pair", data={"code": _code(browser)}).status_code == 429


def test_many_wrong_codes_bring_a_new_one() -> None:
    told: list[str] = []
    pairing = Pairing(told.append)
    for _ in range(WRONG_CODES):
        assert not pairing.fits("0" * CODE_DIGITS if pairing.code != "0" * CODE_DIGITS else "1" * CODE_DIGITS)
    assert len(told) == 2
    assert not pairing.fits(told[0]) or told[0] == told[1]
    assert pairing.fits(told[-1])


def test_the_start_link_works_once(tmp_path: Path) -> None:
    with served(tmp_path, NETWORK) as browser:
        key = browser.client.app.state.shop.pairing.start_key  # type: ignore[attr-defined]
        assert browser.client.get("/begin/wrong", follow_redirects=False).status_code == 401
        first = browser.client.get(f"/begin/{key}", follow_redirects=False)
        assert first.headers["location"] == "/"
        browser.client.cookies.clear()
        assert browser.client.get(f"/begin/{key}", follow_redirects=False).status_code == 401


def test_a_session_ends_when_nobody_comes_for_half_a_day() -> None:
    now = [0.0]
    sessions = Sessions(lambda: now[0])
    session = sessions.begin()
    now[0] = 11 * 3600.0
    assert sessions.of(session.key) is not None
    now[0] = 24 * 3600.0
    assert sessions.of(session.key) is None
    assert sessions.of("made up") is None


def test_neither_key_nor_code_nor_session_is_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """What the log of requests holds lets nobody in."""
    caplog.set_level("INFO", "diag.web")
    with served(tmp_path, NETWORK) as browser:
        pairing = browser.client.app.state.shop.pairing  # type: ignore[attr-defined]
        key, code = pairing.start_key, pairing.code
        browser.client.get(f"/begin/{key}")
        session = browser.client.cookies["diag_session"]
        browser.client.get("/?said=secret-words")
    assert "/begin/..." in caplog.text
    assert not [secret for secret in (key, code, session, "secret-words") if secret in caplog.text]
