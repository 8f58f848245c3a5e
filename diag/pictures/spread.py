"""Options with their spread: for each a line from the low to the high end with a mark between, numbers written beside.

May import: colours, drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.pictures.colours import ACCENT, INK, LINE, MUTED
from diag.pictures.drawing import Svg, number, text_width, wrapped

__all__ = ["OptionSpread", "SpreadLine", "spread_picture"]

WIDTH, MARGIN, SIZE, SMALL, ROW = 620.0, 10.0, 15.0, 13.5, 44.0


@dataclass(frozen=True)
class SpreadLine:
    """An option: low, middle and high value with their words; `best` is drawn stronger and says `mark`."""

    label: str
    low: float
    middle: float
    high: float
    words: str
    best: bool = False


@dataclass(frozen=True)
class OptionSpread:
    """The options, in order from the top; `axis` says what is measured, in its unit; `mark` stands before the best."""

    title: str
    description: str
    lines: tuple[SpreadLine, ...]
    axis: str
    mark: str = ""
    name: str = "option-spread"


def spread_picture(options: OptionSpread) -> str:
    """The picture as SVG. Raises ValueError where an end lies beyond the middle."""
    for each in options.lines:
        if not each.low <= each.middle <= each.high:
            raise ValueError(
                f"'{each.label}': {number(each.low)}, {number(each.middle)}, {number(each.high)} do not rise"
            )
    most = max((each.high for each in options.lines), default=1.0) or 1.0
    labels = [wrapped(_label(options, each), SIZE, WIDTH - 2 * MARGIN) for each in options.lines]
    words = [wrapped(each.words, SMALL, WIDTH - 2 * MARGIN) for each in options.lines]
    heights = [ROW + 18 * (len(label) - 1) + 16 * len(text) for label, text in zip(labels, words, strict=True)]
    height = sum(heights) + 34
    svg = Svg(options.name, WIDTH, height, options.title, options.description)
    top = 0.0
    for each, label, text, high in zip(options.lines, labels, words, heights, strict=True):
        _line(svg, each, label, text, top, most)
        top += high
    svg.line([(MARGIN, top + 8), (WIDTH - MARGIN, top + 8)], LINE)
    svg.text(MARGIN, top + 25, "0", SMALL, fill=MUTED)
    end = wrapped(options.axis, SMALL, WIDTH - 2 * MARGIN - text_width("0", SMALL) - 10)
    svg.text(WIDTH - MARGIN, top + 25, end[0] if end else "", SMALL, "end", MUTED)
    return svg.finished()


def _label(options: OptionSpread, each: SpreadLine) -> str:
    return f"{options.mark}: {each.label}" if each.best and options.mark else each.label


def _line(svg: Svg, each: SpreadLine, label: tuple[str, ...], words: tuple[str, ...], top: float, most: float) -> None:
    for index, text in enumerate(label):
        svg.text(MARGIN, top + 19 + 18 * index, text, SIZE, bold=each.best)
    at = top + 18 * len(label) + 15
    low, middle, high = (MARGIN + value / most * (WIDTH - 2 * MARGIN) for value in (each.low, each.middle, each.high))
    svg.line([(low, at), (high, at)], ACCENT, 6 if each.best else 3)
    for end in (low, high):
        svg.line([(end, at - 6), (end, at + 6)], INK)
    svg.circle(middle, at, 5.5 if each.best else 4.5)
    for index, text in enumerate(words):
        svg.text(MARGIN, at + 22 + 16 * index, text, SMALL, fill=MUTED)
