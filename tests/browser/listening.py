"""What a screen reader is given: the accessibility tree of a screen, walked line by line.

A stand-in for one: Chromium hands the same tree to the screen readers of a machine.
"""

from __future__ import annotations

import re
from itertools import pairwise

from playwright.sync_api import Page

__all__ = ["OPENED", "heading_gaps", "live_regions", "nameless", "spoken"]

OPENED = "() => document.querySelectorAll('details').forEach(each => { each.open = true; })"
CONTROLS = frozenset(
    ("button", "link", "textbox", "combobox", "checkbox", "radio", "slider", "spinbutton", "searchbox", "switch")
)
NAMED = frozenset(("img", "radiogroup", "navigation", "region"))
LINE = re.compile(r"^\s*- (?:')?([a-z]+)((?: \"(?:[^\"\\]|\\.)*\"| /.*/)?)(.*)$")
LEVEL = re.compile(r"\[level=(\d)\]")


def spoken(page: Page) -> list[tuple[str, str, str]]:
    """Role, name and the rest of each line of the tree, in the order in which it is read."""
    found = []
    for line in page.locator("body").aria_snapshot().splitlines():
        met = LINE.match(line)
        if met is not None:
            role, name, rest = met.groups()
            found.append((role, name.strip().strip('"/').strip(), rest))
    return found


def nameless(page: Page) -> list[str]:
    """Controls, pictures and landmarks that have no name."""
    return [role + rest for role, name, rest in spoken(page) if role in CONTROLS | NAMED and not name]


def heading_gaps(page: Page) -> list[str]:
    """Where headings do not descend step by step; the first is of level 1, and there is one of these."""
    levels = []
    for role, name, rest in spoken(page):
        level = LEVEL.search(rest)
        if role == "heading" and level is not None:
            levels.append((int(level.group(1)), name))
    if not levels or levels[0][0] != 1:
        return [f"does not begin with one of level 1: {levels[:2]}"]
    gaps = [f"{now}: '{name}' after {before}" for (before, _), (now, name) in pairwise(levels) if now > before + 1]
    return gaps + [f"another of level 1: '{name}'" for level, name in levels[1:] if level == 1]


def live_regions(page: Page) -> list[str]:
    """The ids of what is read out by itself when it changes, in a polite voice."""
    found: list[str] = page.evaluate(
        "() => [...document.querySelectorAll('[aria-live=polite], [role=status]')].map(each => each.id)"
    )
    return found
