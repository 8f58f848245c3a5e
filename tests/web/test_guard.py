"""The guard: who is let in, from where, with what, how often; and what every answer carries."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import httpx
import pytest

from diag.web.limits import Limit
from diag.web.settings import Settings
from tests.web.served import HOST, Browser, served

ERRORS = ("Traceback", 'File "', "Error:", "sqlite", "/tmp/", "/site-packages/")


def plain(answer: httpx.Response) -> bool:
    """Whether an answer holds nothing of the program's inside."""
    return not any(sign in answer.text for sign in ERRORS)


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1:9", "127.0.0.1.evil.example:8757", "", "localhost", "[::1]"]
)
def test_another_host_name_is_not_answered(browser: Browser, host: str) -> None:
    """DNS rebinding: a foreign name that points here gets nothing, not even a session."""
    answer = browser.client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": "http://127.0.0.1:9"},
    ],
)
def test_another_site_cannot_write_even_with_the_token(browser: Browser, headers: dict[str, str]) -> None:
    number, token = browser.demo("one_blown_seal"), browser.token()
    before = browser.revision(number)
    data = {"token": token, "on": str(before), "item": "tar", "place": "4", "under": "", "answer": "present"}
    answer = browser.client.post(f"/case/{number}/tell", data=data, headers=headers)
    assert answer.status_code == 403
    assert browser.revision(number) == before


@pytest.mark.parametrize("token", ["", "wrong", "é", "x" * 5000])
def test_a_form_without_its_token_writes_nothing(browser: Browser, token: str) -> None:
    number = browser.demo("one_blown_seal")
    before = browser.revision(number)
    data = {"token": token, "on": str(before), "item": "tar", "place": "4", "under": "", "answer": "present"}
    answer = browser.client.post(f"/case/{number}/tell", data=data)
    assert answer.status_code in (403, 413)
    assert browser.revision(number) == before


def test_another_site_may_link_here_but_not_embed_or_read(browser: Browser) -> None:
    """Fetch Metadata (W3C): a navigation of the whole page is a link that was followed; anything else is not."""
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}
    assert browser.client.get("/", headers=link).status_code == 200
    for dest, mode in (("iframe", "navigate"), ("image", "no-cors"), ("empty", "cors"), ("script", "no-cors")):
        headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": mode, "sec-fetch-dest": dest}
        assert browser.client.get("/", headers=headers).status_code == 403
    assert browser.client.get("/api/cases", headers=link).status_code == 403


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/..%5capp.py",
        "/static//etc/passwd",
        "//evil.example/",
        "/static/%00",
        "/case/1/at/%2e%2e",
        "/static/style.css/..;/app.py",
        "/" + "a" * 5000,
    ],
)
def test_path_tricks_reach_no_file(browser: Browser, path: str) -> None:
    request = browser.client.build_request("GET", "/")
    request.url = request.url.copy_with(raw_path=path.encode())
    answer = browser.client.send(request)
    assert answer.status_code in (400, 404, 422)
    assert "import" not in answer.text
    assert "root:" not in answer.text


@pytest.mark.parametrize("path", ["/", "/no-such-page", "/static/style.css", "/api/cases", "/case/999999", "/pair"])
def test_every_answer_forbids_scripts_of_others_frames_and_sniffing(browser: Browser, path: str) -> None:
    headers = browser.client.get(path, follow_redirects=False).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert "http:" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"


def test_no_template_holds_a_script_a_style_or_an_address_of_elsewhere() -> None:
    """What the policy forbids is not even written."""
    folder = Path(__file__).parents[2] / "diag" / "web"
    for path in (folder / "templates").glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*\bsrc=\"/static/)", text), path
        assert not re.search(r"\s(on\w+|style)=\"", text), path
        assert "://" not in text, path
        assert "hx-on" not in text, path
        assert "js:" not in text, path
    style = (folder / "static" / "style.css").read_text(encoding="utf-8")
    assert "url(" not in style
    assert "@import" not in style


