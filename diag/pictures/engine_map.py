"""The engine from above: one column for each bank, one field for each cylinder.

How likely something is wrong there is said in words and by the length of a bar; what stands out has a thick frame.
May import: colours, drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.pictures.colours import ACCENT, INK, LINE, MUTED
from diag.pictures.drawing import Svg, text_width, wrapped

__all__ = ["EngineMap", "MapBank", "MapCylinder", "engine_map"]

FIELD, GAP, MARGIN, NUMBER = 220.0, 24.0, 4.0, 30.0
SIZE, SMALL, LARGE, LINE_HIGH = 15.0, 13.5, 24.0, 15.5


@dataclass(frozen=True)
class MapCylinder:
    """A cylinder: its number, what is said below, how full its bar is (0 to 1), whether it stands out, a side note
    such as its place in the firing order."""

    number: int
    words: str
    full: float
    stands_out: bool = False
    note: str = ""


@dataclass(frozen=True)
class MapBank:
    """A bank: what is written above it, its cylinders from the top, and what opens it (its access group), if told."""

    label: str
    cylinders: tuple[MapCylinder, ...]
    access: str = ""


@dataclass(frozen=True)
class EngineMap:
    """The engine: banks from left to right; `end` is written at the top end (such as 'front'), `caption` below."""

    title: str
    description: str
    banks: tuple[MapBank, ...]
    end: str = ""
    caption: str = ""
    name: str = "engine-map"


def engine_map(engine: EngineMap) -> str:
    """The picture as SVG."""
    columns = len(engine.banks)
    width = 2 * MARGIN + columns * FIELD + (columns - 1) * GAP
    labels = [wrapped(bank.label, SMALL, FIELD) for bank in engine.banks]
    accesses = [wrapped(bank.access, SMALL, FIELD - 16) for bank in engine.banks]
    caption = wrapped(engine.caption, SMALL, width - 2 * MARGIN)
    head = (22.0 if engine.end else 0.0) + 18.0 * max(len(lines) for lines in labels) + MARGIN
    rows = max(len(bank.cylinders) for bank in engine.banks)
    drawn = [cylinder for bank in engine.banks for cylinder in bank.cylinders]
    note = max((text_width(each.note, SMALL) + 8 for each in drawn if each.note), default=0.0)
    row_high = 19 + LINE_HIGH * max(2, *(len(_words(each)) for each in drawn)) + (3 if note else 0)
    under = 18.0 * max(len(lines) for lines in accesses) + (12.0 if any(accesses) else 0.0)
    height = head + rows * row_high + under + 18.0 * len(caption) + 2 * MARGIN
    svg = Svg(engine.name, width, height, engine.title, engine.description)
    if engine.end:
        _end(svg, engine.end, width / 2)
    for column, bank in enumerate(engine.banks):
        left = MARGIN + column * (FIELD + GAP)
        for index, line in enumerate(labels[column]):
            svg.text(left + FIELD / 2, head - 6 - 18 * (len(labels[column]) - 1 - index), line, SMALL, "middle", MUTED)
        for row, cylinder in enumerate(bank.cylinders):
            _cylinder(svg, left, head + row * row_high, row_high, note, cylinder)
        if accesses[column]:
            _access(svg, left, head + len(bank.cylinders) * row_high, accesses[column])
    for index, line in enumerate(caption):
        svg.text(MARGIN, height - MARGIN - 18 * (len(caption) - 1 - index) - 3, line, SMALL, fill=MUTED)
    return svg.finished()


def _end(svg: Svg, words: str, middle: float) -> None:
    """The name of the upper end, with a small arrow pointing there."""
    half = text_width(words, SMALL) / 2
    svg.text(middle, 17, words, SMALL, "middle", MUTED)
    for side in (middle - half - 12, middle + half + 12):
        svg.line([(side, 18), (side, 6)], MUTED)
        svg.line([(side - 4, 10), (side, 5), (side + 4, 10)], MUTED)


def _words(cylinder: MapCylinder) -> tuple[str, ...]:
    return wrapped(cylinder.words, SIZE, FIELD - NUMBER - 24)


def _cylinder(svg: Svg, left: float, top: float, high: float, note: float, cylinder: MapCylinder) -> None:
    """A field; `note` is the width that the side notes of all fields need beside the bar."""
    frame, line = (INK, 3.0) if cylinder.stands_out else (LINE, 1.2)
    svg.rect(left + 2, top + 2, FIELD - 4, high - 4, stroke=frame, line=line)
    svg.text(left + NUMBER / 2 + 5, top + high / 2 + 6, str(cylinder.number), LARGE, "middle", INK, bold=True)
    start, words = left + NUMBER + 14, _words(cylinder)
    first = top + (high - 12 - LINE_HIGH * len(words)) / 2 + 13.5
    for index, text in enumerate(words):
        svg.text(start, first + LINE_HIGH * index, text, SIZE, bold=cylinder.stands_out)
    if cylinder.note:
        svg.text(left + FIELD - 10, top + high - 7, cylinder.note, SMALL, "end", MUTED)
    bar, room = top + high - 11, FIELD - NUMBER - 24 - note
    svg.rect(start, bar, room, 4.5, stroke=LINE, line=0.8)
    if cylinder.full > 0:
        svg.rect(start, bar, room * min(cylinder.full, 1.0), 4.5, fill=ACCENT)


def _access(svg: Svg, left: float, top: float, lines: tuple[str, ...]) -> None:
    """A bracket below what is opened together."""
    svg.line([(left + 2, top + 1), (left + 2, top + 7), (left + FIELD - 2, top + 7), (left + FIELD - 2, top + 1)], INK)
    for index, line in enumerate(lines):
        svg.text(left + FIELD / 2, top + 23 + 18 * index, line, SMALL, "middle", MUTED)
