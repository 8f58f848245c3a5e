"""Chromium of the machine, run without any network; tests that need it are skipped where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, sync_playwright

from tests.browser.looking import WIDTHS
from tests.web.served import Server, server

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The browser, started once."""
    path = next((found for name in NAMES if (found := shutil.which(name))), None)
    if path is None:
        pytest.skip(f"no Chromium on this machine (looked for {', '.join(NAMES)})")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def context(chromium: Browser) -> Iterator[BrowserContext]:
    """A fresh profile, cut off from every network; whatever asks for one is noted and fails the test."""
    made = chromium.new_context(offline=True)
    asked: list[str] = []
    made.on("request", lambda request: asked.append(request.url))
    yield made
    made.close()
    assert [url for url in asked if not url.startswith(("about:", "data:"))] == []


@dataclass
class House:
    """A real server of the page, and browsers that reach it and nothing else."""

    server: Server
    chromium: Browser
    outside: list[str] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    open: list[BrowserContext] = field(default_factory=list)

    def visitor(self, width: int = 1440, scheme: Literal["light", "dark"] = "light") -> Page:
        """A new browser at the first page; what it asks for elsewhere, and what its console complains of, is noted."""
        made = self.chromium.new_context(
            base_url=self.server.address, viewport={"width": width, "height": WIDTHS[width]}, color_scheme=scheme
        )
        self.open.append(made)
        made.route("**/*", self._here_only)
        made.set_default_timeout(60_000)
        page = made.new_page()
        page.on("console", lambda message: self._complaint(message.type, message.text))
        page.on("pageerror", lambda error: self.troubles.append(str(error)))
        page.goto("/")
        return page

    def _here_only(self, route: Route) -> None:
        if route.request.url.startswith(self.server.address):
            route.continue_()
        else:
            self.outside.append(route.request.url)
            route.abort()

    def _complaint(self, kind: str, text: str) -> None:
        if kind == "error" and "the server responded with a status of 4" not in text:
            self.troubles.append(text)

    def close(self) -> None:
        """Close the browsers of a test, and see that nothing was asked for outside and nothing was complained of."""
        for each in self.open:
            each.close()
        outside, troubles = list(self.outside), list(self.troubles)
        for kept in (self.open, self.outside, self.troubles):
            kept.clear()
        assert outside == []
        assert troubles == []


@pytest.fixture(scope="module")
def serving(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """`diag serve` with an empty book, in a process of its own."""
    with server(tmp_path_factory.mktemp("book")) as running:
        yield running


@pytest.fixture
def house(serving: Server, chromium: Browser) -> Iterator[House]:
    """The server with browsers."""
    made = House(serving, chromium)
    yield made
    made.close()


@pytest.fixture
def tab(context: BrowserContext) -> Page:
    """An empty page in it."""
    return context.new_page()
