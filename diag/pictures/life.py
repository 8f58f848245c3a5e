"""The life curve of the seals: what share still holds, by distance or age, with today marked.

May import: colours, drawing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from diag.pictures.colours import ACCENT, INK, LINE, MUTED
from diag.pictures.drawing import Svg, text_width, wrapped

__all__ = ["LifeCurve", "life_picture"]

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM, SMALL, SIZE = 620.0, 300.0, 58.0, 110.0, 48.0, 48.0, 13.5, 15.0
LINE_HIGH = 16.0


@dataclass(frozen=True)
class LifeCurve:
    """A life curve. `points`: (use, share that still holds, 0 to 1), use rising; `today`: use now.

    `today_words` stands at today's mark, `across` and `up` at the axes, `ticks`: (use, words) along the foot. Where it
    was reckoned under several circumstances `words` names this curve and `also` holds the others: (words, points).
    """

    title: str
    description: str
    points: tuple[tuple[float, float], ...]
    today: float
    today_words: str
    across: str
    up: str
    ticks: tuple[tuple[float, str], ...]
    also: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    words: str = ""
    name: str = "life-curve"


def life_picture(curve: LifeCurve) -> str:
    """The picture as SVG. Raises ValueError where today lies outside the curve."""
    if not curve.points or not curve.points[0][0] <= curve.today <= curve.points[-1][0]:
        raise ValueError("today lies outside the curve")
    svg = Svg(curve.name, WIDTH, HEIGHT, curve.title, curve.description)
    _axes(svg, curve)
    lines = [(curve.words, curve.points, ""), *((words, points, "7 5") for words, points in curve.also)]
    for _, points, dashes in lines:
        svg.line([_at(curve, *point) for point in points], ACCENT, 2.5, dashes)
    _named(svg, [(_at(curve, *points[-1])[1], words) for words, points, _ in lines if words])
    x, y = _at(curve, curve.today, _share(curve))
    svg.line([(x, TOP), (x, HEIGHT - BOTTOM)], INK, 1.5, "2 4")
    svg.circle(x, y, 5)
    half = text_width(curve.today_words, SIZE) / 2
    svg.text(min(max(x, LEFT + half), WIDTH - RIGHT - half), TOP - 8, curve.today_words, SIZE, "middle", bold=True)
    return svg.finished()


def _named(svg: Svg, names: list[tuple[float, str]]) -> None:
    """The name of each curve to the right of its end, from the lowest up, each clear of the one below and the foot."""
    free = HEIGHT - BOTTOM - 4
    for y, words in sorted(names, reverse=True):
        lines = wrapped(words, SMALL, RIGHT - 12)
        first = min(y + 5, free - LINE_HIGH * (len(lines) - 1))
        for index, line in enumerate(lines):
            svg.text(WIDTH - RIGHT + 8, first + LINE_HIGH * index, line, SMALL)
        free = first - LINE_HIGH


def _at(curve: LifeCurve, use: float, share: float) -> tuple[float, float]:
    most = curve.points[-1][0]
    return LEFT + use / most * (WIDTH - LEFT - RIGHT), HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def _share(curve: LifeCurve) -> float:
    """The share that still holds today, on the straight line between the points around it."""
    for (before, high), (after, low) in pairwise(curve.points):
        if before <= curve.today <= after:
            part = (curve.today - before) / (after - before) if after > before else 0.0
            return high + part * (low - high)
    return curve.points[0][1]


def _axes(svg: Svg, curve: LifeCurve) -> None:
    foot, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = _at(curve, 0.0, share)[1]
        svg.line([(LEFT, y), (right, y)], LINE, 1.5 if share == 0 else 0.5)
        svg.text(LEFT - 7, y + 5, f"{share:.0%}".replace("%", " %"), SMALL, "end", MUTED)
    free = LEFT - 30
    for use, words in curve.ticks:
        x, half = _at(curve, use, 0.0)[0], text_width(words, SMALL) / 2
        svg.line([(x, foot), (x, foot + 5)], INK, 1)
        if x - half > free and x + half <= WIDTH - 4:
            svg.text(x, foot + 19, words, SMALL, "middle", MUTED)
            free = x + half + 6
    svg.text(right, HEIGHT - 9, curve.across, SMALL, "end", MUTED)
    svg.text(8, 16, curve.up, SMALL, fill=MUTED)
