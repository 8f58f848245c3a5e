"""Belief before and after each finding: a row for each finding, a column for each fault, a bar and its per cent.

Rows read downwards in the order told, so that a change is seen from one row to the next. May import: colours, drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.pictures.colours import ACCENT, INK, LINE, MUTED
from diag.pictures.drawing import Svg, wrapped

__all__ = ["BeliefSeries", "BeliefSteps", "belief_picture"]

WIDTH, LABEL, MARGIN, SIZE, SMALL = 720.0, 230.0, 6.0, 15.0, 13.5
CHANGE = 0.10  # a change of so much is marked


@dataclass(frozen=True)
class BeliefSeries:
    """One fault: its name, its chance at each step (0 to 1), and the same in words for each step."""

    name: str
    chances: tuple[float, ...]
    words: tuple[str, ...]


@dataclass(frozen=True)
class BeliefSteps:
    """`labels`: what was told at each step, the first being 'before any finding'; a series for each fault.

    `mark` stands at a bar that grew or shrank by at least a tenth: (grew, shrank).
    """

    title: str
    description: str
    labels: tuple[str, ...]
    series: tuple[BeliefSeries, ...]
    mark: tuple[str, str] = ("+", "−")
    name: str = "belief"


def belief_picture(steps: BeliefSteps) -> str:
    """The picture as SVG. Raises ValueError where a series does not have a value and words for each label."""
    for series in steps.series:
        if not len(series.chances) == len(series.words) == len(steps.labels):
            raise ValueError(f"'{series.name}' needs a chance and words for each of {len(steps.labels)} steps")
    column = (WIDTH - LABEL - MARGIN) / max(len(steps.series), 1)
    heads = [wrapped(series.name, SMALL, column - 14) for series in steps.series]
    labels = [wrapped(label, SIZE, LABEL - 14) for label in steps.labels]
    words = [[wrapped(series.words[row], SMALL, column - 30) for series in steps.series] for row in range(len(labels))]
    head = 17.0 * max((len(lines) for lines in heads), default=1) + 12
    rows = [
        max(18.0 * len(label), 14 + 16.0 * max((len(each) for each in text), default=0)) + 14
        for label, text in zip(labels, words, strict=True)
    ]
    svg = Svg(steps.name, WIDTH, head + sum(rows) + MARGIN, steps.title, steps.description)
    for index, lines in enumerate(heads):
        for place, line in enumerate(lines):
            svg.text(LABEL + index * column + 7, 17 + 17 * place, line, SMALL, bold=True)
    top = head
    for row, high in enumerate(rows):
        svg.line([(MARGIN, top), (WIDTH - MARGIN, top)], LINE, 0.8)
        for place, line in enumerate(labels[row]):
            svg.text(MARGIN, top + 20 + 18 * place, line, SIZE)
        for index, series in enumerate(steps.series):
            _bar(svg, LABEL + index * column + 7, top, column - 14, series, row, steps.mark, words[row][index])
        top += high
    return svg.finished()


def _bar(
    svg: Svg,
    left: float,
    top: float,
    width: float,
    series: BeliefSeries,
    row: int,
    mark: tuple[str, str],
    words: tuple[str, ...],
) -> None:
    svg.rect(left, top + 8, width, 8, stroke=LINE, line=0.8)
    if series.chances[row] > 0:
        svg.rect(left, top + 8, width * min(series.chances[row], 1.0), 8, fill=ACCENT)
    for place, line in enumerate(words):
        svg.text(left, top + 31 + 16 * place, line, SMALL, fill=INK)
    change = series.chances[row] - series.chances[row - 1] if row else 0.0
    if abs(change) >= CHANGE:
        svg.text(left + width, top + 32, mark[0] if change > 0 else mark[1], SIZE, "end", MUTED, bold=True)
