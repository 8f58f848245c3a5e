"""A person without a mouse: Tab, Shift+Tab, Enter, Space, arrows, letters; whether the focus is seen at each step."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from playwright.sync_api import Page

__all__ = ["Hands"]

MOST_STEPS = 220
FOCUSED = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return {name: '', seen: true, tag: 'BODY'};
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  const wall = e.querySelector && e.querySelector('.wall');
  const drawn = wall && parseFloat(getComputedStyle(wall).strokeWidth) >= 5;
  const label = e.labels && e.labels.length ? [...e.labels].map(l => l.textContent).join(' ') : '';
  const name = (e.getAttribute('aria-label') || label || e.textContent || e.name || '').replace(/\\s+/g, ' ').trim();
  const outlined = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  return {name, tag: e.tagName, seen: (outlined || !!drawn) && (inside || box.width === 0)};
}"""
LEADS_ON = """() => {
  const e = document.activeElement, form = e.form || (e.closest && e.closest('form'));
  const sends = !!form && e.tagName !== 'SUMMARY' && e.type !== 'button' && !form.hasAttribute('hx-post');
  return e.tagName.toLowerCase() === 'a' || sends;
}"""
"""Whether Enter here leads to another page; a form that is sent by script changes this one."""
ALL_THERE = "() => !document.querySelector('#screen [aria-busy=true]')"
"""Whether nothing of the page is still being worked out."""


@dataclass
class Hands:
    """Two hands on a keyboard at a page. `unseen`: what had the focus and did not show it."""

    page: Page
    unseen: list[str] = field(default_factory=list)

    def to(self, name: str, tag: str = "", back: bool = False) -> None:
        """Tab until what is called so has the focus; `tag` narrows it (`A`, `BUTTON`, `INPUT`, ...)."""
        wanted, passed = re.compile(name), []
        for _ in range(MOST_STEPS):
            self.page.keyboard.press("Shift+Tab" if back else "Tab")
            at = self.page.evaluate(FOCUSED)
            if not at["seen"]:
                self.unseen.append(f"{self.page.url}: {at['tag']} {at['name'][:60]}")
            if wanted.search(at["name"]) and tag in ("", at["tag"]):
                return
            passed.append(at["name"][:40])
        raise AssertionError(f"no '{name}' is reached by Tab on {self.page.url}; passed: {passed[-60:]}")

    def press(self, *keys: str) -> None:
        """Press keys, one after the other."""
        for key in keys:
            self.page.keyboard.press(key)

    def open(self, name: str, tag: str = "A") -> None:
        """Go to a link or button, press Enter, and wait for what comes of it."""
        self.to(name, tag)
        self.send()
        self.page.wait_for_function(ALL_THERE, timeout=60_000)

    def send(self) -> None:
        """Press Enter where the focus is; where that leads to another page, wait for it."""
        if self.page.evaluate(LEADS_ON):
            with self.page.expect_navigation():
                self.page.keyboard.press("Enter")
        else:
            self.page.keyboard.press("Enter")

    def write(self, name: str, text: str) -> None:
        """Go to a field and write."""
        self.to(name)
        self.page.keyboard.type(text)
