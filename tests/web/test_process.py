"""A real server process: killed in mid-case, watched by two tablets, asked over a raw socket."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import threading
import time
from contextlib import suppress
from pathlib import Path

import httpx
import pytest

from tests.cli.process import run_in
from tests.support.cases import many_symptoms
from tests.web.served import Browser, browser_at, kept_at, server


def _tell(browser: Browser, number: int, item: str, place: str, answer: str) -> httpx.Response:
    fields = {"item": item, "place": place, "under": "", "answer": answer}
    return browser.send(f"/case/{number}/tell", on=browser.revision(number), **fields)


def test_a_killed_server_has_everything_that_it_acknowledged(tmp_path: Path) -> None:
    """Killed while entries come in: whatever was answered with a page is there after starting again, and nothing is
    half-written."""
    acknowledged: list[tuple[str, str]] = []
    with server(tmp_path) as running, browser_at(running.address) as browser:
        number = browser.demo("one_blown_seal")
        stop = threading.Event()

        def enter() -> None:
            wanted = [(item, place) for item in ("bubbles", "wet_joint", "well_dry_and_clean") for place in "1234"]
            for item, place in wanted:
                if stop.is_set():
                    return
                try:
                    if _tell(browser, number, item, place, "absent").status_code == 200:
                        acknowledged.append((item, place))
                except httpx.TransportError:
                    return

        thread = threading.Thread(target=enter)
        thread.start()
        until = time.monotonic() + 60
        while len(acknowledged) < 3 and time.monotonic() < until:
            time.sleep(0.01)
        running.kill()
        stop.set()
        thread.join()
    assert len(acknowledged) >= 3
    with server(tmp_path) as again, browser_at(again.address) as browser:
        for item, place in acknowledged:
            text = browser.client.get(f"/case/{number}/at/{place}").text
            assert f'id="b-{item}%3A{place}%3A-absent" aria-pressed="true"' in text
        assert _tell(browser, number, "tar", "4", "absent").status_code == 200


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_ending_the_server_prints_nothing_but_what_it_told(tmp_path: Path, how: signal.Signals) -> None:
    """Ctrl-C reaches all processes of a terminal, a request to end the server alone: no trace, no warning."""
    with server(tmp_path) as running:
        assert httpx.get(f"{running.address}/").status_code == 200
        until = time.monotonic() + 20
        while len(children := _children(running.process.pid)) < 3 and time.monotonic() < until:
            time.sleep(0.05)
        for process in (running.process.pid, *(children if how == signal.SIGINT else ())):
            with suppress(ProcessLookupError):
                os.kill(process, how)
        assert running.process.wait(30) == 128 + how
    assert [line for line in running.lines if "served at" not in line] == []


def test_ending_the_server_while_something_is_worked_out_prints_no_trace(tmp_path: Path) -> None:
    """What is still being answered is given up after some seconds, in words: 190 lines of trace had followed Ctrl-C,
    and a plain error 500 was sent."""
    answers: dict[str, httpx.Response] = {}
    with server(tmp_path) as running, browser_at(running.address) as browser:
        number = kept_at(tmp_path, many_symptoms())
        assert browser.client.get(f"/case/{number}").status_code == 200
        others = []  # that wait one behind the other: however quick the machine is, the last are not done in time
        for distance in range(342, 348):
            path = tmp_path / f"{distance}.yaml"
            path.write_text(many_symptoms().read_text(encoding="utf-8").replace("341000", f"{distance}000"), "utf-8")
            others.append(kept_at(tmp_path, path))

        def ask(path: str) -> None:
            with suppress(httpx.HTTPError):
                answers[path] = httpx.get(f"{running.address}{path}", timeout=60)

        paths = (f"/case/{number}/turns", *(f"/api/cases/{each}/next" for each in others))
        asking = [threading.Thread(target=ask, args=(path,)) for path in paths]
        for each in asking:
            each.start()
        time.sleep(1.0)
        running.process.send_signal(signal.SIGINT)
        assert running.process.wait(30) == 128 + signal.SIGINT
        for each in asking:
            each.join()
    assert [line for line in running.lines if "served at" not in line] == []
    page, *data = (answers[path] for path in paths)
    ended = [each for each in data if each.status_code != 200]
    assert ended and {each.status_code for each in (page, *ended)} == {503}
    assert "<h1>This did not work</h1>" in page.text and "before this was answered" in page.text
    assert {each.json()["error"] for each in ended} == {"ended"}
    assert {each.headers["connection"] for each in (page, *ended)} == {"close"}


def test_workers_end_with_a_killed_server(tmp_path: Path) -> None:
    """No process of it stays behind."""
    with server(tmp_path) as running:
        assert httpx.get(f"{running.address}/").status_code == 200  # the workers start with the first screen
        until = time.monotonic() + 20
        while len(children := _children(running.process.pid)) < 2 and time.monotonic() < until:
            time.sleep(0.05)
        running.kill()
    assert len(children) >= 2
    until = time.monotonic() + 20
    while any(_alive(each) for each in children) and time.monotonic() < until:
        time.sleep(0.1)
    assert not [each for each in children if _alive(each)]


def _children(process: int) -> list[int]:
    """Of each of its threads: any may have started them."""
    found: list[int] = []
    for thread in Path(f"/proc/{process}/task").glob("*/children"):
        with suppress(OSError):  # a thread that ended meanwhile
            found += [int(each) for each in thread.read_text().split()]
    return found


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{process}/stat")
    return not stat.exists() or " Z " not in stat.read_text()


def test_two_tablets_see_each_others_answers_within_two_seconds(tmp_path: Path) -> None:
    """By the stream of events, whoever writes: the other tablet, or the command line in a process of its own."""
    with server(tmp_path) as running, browser_at(running.address) as one, browser_at(running.address) as other:
        number = one.demo("one_blown_seal")
        other.client.get("/")
        moved: list[tuple[int, float]] = []
        ready = threading.Event()

        def watch() -> None:
            with other.client.stream("GET", f"/case/{number}/live", timeout=60) as stream:
                for line in stream.iter_lines():
                    if line.startswith("data: "):
                        moved.append((int(line[6:]), time.monotonic()))
                        ready.set()
                    if len(moved) == 3:
                        return

        thread = threading.Thread(target=watch)
        thread.start()
        assert ready.wait(10)
        assert _tell(one, number, "bubbles", "2", "present").status_code == 200
        written = time.monotonic()
        _wait_for(moved, 2)
        assert moved[1][1] - written < 2.0
        told = run_in(
            tmp_path, "book", "note", str(number), "seen at the counter", DIAG_BOOK=str(tmp_path / "book.sqlite3")
        )
        written = time.monotonic()
        assert told.returncode == 0, told.stderr
        thread.join(10)
        assert len(moved) == 3
        assert moved[2][1] - written < 2.0


def _wait_for(moved: list[tuple[int, float]], count: int) -> None:
    until = time.monotonic() + 10
    while len(moved) < count and time.monotonic() < until:
        time.sleep(0.02)
    assert len(moved) >= count


TRICKS = (
    b"GET /static/../app.py HTTP/1.1\r\nHost: {host}\r\n\r\n",
    b"GET /case/1/at/.. HTTP/1.1\r\nHost: {host}\r\n\r\n",
    b"GET /static/..%2f..%2f..%2fetc%2fpasswd HTTP/1.1\r\nHost: {host}\r\n\r\n",
    b"GET http://evil.example/ HTTP/1.1\r\nHost: evil.example\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: {host}\r\nHost: evil.example\r\n\r\n",
    b"GET / HTTP/1.1\r\n\r\n",
    b"GET / HTTP/1.0\r\n\r\n",
    b"POST /cases/new HTTP/1.1\r\nHost: {host}\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    b"POST /cases/new HTTP/1.1\r\nHost: {host}\r\nContent-Length: -5\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: {host}\r\nCookie: diag_session=\xff\xfe; =;;\r\n\r\n",
    b"GET /\x00 HTTP/1.1\r\nHost: {host}\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: {host}\r\nX: " + b"a" * 100_000 + b"\r\n\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
    b"GET / HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: upgrade\r\nSec-WebSocket-Version: 13\r\n"
    b"Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n",
)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> object:
    with server(tmp_path_factory.mktemp("raw")) as running:
        yield running.address.removeprefix("http://")


@pytest.mark.parametrize("trick", TRICKS, ids=range(len(TRICKS)))
def test_what_no_browser_would_send_is_refused_and_hurts_nothing(address: str, trick: bytes) -> None:
    host, port = address.split(":")
    with socket.create_connection((host, int(port)), timeout=10) as connection:
        connection.sendall(trick.replace(b"{host}", address.encode()))
        connection.settimeout(3)
        got = b""
        try:
            while chunk := connection.recv(65536):
                got += chunk
        except (TimeoutError, ConnectionResetError):
            pass
    assert b" 500 " not in got.split(b"\r\n")[0]
    assert b"Traceback" not in got
    assert b"root:" not in got
    assert b"def make_app" not in got
    assert httpx.get(f"http://{address}/static/mark.svg").status_code == 200


def test_a_taken_port_is_told_in_words(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        told = run_in(tmp_path, "serve", "--no-browser", "--port", port, DIAG_BOOK=str(tmp_path / "book.sqlite3"))
    assert told.returncode == 2
    assert "choose another with --port" in told.stderr
    assert not (tmp_path / "book.sqlite3").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--address", "0.0.0.0"), "--address goes with --network"),
        (("--key", "none.pem"), "--key goes with --certificate"),
        (("--certificate", "none.pem"), "there is no such file"),
    ],
)
def test_options_that_make_no_sense_are_refused(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    told = run_in(tmp_path, "serve", "--no-browser", *options)
    assert told.returncode == 2
    assert said in told.stderr


def test_the_log_of_the_server_names_no_secret(tmp_path: Path) -> None:
    """Neither session nor token nor what was typed stands in what the terminal shows."""
    with server(tmp_path) as running, browser_at(running.address) as browser:
        number = browser.demo("one_blown_seal")
        _tell(browser, number, "bubbles", "2", "present")
        browser.client.get("/case/abc")
        session = browser.client.cookies["diag_session"]
        token = browser.token()
    shown = "".join(running.lines)
    assert session not in shown
    assert token not in shown
    assert re.search(r"served at http://127\.0\.0\.1:\d+/", shown)


@pytest.mark.skipif(shutil.which("openssl") is None, reason="makes its certificate with openssl")
def test_with_a_certificate_it_is_served_over_https_and_on_the_network_by_a_code(tmp_path: Path) -> None:
    """The cookie is for HTTPS alone, plain HTTP is not answered, and the code that the terminal shows lets one in."""
    certificate, key = tmp_path / "made.pem", tmp_path / "key.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    subprocess.run([*command, "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    options = ("--network", "--address", "127.0.0.1", "--certificate", str(certificate), "--key", str(key))
    with server(tmp_path, *options) as running:
        assert running.address.startswith("https://")
        with httpx.Client(base_url=running.address, verify=False) as client:
            assert client.get("/").headers["location"] == "/pair"
            code = re.search(r"Code for a tablet: (\d{4}) (\d{4})", "".join(running.lines))
            assert code is not None
            answer = client.post("/pair", data={"code": "".join(code.groups())})
            assert answer.status_code == 303
            assert "Secure" in answer.headers["set-cookie"]
            assert "<h1>Cases</h1>" in client.get("/").text
        with pytest.raises(httpx.TransportError):
            httpx.get(running.address.replace("https", "http"))


def test_a_certificate_that_is_none_is_told_in_words(tmp_path: Path) -> None:
    bad = tmp_path / "bad.pem"
    bad.write_text("no certificate")
    told = run_in(
        tmp_path,
        *("serve", "--no-browser", "--port", "0", "--certificate", str(bad)),
        DIAG_BOOK=str(tmp_path / "book.sqlite3"),
    )
    assert told.returncode == 2
    assert "certificate" in told.stderr
    assert "Traceback" not in told.stderr
