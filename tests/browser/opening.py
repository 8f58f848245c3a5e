"""Opening a demo case in a browser. May import: playwright."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

__all__ = ["begun"]


def begun(page: Page, title: str = "Skerry van chuffs when cold") -> str:
    """Begin the demo case of that title, or start of one, from the first page; the address of the case."""
    page.get_by_role("button", name=re.compile(re.escape(title))).click()
    expect(page.locator("#case")).to_be_attached()
    return re.sub(r"\?.*", "", page.url)
