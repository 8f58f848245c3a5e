"""Chromium of the machine, run without any network; tests that need it are skipped where there is none."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
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


@pytest.fixture
def tab(context: BrowserContext) -> Page:
    """An empty page in it."""
    return context.new_page()