def test_the_vendored_script_is_the_one_that_is_named() -> None:
    folder = Path(__file__).parents[2] / "diag" / "web" / "static"
    digest = hashlib.sha256((folder / "htmx.min.js").read_bytes()).hexdigest()
    assert digest in (folder / "vendored.txt").read_text(encoding="utf-8")


def test_a_form_of_before_a_restart_may_be_sent_again_after_a_look(tmp_path: Path) -> None:
    """The server knows neither session nor token any more: nothing is written, and what was typed is not lost."""
    with served(tmp_path) as browser:
        data = {"token": "of before", "title": "Tern van", "engine": "ostrel_4"}
        stale = browser.client.post("/cases/new", data=data)
        assert stale.status_code == 403
        assert 'name="title" value="Tern van"' in stale.text
        assert "Tern van" not in browser.client.get("/").text
        token = re.search(r'name="token" value="([^"]+)"', stale.text)
        assert token is not None
        again = browser.client.post("/cases/new", data={**data, "token": token.group(1)}, follow_redirects=True)
        assert "<h1>Tern van</h1>" in again.text


def test_the_cookie_is_for_this_site_and_not_for_scripts(tmp_path: Path) -> None:
    with served(tmp_path) as browser:
        line = browser.client.get("/").headers["set-cookie"]
        assert "HttpOnly" in line
        assert "SameSite=Strict" in line
        assert "Secure" not in line
        assert "set-cookie" not in browser.client.get("/").headers


def test_over_https_the_cookie_is_secure_and_the_origin_is_https(tmp_path: Path) -> None:
    with served(tmp_path, Settings(certificate=Path("made_up.pem"))) as browser:
        answer = browser.client.get("/")
        assert "Secure" in answer.headers["set-cookie"]
        assert answer.headers["strict-transport-security"]


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_methods_that_nothing_uses_are_refused(browser: Browser, method: str) -> None:
    assert browser.client.request(method, "/").status_code == 405


def test_too_much_is_refused_before_it_is_read(browser: Browser) -> None:
    token = browser.token()
    answer = browser.client.post("/cases/new", data={"token": token, "title": "x" * 400_000, "engine": "ostrel_4"})
    assert answer.status_code == 413
    lying = browser.client.post("/cases/new", content=b"token=x", headers={"content-length": "99999999999"})
    assert lying.status_code == 413


def test_a_body_without_a_length_is_counted_while_it_comes(browser: Browser) -> None:
    def endless() -> object:
        for _ in range(50):
            yield b"title=" + b"x" * 20_000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = browser.client.post("/cases/new", content=endless(), headers=headers)  # type: ignore[arg-type]
    assert answer.status_code == 413


@pytest.mark.parametrize("kind", ["application/json", "text/plain", "application/xml", ""])
def test_a_form_of_another_kind_is_not_read(browser: Browser, kind: str) -> None:
    answer = browser.client.post("/cases/new", content=b"token=x", headers={"content-type": kind})
    assert answer.status_code == 415


@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x"])
def test_the_interface_writes_from_json_alone(browser: Browser, kind: str) -> None:
    """A page of another site can send these kinds without asking first (CORS); JSON it cannot."""
    answer = browser.client.post("/api/cases", content=b'{"title": "x"}', headers={"content-type": kind})
    assert answer.status_code == 415


def test_asking_without_a_pause_is_slowed_down(tmp_path: Path) -> None:
    with served(tmp_path, Settings(pages_per_second=1.0, pages_at_once=5)) as browser:
        statuses = [browser.client.get("/").status_code for _ in range(12)]
        assert statuses[0] == 200
        refused = browser.client.get("/")
        assert refused.status_code == 429
        assert int(refused.headers["retry-after"]) >= 1
        assert "too short a time" in refused.text


def test_a_limit_fills_again_with_time() -> None:
    """A bucket of two that fills by one in two seconds."""
    now = [0.0]
    limit = Limit(0.5, 2, lambda: now[0])
    assert [limit.take("a") for _ in range(2)] == [0.0, 0.0]
    assert limit.take("a") == pytest.approx(2.0)
    assert limit.take("b") == 0.0
    now[0] = 2.0
    assert limit.take("a") == 0.0
    assert limit.take("a") > 0.0


