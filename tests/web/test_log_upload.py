"""A log that is uploaded: read out of the way, shown first, taken when that is wished; what is no log is refused."""

from __future__ import annotations

import html
import re

import httpx
import pytest

from tests.logs.simulated import State, simulate, written
from tests.web.served import Browser


def _upload(browser: Browser, number: int, name: str, content: bytes) -> httpx.Response:
    data = {"token": browser.token(), "on": str(browser.revision(number))}
    return browser.client.post(f"/case/{number}/log", data=data, files={"log": (name, content)})


def _readings(text: str) -> list[str]:
    return [html.unescape(each) for each in re.findall(r'name="reading" value="([^"]+)"', text)]


@pytest.fixture(scope="module")
def log() -> bytes:
    """A warm idle of an engine whose second cylinder asks for more fuel."""
    return ("\n".join(written(simulate(State()))) + "\n").encode()


def test_a_log_is_shown_first_and_taken_when_that_is_wished(browser: Browser, log: bytes) -> None:
    """Nothing is written by reading; taking it writes its readings in one entry, and a second time is refused."""
    number = browser.demo("low_compression")
    before = browser.revision(number)
    shown = _upload(browser, number, "drive.csv", log)
    assert shown.status_code == 200, shown.text
    assert browser.revision(number) == before
    assert "Log drive.csv" in shown.text  # as it is called where it came from, not here
    picture = shown.text.split("<figure")[1]
    assert "<svg" in picture and "<style" not in picture and "style=" not in picture  # the policy lets none through
    readings = _readings(shown.text)
    assert readings
    fields = {"token": browser.token(), "on": str(before), "reading": readings}
    taken = browser.client.post(f"/case/{number}/log/take", data=fields, follow_redirects=True)
    assert taken.status_code == 200
    assert browser.revision(number) > before
    again = {"token": browser.token(), "on": str(browser.revision(number)), "reading": readings}
    assert browser.client.post(f"/case/{number}/log/take", data=again).status_code == 422


def test_what_the_page_says_of_a_log_can_be_done_on_the_page(browser: Browser) -> None:
    """It is asked what a column is, and said how it should be called and what to log next time; nothing of the command
    line."""
    number = browser.demo("one_blown_seal")
    browser.client.cookies.clear()
    unknown = html.unescape(_upload(browser, number, "log.csv", b"time [s],foo\n1,2\n2,3\n").text)
    assert "no column is known to be the engine speed" in unknown
    assert "Column 2: foo" in unknown and '<option value="speed">' in unknown
    assert "Heads such as 'engine speed [rpm]' are understood by themselves" in unknown
    rows = "".join(f"{second},{800 + second % 3}\n" for second in range(0, 4000, 10))
    cold = html.unescape(_upload(browser, number, "log.csv", f"time,engine speed [rpm]\n{rows}".encode()).text)
    assert "Log the coolant temperature" in cold
    assert "if the time is not in s, say its unit in the head of the column" in cold
    for page in (unknown, cold):
        assert not re.search(r"--[a-z]", re.sub(r"<[^>]*>", "", page))


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("log.exe", b"time,speed\n1,2\n"),
        ("log.csv.zip", b"PK\x03\x04"),
        ("log.csv", b"PK\x03\x04\x00\x00\x00\x00"),
        ("log.csv", b"\x7fELF\x02\x01\x01\x00"),
        ("log.csv", b""),
        ("log.csv", b"   \n \n"),
        ("log.csv", b"\x00" * 5000),
        ("log.csv", b"no table at all"),
        ("log.csv", b"a,b,c\n1,2,3\n"),
        ("../../etc/cron.d/x.csv", b"a,b,c\n1,2,3\n"),
        ("x" * 3000 + ".csv", b"a,b,c\n1,2,3\n"),
        ("<script>alert(1)</script>.csv", b"a,b,c\n1,2,3\n"),
        ("log.csv", b"Time [s],Engine speed [rpm]\n" + b'"' * 20_000),
        ("log.csv", b"Time [s],Engine speed [rpm]\n" + b"nan,inf\n-inf,1e999\n" * 200),
        ("log.csv", b"\xff\xfe" + b"\x00\xd8" * 500),
    ],
    ids=range(15),
)
def test_what_is_no_log_is_refused_in_words(browser: Browser, name: str, content: bytes) -> None:
    number = browser.demo("one_blown_seal")
    browser.client.cookies.clear()  # a fresh session, whose uploads were not counted yet
    answer = _upload(browser, number, name, content)
    assert answer.status_code in (413, 422, 429), answer.text
    assert "Traceback" not in answer.text
    assert "<script>alert" not in answer.text
    assert "/tmp/" not in answer.text


def test_uploads_are_few_and_not_larger_than_told(browser: Browser) -> None:
    number = browser.demo("one_blown_seal")
    browser.client.cookies.clear()
    large = _upload(browser, number, "log.csv", b"a" * (49 << 20))
    assert large.status_code == 413
    statuses = [_upload(browser, number, "log.exe", b"x").status_code for _ in range(8)]
    assert statuses[-1] == 429


@pytest.mark.parametrize(
    "reading", ["", "[]", '["correction"]', '["correction", 2, 5]', "{}", "[" * 3000, '["no_such", null, "1 bar"]']
)
def test_readings_that_the_page_did_not_show_are_refused(browser: Browser, reading: str) -> None:
    number = browser.demo("one_blown_seal")
    before = browser.revision(number)
    answer = browser.send(f"/case/{number}/log/take", on=before, reading=reading)
    assert answer.status_code in (413, 422)
    assert browser.revision(number) == before
