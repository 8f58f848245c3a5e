"""What a browser shows, measured: axe's rules, words that are cut or overlap, how large and how clear letters are."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from playwright.sync_api import Page

from tests.browser.listening import heading_gaps, nameless
from tests.support.effort import LONG

__all__ = ["NARROWEST", "PATIENT", "WIDTHS", "fine", "shown_badly", "small_targets", "smallest_text", "violations"]

WIDTHS = {390: 844, 820: 1180, 1440: 900}
"""Widths and heights of a telephone, a tablet and a desk, in CSS pixels."""
NARROWEST = tuple(WIDTHS) if LONG else (390,)
"""For what is told again at every width: the quick tier takes the one at which most had gone wrong."""

PATIENT = 60_000.0  # milliseconds: a machine that others use too takes its time
AXE = Path(__file__).parent / "axe" / "axe.min.js"

# Each piece of text with the lines it stands in, and each box for input or picture; what is clipped or scrolled to lies
# within its scrolling ancestor, so only the part that is seen counts.
SEEN = """() => {
  const found = [], cut = [], page = document.documentElement;
  const away = head => head && getComputedStyle(head).position === 'absolute';  // rows say their heads themselves
  const shown = element => element.checkVisibility({checkOpacity: true, checkVisibilityCSS: true})
    && !element.closest('.unseen, .skip') && !away(element.closest('.stack thead'));
  const add = (rect, words, element) => {
    if (rect.width < 1 || rect.height < 1) return;
    let scrolled = false;
    for (let up = element; up && up !== document.body; up = up.parentElement)
      if (/auto|scroll/.test(getComputedStyle(up).overflowX + getComputedStyle(up).overflowY)) scrolled = true;
    const style = getComputedStyle(element);
    found.push({left: rect.left + scrollX, top: rect.top + scrollY, right: rect.right + scrollX,
      bottom: rect.bottom + scrollY, words, scrolled, inside: !!element.closest('svg'),
      size: parseFloat(style.fontSize)});
  };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const element = node.parentElement, words = node.textContent.trim();
    if (!words || !element || /^(STYLE|SCRIPT|TITLE|DESC|OPTION|TEMPLATE)$/i.test(element.tagName)) continue;
    if (!shown(element)) continue;
    if (element.ownerSVGElement) {
      const [box, frame] = [element, element.ownerSVGElement].map(each => each.getBoundingClientRect());
      if (box.left < frame.left || box.right > frame.right || box.top < frame.top || box.bottom > frame.bottom + 2)
        cut.push(words);
      add(box, words, element);
      continue;
    }
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const rect of range.getClientRects()) add(rect, words, element);
  }
  for (const box of document.querySelectorAll('input, select, textarea, svg, .box'))
    if (shown(box) && !/hidden/.test(box.type || ''))
      add(box.getBoundingClientRect(), `<${(box.tagName !== 'svg' && box.getAttribute('aria-label')) || box.tagName}>`,
        box);
  for (const element of document.querySelectorAll('body *')) {
    const style = getComputedStyle(element);
    if (!shown(element) || element.closest('svg')) continue;
    if (/hidden|clip/.test(style.overflowX + style.overflowY) && element.textContent.trim()
        && (element.scrollWidth > element.clientWidth + 1 || element.scrollHeight > element.clientHeight + 1))
      cut.push(element.textContent.trim().slice(0, 60));
  }
  return {found, cut, wide: page.scrollWidth, room: page.clientWidth};
}"""


@cache
def _axe() -> str:
    return AXE.read_text(encoding="utf-8")


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong by the rules of WCAG 2.2 A and AA and its own best practices."""
    page.evaluate(_axe())
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{rule['id']}: {rule['help']}: {node['html'][:160]}" for rule in found["violations"] for node in rule["nodes"]
    ]


def shown_badly(page: Page, share: float = 0.25) -> list[str]:
    """Words that stick out of the page or of their box, and pairs of which more than `share` of the smaller is covered.

    The boxes of lines are a little higher than their letters, so a quarter of a line may lie under its neighbour.
    """
    seen = page.evaluate(SEEN)
    bad = [f"cut off: {words}" for words in seen["cut"]]
    if seen["wide"] > seen["room"]:
        bad.append(f"the page is {seen['wide']} wide in {seen['room']}")
    things = seen["found"]
    bad += [
        f"sticks out: {thing['words'][:60]}"
        for thing in things
        if not thing["scrolled"] and (thing["left"] < -1 or thing["right"] > seen["room"] + 1 or thing["top"] < -1)
    ]
    things.sort(key=lambda thing: thing["top"])
    for index, one in enumerate(things):
        for other in things[index + 1 :]:
            if other["top"] >= one["bottom"]:
                break
            if _covered(one, other) > share and "<svg>" not in (one["words"], other["words"]):
                bad.append(f"'{one['words'][:60]}' overlaps '{other['words'][:60]}'")
    return bad


def _covered(one: dict[str, float], other: dict[str, float]) -> float:
    wide = min(one["right"], other["right"]) - max(one["left"], other["left"])
    high = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
    if wide <= 0 or high <= 0:
        return 0.0
    areas = [(box["right"] - box["left"]) * (box["bottom"] - box["top"]) for box in (one, other)]
    return wide * high / min(areas)


def small_targets(page: Page, least: float = 48.0) -> list[str]:
    """What is touched and is smaller than that; where a label belongs to a box, the label is touched."""
    found: list[str] = page.evaluate(
        """least => [...document.querySelectorAll('a[href], button, summary, select, textarea, input')].filter(each => {
          if (!each.checkVisibility({checkOpacity: true, checkVisibilityCSS: true}) || each.type === 'hidden')
            return false;
          if (each.matches('.skip, .unseen') || each.closest('.unseen')) return false;
          const touched = each.closest('label') || each, box = touched.getBoundingClientRect();
          return box.width < least - .5 || box.height < least - .5;
        }).map(each => each.tagName + ' ' + (each.textContent.trim() || each.name).slice(0, 50) + ' '
          + each.getBoundingClientRect().width.toFixed(0) + 'x' + each.getBoundingClientRect().height.toFixed(0))""",
        least,
    )
    return found


def smallest_text(page: Page) -> float:
    """Size of the smallest text outside pictures, in CSS pixels."""
    return min(thing["size"] for thing in page.evaluate(SEEN)["found"] if not thing["inside"])


def fine(page: Page, *widths: int) -> None:
    """A screen as it should be: axe's rules hold, a screen reader is given names and a ladder of headings, nothing is
    cut or covered, and gloves meet every target; the last two at other `widths`, too."""
    page.wait_for_load_state()
    page.wait_for_function("() => !document.querySelector('#screen [aria-busy=true]')", timeout=PATIENT)
    where, size = page.url, page.viewport_size
    assert violations(page) == [], where
    assert [*nameless(page), *heading_gaps(page)] == [], where
    for width in (None, *widths):
        if width is not None:
            page.set_viewport_size({"width": width, "height": WIDTHS[width]})
        assert shown_badly(page) == [], (where, width)
        assert small_targets(page) == [], (where, width)
    if widths and size is not None:
        page.set_viewport_size(size)