HOSTILE = (
    "' OR 1=1 --",
    "<script>alert(1)</script>",
    "{{7*7}}${7*7}",
    "../../etc/passwd",
    "\u202e\u0000\ufffd",
    "a" * 3000,
    "engine: !!python/object/apply:os.system ['true']",
    "\r\nset-cookie: x=y",
    "'\n- x: [",
    "%s%n%x",
)


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_is_refused_or_kept_as_text(browser: Browser, text: str) -> None:
    """In every field that takes text: no fault, nothing of the inside, nothing run, nothing unescaped."""
    number = browser.demo("one_blown_seal")
    on = browser.revision(number)
    sent = [
        ("/cases/new", {"title": text, "engine": text, "distance": text, "age": text}),
        ("/cases/new", {"title": text, "engine": "ostrel_4"}),
        ("/cases/demo", {"demo": text}),
        ("/name", {"by": text}),
        ("/look", {"look": text, "here": text}),
        (f"/case/{number}/tell", {"on": on, "item": text, "place": text, "under": text, "answer": text}),
        (f"/case/{number}/tell", {"on": text, "item": "tar", "place": "2", "under": "", "answer": "present"}),
        (f"/case/{number}/measure", {"on": on, "item": "correction", "place": "2", "value": text, "unit": text}),
        (f"/case/{number}/codes", {"on": on, "codes": text}),
        (f"/case/{number}/tried", {"on": on, "repair": text, "place": text}),
        (f"/case/{number}/cannot", {"on": on, "check": text}),
        (f"/case/{number}/log/take", {"on": on, "reading": text}),
        ("/classroom/take-over", {"code": text}),
        ("/classroom/go-on", {"class": text, "code": text}),
        ("/classroom/join", {"name": text}),
        (f"/case/{number}/check/look_into_wells/A", {"on": on, "tar:2:": text}),
    ]
    for path, fields in sent:
        answer = browser.send(path, **fields)
        assert answer.status_code < 500, (path, answer.text)
        assert plain(answer), (path, answer.text)
        assert "<script>alert" not in answer.text
        assert "set-cookie: x" not in str(answer.headers)
    asked = [("/case/{n}/why", {"fault": text, "rival": text}), ("/case/{n}/option", {"what": text})]
    asked += [("/case/{n}/options", {"customer.horizon_months": text}), ("/", {"said": text})]
    asked += [("/case/{n}/estimate", {"what": text, "language": text}), ("/case/{n}/sheet", {"language": text})]
    asked += [("/classroom/debrief.pdf", {"case": text}), ("/classroom/class.csv", {"said": text})]
    asked += [("/api/cases", {"words": text, "engine": text, "state": text, "most": text})]
    for path, query in asked:
        answer = browser.client.get(path.format(n=number), params=query)
        assert answer.status_code < 500, (path, answer.text)
        assert plain(answer), (path, answer.text)


@pytest.mark.parametrize("number", ["0", "-1", "1e3", "999999999999999999999", "1;2", "١", "0x1", "NaN", "null"])
def test_a_case_number_that_is_none_finds_nothing(browser: Browser, number: str) -> None:
    for path in ("", "/next", "/options", "/why", "/log", "/tried", "/live", "/at/2"):
        answer = browser.client.get(f"/case/{number}{path}")
        assert 400 <= answer.status_code < 500
        assert plain(answer)


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e309", "-1", "1e9", "", "x", "0x10"])
def test_a_slider_takes_numbers_of_its_range_alone(browser: Browser, value: str) -> None:
    number = browser.demo("one_blown_seal")
    answer = browser.client.get(f"/case/{number}/options", params={"customer.horizon_months": value})
    assert answer.status_code == (200 if value == "" else 422)


def test_a_fault_of_the_program_is_told_in_words(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page says whose fault it is; the trace goes to the terminal alone."""
    from diag.web import routes_cases

    def broken(*_: object) -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr(routes_cases, "find_cases", broken)
    answer = browser.client.get("/")
    assert answer.status_code == 500
    assert "a fault of diag itself" in answer.text
    assert "secret inside" not in answer.text
    assert plain(answer)
    assert answer.headers["content-security-policy"]
