"""The page in this process for quick tests, and as a real server process where a process matters.

May import: `diag`, httpx, starlette's test client.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Event
from unittest.mock import patch

import httpx
from starlette.testclient import TestClient

from diag.casebook import Case, load_case
from diag.knowledge_base import load_knowledge
from diag.network import Weighed
from diag.store import Draft, keep, open_book, opening
from diag.web.app import make_app
from diag.web.reckoning import Desk
from diag.web.settings import Settings
from diag.web.shop import Shop

__all__ = [
    "HOST",
    "NEVER",
    "ROOT",
    "Browser",
    "Server",
    "browser_at",
    "held_up",
    "kept_at",
    "opened_at",
    "served",
    "server",
    "stand_in_browser",
]

HOST = "127.0.0.1:8757"
NEVER = "basis: {source: learned, strength: 40}\nfindings: {fumes: {chance: {none: 0, some: 0}}}\n"
"""An overlay under which a smell of exhaust cannot be."""
ROOT = Path(__file__).parents[2]
BOOK = "book.sqlite3"
UNHURRIED = Settings(pages_per_second=1e6, pages_at_once=1_000_000)  # a quick machine asks oftener than a person


@dataclass(frozen=True)
class Browser:
    """A client that sends forms as the page does: with its token and the revision that it shows."""

    client: httpx.Client

    def token(self) -> str:
        """The token of its forms."""
        found = re.search(r'name="token" value="([^"]+)"', self.client.get("/").text)
        assert found is not None
        return found.group(1)

    def send(self, path: str, **fields: str | int | list[str]) -> httpx.Response:
        """Send a form, and follow to the page that answers."""
        return self.client.post(path, data={"token": self.token(), **fields}, follow_redirects=True)

    def demo(self, name: str) -> int:
        """Take an invented case into the book; its number."""
        answer = self.send("/cases/demo", demo=name)
        assert answer.status_code == 200, answer.text
        return int(re.search(r"/case/(\d+)", str(answer.url)).group(1))  # type: ignore[union-attr]

    def revision(self, number: int) -> int:
        """The revision at which a case stands, from a page of it that needs nothing worked out."""
        found = re.search(r'data-revision="(\d+)"', self.client.get(f"/case/{number}/tried").text)
        assert found is not None
        return int(found.group(1))


@contextmanager
def served(
    folder: Path, settings: Settings | None = None, in_time: bool = True, told: list[str] | None = None
) -> Iterator[Browser]:
    """The page in this process, with a book in `folder`; no worker processes. `in_time`: it waits for what it shows.
    `told`: takes the lines that it tells whoever started it."""
    wait_s = 300.0 if in_time else 0.0
    plain = replace(settings or UNHURRIED, book=str(folder / BOOK), workers=0)
    wanted = replace(plain, entry_wait_s=wait_s, page_wait_s=wait_s)
    with open_book(wanted.book) as book:
        shop = Shop.of(
            wanted, load_knowledge(wanted.knowledge, wanted.overlays), book, (told if told is not None else []).append
        )
        try:
            app = make_app(shop, frozenset({HOST}))
            with TestClient(app, base_url=f"http://{HOST}", raise_server_exceptions=False) as client:
                yield Browser(client)
        finally:
            shop.close()


def kept_at(folder: Path, path: Path) -> int:
    """Keep the case of a file in the book of the page in `folder`, as the command line does beside it; its number."""
    knowledge = load_knowledge()
    with open_book(str(folder / BOOK)) as book:
        return keep(book, opening(Draft.of(load_case(path, knowledge), knowledge))).number


@contextmanager
def held_up() -> Iterator[None]:
    """Nothing is weighed meanwhile: what is worked out is not there, however quick this machine is."""
    gate, weighed = Event(), Desk.weighed

    def after_the_gate(desk: Desk, key: str, case: Case) -> Weighed:
        gate.wait(300.0)
        return weighed(desk, key, case)

    with patch.object(Desk, "weighed", after_the_gate):
        try:
            yield
        finally:
            gate.set()


@dataclass
class Server:
    """A real `diag serve` in a process of its own."""

    process: subprocess.Popen[str]
    address: str
    lines: list[str]

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait(10)


@contextmanager
def server(folder: Path, *options: str, browser: Path | None = None) -> Iterator[Server]:
    """Start `diag serve` on a free port; ended at the end, with its workers. `browser`: the program that it opens as
    the browser (see `stand_in_browser`); none: it opens none."""
    command = [sys.executable, "-m", "diag", "serve", *([] if browser else ["--no-browser"]), "--port", "0", *options]
    environment = {**os.environ, "DIAG_BOOK": str(folder / BOOK), "OPENBLAS_NUM_THREADS": "1"}
    environment |= {"BROWSER": str(browser)} if browser is not None else {}
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment, cwd=ROOT) as process:
        lines: list[str] = []
        begun = threading.Event()
        listening = threading.Thread(target=_listen, args=(process, lines, begun))
        listening.start()
        try:
            assert begun.wait(60), lines
            found = re.search(r"served at (https?://\S+?)/ ", "".join(lines))
            assert found, f"the server ended: {lines}"
            running = Server(process, found.group(1), lines)
            _ready(running)
            yield running
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGINT)
                process.wait(15)
            listening.join()


def _listen(process: subprocess.Popen[str], lines: list[str], begun: threading.Event) -> None:
    """Take what it tells as it comes, so that it never waits for a reader."""
    assert process.stderr is not None
    for line in process.stderr:
        lines.append(line)
        if " served at " in line:
            begun.set()
    begun.set()


def _ready(running: Server) -> None:
    until = time.monotonic() + 20
    while time.monotonic() < until:
        try:
            httpx.get(f"{running.address}/static/style.css", verify=False)
            return
        except httpx.TransportError:
            time.sleep(0.05)
    raise AssertionError("the server does not answer")


def stand_in_browser(folder: Path) -> tuple[Path, Path]:
    """A program that stands in for the browser, and the file in which it writes each address that it is opened at
    (`BROWSER` of Python's `webbrowser`)."""
    program, noted = folder / "browser", folder / "opened"
    program.write_text(f"#!{sys.executable}\nimport sys\nopen({str(noted)!r}, 'a').write(sys.argv[1] + '\\n')\n")
    program.chmod(0o700)
    return program, noted


def opened_at(noted: Path, wait_s: float = 60.0) -> str:
    """The one address at which the stand-in was opened, once it was."""
    until = time.monotonic() + wait_s
    while time.monotonic() < until:
        if noted.exists() and noted.read_text().endswith("\n"):
            (address,) = noted.read_text().splitlines()
            return address
        time.sleep(0.005)
    raise AssertionError("no browser was opened")


@contextmanager
def browser_at(address: str) -> Iterator[Browser]:
    """A browser's session with a real server."""
    with httpx.Client(base_url=address, timeout=30) as client:
        yield Browser(client)
