"""Draws SVG: shapes and text in plain units, the same input giving the same characters.

Text cannot be measured without a font, so its width is estimated from above, letter by letter; that holds for serif
and sans-serif faces of usual width. May import: colours, the standard library.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Literal

from diag.pictures.colours import INK, PAPER

__all__ = ["FONTS", "X_HEIGHT", "Svg", "number", "text_width", "wrapped"]

FONTS = "'Libertinus Serif', Charter, Georgia, 'Liberation Serif', serif"
X_HEIGHT = 0.43  # of Libertinus Serif: where another face stands in, it is drawn so large that its small letters are
# as high as these; so a wide face of large letters does not outgrow the width that was reckoned
_WIDTHS = {
    **dict.fromkeys("ijlI.,:;!|' \u00a0", 0.33),
    **dict.fromkeys("mwMW%@", 0.92),
    **dict.fromkeys("frt()-/", 0.4),
}


def text_width(text: str, size: float) -> float:
    """Width of a line of text from above, in the unit of `size`."""
    width = size * sum(_WIDTHS.get(letter, 0.74 if letter.isupper() else 0.55) for letter in text)
    return round(width, 6)  # Python 3.12 sums with other last digits, and a line must break at the same place


def wrapped(text: str, size: float, width: float) -> tuple[str, ...]:
    """The text in lines no wider than `width`, broken at plain spaces only; a single word that is wider is cut and
    ends in '…'."""
    lines: list[str] = []
    for word in text.split(" ") if text else ():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= width:
            lines[-1] = longer
        else:
            lines.append(_cut(word, size, width))
    return tuple(lines)


def _cut(word: str, size: float, width: float) -> str:
    if text_width(word, size) <= width:
        return word
    kept = word
    while len(kept) > 1 and text_width(f"{kept}…", size) > width:
        kept = kept[:-1]
    return f"{kept}…"


def number(value: float) -> str:
    """A coordinate with at most two decimals, and no negative zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass
class Svg:
    """A picture in the making, `width` by `height` units; `name` makes its ids unique on a page."""

    name: str
    width: float
    height: float
    title: str
    description: str
    parts: list[str] = field(default_factory=list)

    def rect(
        self, x: float, y: float, width: float, height: float, fill: str = "none", stroke: str = "none", line: float = 1
    ) -> None:
        """A rectangle."""
        place = f'x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}"'
        self.parts.append(f'<rect {place} fill="{fill}" stroke="{stroke}" stroke-width="{number(line)}"/>')

    def line(
        self, points: Sequence[tuple[float, float]], stroke: str = INK, line: float = 1.5, dashes: str = ""
    ) -> None:
        """A line through points."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        self.parts.append(
            f'<polyline points="{path}" fill="none" stroke="{stroke}" stroke-width="{number(line)}"{dashed}/>'
        )

    def circle(self, x: float, y: float, radius: float, fill: str = INK) -> None:
        """A filled dot."""
        self.parts.append(f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}"/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        anchor: Literal["start", "middle", "end"] = "start",
        fill: str = INK,
        bold: bool = False,
    ) -> None:
        """A line of text with its base line at `y`."""
        weight = ' font-weight="bold"' if bold else ""
        place = f'x="{number(x)}" y="{number(y)}" font-size="{number(size)}" text-anchor="{anchor}" fill="{fill}"'
        self.parts.append(f"<text {place}{weight}>{escape(text, quote=False)}</text>")

    def finished(self) -> str:
        """The whole picture as SVG text."""
        ids = f"{self.name}-title {self.name}-desc"
        size = f"0 0 {number(self.width)} {number(self.height)}"
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" direction="ltr" width="{number(self.width)}"'
            f' height="{number(self.height)}" role="img" aria-labelledby="{ids}" font-family="{FONTS}"'
            f' style="font-size-adjust: {X_HEIGHT}">'
        )
        told = (
            f'<title id="{self.name}-title">{escape(self.title, quote=False)}</title>'
            f'<desc id="{self.name}-desc">{escape(self.description, quote=False)}</desc>'
        )
        ground = f'<rect width="{number(self.width)}" height="{number(self.height)}" fill="{PAPER}"/>'
        return "\n".join([head, told, ground, *self.parts, "</svg>"]) + "\n"
