"""Draws the graph of the knowledge: as DOT text for other programs, or as an SVG picture that stands alone.

Columns run from repairs and causes on the left to findings and checks on the right. Kinds differ by outline, not
by colour, so that a black-and-white print reads the same. May import: within the room `graph` and `records`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from diag.knowledge_base.graph import Item, Link, items_of, links_of, neighbourhood
from diag.knowledge_base.records import Knowledge

__all__ = ["draw_graph"]

_ROW, _HEIGHT, _GAP, _MARGIN, _TOP, _LETTER = 38, 26, 90, 24, 92, 6.7
_SHAPES = {
    "component": "box",
    "severity": "ellipse",
    "finding": "hexagon",
    "reading": "parallelogram",
    "check": "note",
    "repair": "component",
}
_SENTENCES = {
    "causes": "{start} causes {end}, in up to {per_cent} of cases",
    "changes": "{start} changes what to expect of {end}",
    "shows": "{start} shows as {end}",
    "yields": "{start} brings {end}",
    "renews": "{start} renews {end}",
}
_STYLE = (
    "text{font:12px sans-serif;fill:#111}.t{font-size:16px;font-weight:bold}"
    ".n{fill:#fff;stroke:#111;stroke-width:1.2}.f{stroke-width:3;fill:#e4e4e4}"
    ".repair{stroke-width:2.6}.circumstance{stroke-dasharray:5 3}"
    ".e{fill:none;stroke:#333;stroke-opacity:.62}.yields,.renews{stroke-dasharray:2 3}.changes{stroke-dasharray:7 3}"
)


def draw_graph(knowledge: Knowledge, item: str | None = None, form: Literal["dot", "svg"] = "dot") -> str:
    """The text of a DOT or SVG file with all of the knowledge, or with what is before and after one `item`.

    Raises UsageError where the item does not exist.
    """
    items = items_of(knowledge)
    keys = frozenset(items) if item is None else neighbourhood(knowledge, item)
    shown = {key: one for key, one in items.items() if key in keys}
    links = [link for link in links_of(knowledge) if link.start in shown and link.end in shown]
    centre = None if item is None else next(key for key in (item, f"check {item}", f"repair {item}") if key in shown)
    if form == "dot":
        return _dot(shown, links, centre)
    return _svg(_Picture(knowledge, shown, links, centre))


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _dot(items: Mapping[str, Item], links: Iterable[Link], centre: str | None) -> str:
    lines = ["digraph knowledge {", "  rankdir=LR;", '  node [fontname="sans-serif"];']
    for key, item in items.items():
        thick = ", penwidth=3" if key == centre else ""
        lines.append(f"  {_quoted(key)} [label={_quoted(item.name)}, shape={_SHAPES[item.kind]}{thick}];")
    for link in links:
        style = "solid" if link.kind in ("causes", "shows") else "dashed"
        lines.append(f"  {_quoted(link.start)} -> {_quoted(link.end)} [style={style}, tooltip={_quoted(link.kind)}];")
    return "\n".join([*lines, "}", ""])


@dataclass(frozen=True)
class _Place:
    x: float
    y: float
    width: float

    @property
    def middle(self) -> float:
        return self.y + _HEIGHT / 2


class _Picture:
    """Where everything stands."""

    def __init__(
        self, knowledge: Knowledge, items: Mapping[str, Item], links: Sequence[Link], centre: str | None
    ) -> None:
        self.items = items
        self.links = links
        self.centre = centre
        self.circumstances = frozenset(name for name, one in knowledge.components.items() if not one.fault)
        self.columns = _ordered(_columns(knowledge, items, links), links)
        self.places: dict[str, _Place] = {}
        tallest = max((len(column) for column in self.columns), default=1)
        x: float = _MARGIN
        for column in self.columns:
            width = max(len(items[key].name) for key in column) * _LETTER + 30
            y = _TOP + (tallest - len(column)) * _ROW / 2
            for row, key in enumerate(column):
                self.places[key] = _Place(x, y + row * _ROW, width)
            x += width + _GAP
        self.width = max(x - _GAP + _MARGIN, 640)
        self.height = _TOP + tallest * _ROW + 70


def _columns(knowledge: Knowledge, items: Mapping[str, Item], links: Sequence[Link]) -> list[list[str]]:
    """The keys of each column: repairs, shared causes, components, severities by their chain, findings, checks."""
    depth: dict[str, int] = {}
    for key, item in items.items():
        if item.kind == "repair":
            depth[key] = 0
        elif item.kind == "component":
            depth[key] = 1 if knowledge.components[key].reaches_cylinders else 2
        elif item.kind == "severity":
            before = [depth[cause] for cause in knowledge.severities[key].causes if cause in depth]
            depth[key] = max([2, *before]) + 1
    last = max([2, *depth.values()])
    for key, item in items.items():
        if key not in depth:
            depth[key] = last + (2 if item.kind == "check" else 1)
    columns: dict[int, list[str]] = {}
    for key, column in depth.items():
        columns.setdefault(column, []).append(key)
    return [columns[column] for column in sorted(columns)]


def _ordered(columns: list[list[str]], links: Sequence[Link]) -> list[list[str]]:
    """Each column sorted so that lines cross less: by the mean height of the neighbours, a few times over."""
    beside: dict[str, list[str]] = {}
    for link in links:
        beside.setdefault(link.start, []).append(link.end)
        beside.setdefault(link.end, []).append(link.start)
    height = {key: row - len(column) / 2 for column in columns for row, key in enumerate(column)}
    for sweep in range(6):
        for index in range(len(columns)) if sweep % 2 == 0 else range(len(columns) - 1, -1, -1):
            means = {
                key: sum(height[other] for other in beside[key]) / len(beside[key]) if key in beside else height[key]
                for key in columns[index]
            }
            columns[index].sort(key=lambda key: means[key])
            for row, key in enumerate(columns[index]):
                height[key] = row - len(columns[index]) / 2
    return columns


def _svg(picture: _Picture) -> str:
    title = "All of the knowledge" if picture.centre is None else picture.items[picture.centre].name
    about = (
        f"{len(picture.items)} things and {len(picture.links)} connections, from repairs and causes on the left "
        "to findings and checks on the right. A thicker line is a surer effect."
    )
    width, height = f"{picture.width:.0f}", f"{picture.height:.0f}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}"'
        ' role="img" aria-labelledby="title about">',
        f'<title id="title">{escape(title)}</title>',
        f'<desc id="about">{escape(about)}</desc>',
        f"<style>{_STYLE}</style>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text class="t" x="{_MARGIN}" y="34">{escape(title)}: what leads to it, what shows it</text>'
        if picture.centre is not None
        else f'<text class="t" x="{_MARGIN}" y="34">{escape(title)}</text>',
        f'<text x="{_MARGIN}" y="56">{escape(about)}</text>',
        *(_line(picture, link) for link in picture.links),
        *(_node(picture, key) for key in picture.items),
        _legend(picture),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _line(picture: _Picture, link: Link) -> str:
    start, end = picture.places[link.start], picture.places[link.end]
    from_x, to_x = (start.x + start.width, end.x) if start.x < end.x else (start.x, end.x + end.width)
    bend = (to_x - from_x) / 2 if start.x != end.x else -_GAP / 2
    width = 0.7 + (2.3 * link.strength if link.kind == "causes" else 0.5)
    sentence = _SENTENCES[link.kind].format(
        start=picture.items[link.start].name,
        end=picture.items[link.end].name,
        per_cent=f"{link.strength * 100:.3g} %",
    )
    curve = (
        f"M{from_x:.1f} {start.middle:.1f}C{from_x + bend:.1f} {start.middle:.1f} "
        f"{to_x - bend:.1f} {end.middle:.1f} {to_x:.1f} {end.middle:.1f}"
    )
    return (
        f'<path class="e {link.kind}" stroke-width="{width:.2f}" d="{curve}"><title>{escape(sentence)}</title></path>'
    )


def _node(picture: _Picture, key: str) -> str:
    item, place = picture.items[key], picture.places[key]
    classes = f"n {item.kind}" + (" circumstance" if key in picture.circumstances else "")
    classes += " f" if key == picture.centre else ""
    label = f'<text x="{place.x + 15:.1f}" y="{place.middle + 4:.1f}">{escape(item.name)}</text>'
    told = escape(f"{item.kind} {item.id}, of the {item.per}: {item.name}")
    return f"<g><title>{told}</title>{_outline(item.kind, place, classes)}{label}</g>"


def _outline(kind: str, place: _Place, classes: str) -> str:
    x, y, width = place.x, place.y, place.width
    right, bottom, middle = x + width, y + _HEIGHT, place.middle
    if kind in ("component", "repair", "severity"):
        round_by = _HEIGHT / 2 if kind == "severity" else 0
        size = f'width="{width:.1f}" height="{_HEIGHT}" rx="{round_by:g}"'
        return f'<rect class="{classes}" x="{x:.1f}" y="{y:.1f}" {size}/>'
    corners = {
        "finding": ((x, middle), (x + 9, y), (right - 9, y), (right, middle), (right - 9, bottom), (x + 9, bottom)),
        "reading": ((x + 9, y), (right, y), (right - 9, bottom), (x, bottom)),
        "check": ((x, y), (right - 11, y), (right, y + 11), (right, bottom), (x, bottom)),
    }[kind]
    points = " ".join(f"{corner_x:.1f},{corner_y:.1f}" for corner_x, corner_y in corners)
    return f'<polygon class="{classes}" points="{points}"/>'


def _legend(picture: _Picture) -> str:
    """One empty outline of each kind that is shown, with its word."""
    parts = []
    x, y = float(_MARGIN), picture.height - 44
    for kind in _SHAPES:
        if any(item.kind == kind for item in picture.items.values()):
            parts.append(_outline(kind, _Place(x, y, 40), f"n {kind}"))
            parts.append(f'<text x="{x + 46:.1f}" y="{y + 17:.1f}">{kind}</text>')
            x += 46 + len(kind) * _LETTER + 22
    return f"<g>{''.join(parts)}</g>"
