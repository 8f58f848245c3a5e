"""`diag serve` in a real process: one command opens the browser, at an address that shows a screen one can use.

How long it takes is told by `python -m tests.benchmarks.start`; no time is asserted here.
"""

from __future__ import annotations

import asyncio
import re
import socket
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from diag.casebook import demo_cases
from diag.knowledge_base import load_knowledge
from diag.web.serving import _listen
from diag.web.settings import Settings
from tests.web.served import opened_at, server, stand_in_browser

ON_THE_NETWORK = ("--network", "--address", "127.0.0.1")


@pytest.mark.parametrize("options", [(), ON_THE_NETWORK], ids=["this machine alone", "on the network"])
def test_one_command_opens_the_browser_on_a_screen_one_can_use(tmp_path: Path, options: tuple[str, ...]) -> None:
    """The address is opened once; it needs no code, also where others need one; there one can begin a case at once, by
    its form or from every invented case, with the sheet and the script of the page there too."""
    program, noted = stand_in_browser(tmp_path)
    with server(tmp_path, *options, browser=program) as running:
        address = opened_at(noted)
        assert address.startswith(running.address)
        with httpx.Client(follow_redirects=True, timeout=60) as client:
            answer = client.get(address)
            assert answer.status_code == 200
            assert "<h1>Cases</h1>" in answer.text
            needed = re.findall(r'(?:href|src)="(/static/[^"]+)"', answer.text)
            assert any(each.endswith(".css") for each in needed) and any(each.endswith(".js") for each in needed)
            assert {client.get(f"{running.address}{each}").status_code for each in needed} == {200}
            engines = set(re.findall(r'<option value="([^"]+)"', answer.text))
            assert set(load_knowledge().engines) <= engines
            demos = re.findall(r'name="demo" value="([^"]+)"', answer.text)
            assert sorted(demos) == sorted(demo_cases())
            token = re.search(r'name="token" value="([^"]+)"', answer.text).group(1)  # type: ignore[union-attr]
            begun = client.post(f"{running.address}/cases/demo", data={"token": token, "demo": demos[0]})
            assert begun.status_code == 200
            assert re.search(r"/case/1\b", str(begun.url))
        opened = noted.read_text().splitlines()
    assert len(opened) == 1


def test_without_a_browser_none_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program, noted = stand_in_browser(tmp_path)
    monkeypatch.setenv("BROWSER", str(program))
    with server(tmp_path) as running:
        assert httpx.get(f"{running.address}/").status_code == 200
    assert not noted.exists()


def test_a_browser_that_cannot_be_started_stops_nothing(tmp_path: Path) -> None:
    """The address stands in the terminal, too."""
    with server(tmp_path, browser=tmp_path / "no such program") as running:
        assert "<h1>Cases</h1>" in httpx.get(f"{running.address}/").text


def test_an_answer_is_sent_as_soon_as_it_is_written() -> None:
    """Of an answer in two small packets the second would wait until the first is acknowledged (Nagle: RFC 896), which
    who reads puts off (RFC 1122, 4.2.3.2): some 40 ms a page. asyncio turns that off (TCP_NODELAY) where it is told
    that the connections are TCP."""

    async def at_once() -> bool:
        with _listen(Settings(port=0)) as listening:
            port, found = listening.getsockname()[1], asyncio.get_running_loop().create_future()

            def connected(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
                known = writer.get_extra_info("socket")
                found.set_result(bool(known.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)))
                writer.close()

            served = await asyncio.start_server(connected, sock=listening)
            async with served:
                _, writer = await asyncio.open_connection("127.0.0.1", port)
                told = await asyncio.wait_for(found, 30)
                writer.close()
                return bool(told)

    with ThreadPoolExecutor(1) as thread:  # another test's browser may have a loop of its own in this one
        assert thread.submit(lambda: asyncio.run(at_once())).result()
