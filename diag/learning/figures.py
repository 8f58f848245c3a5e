"""The figures that are learned: which they are, what they are now, and as if seen in how many cases.

May import: `diag.knowledge_base`, `diag.network`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast

from diag.knowledge_base import Figure, Knowledge, Record, walk_figures
from diag.network import FigurePath

__all__ = [
    "NOT_LEARNED",
    "FigureKind",
    "Learnable",
    "LearnedFigure",
    "figure_numbers",
    "is_chance",
    "learnables",
    "with_values",
]

FigureKind = Literal["chance", "share", "scale", "shape", "finding", "contribution", "middle", "width"]
CHANCES = ("chance", "share", "finding", "contribution")

NOT_LEARNED = (
    "what shared causes of several cylinders contribute within a cylinder, and what comes about there without a cause",
    "what a part contributes that was exchanged between cylinders within the case",
    "how far readings of all cylinders are shifted together",
    "readings that lie as a mixture of several parts",
    "risks of the work, minutes of checks, the rate for labour",
)
"""What stays as it is, for the page that says so."""


@dataclass(frozen=True)
class Learnable:
    """A figure at `path`: its `value` now, and `strength`, in equivalent cases."""

    path: FigurePath
    kind: FigureKind
    value: float
    strength: float


@dataclass(frozen=True)
class LearnedFigure:
    """A figure before and after; `cases` bear upon it; 90 % interval; `strength` in cases for the overlay."""

    path: FigurePath
    kind: str
    before: float
    after: float
    low: float
    high: float
    cases: float
    strength: float


def learnables(knowledge: Knowledge) -> tuple[Learnable, ...]:
    """All of them, in the order of the files. A chance of exactly 0 or 1 is a statement and is not learned."""
    found = []
    for placed in walk_figures(knowledge):
        kind = _kind(knowledge, tuple(map(str, placed.path)))
        value = placed.figure.value
        if kind is None or (kind in CHANCES and not 0 < value < 1) or value is None:
            continue
        strength = placed.basis.strength if placed.basis is not None else 10.0
        found.append(Learnable(tuple(map(str, placed.path)), kind, value, strength))
    return tuple(found)


def figure_numbers(figures: Sequence[Learnable]) -> dict[FigurePath, int]:
    """Where each stands in counts; last, for each life, what scale and shape tell of each other, and failures."""
    index = {each.path: number for number, each in enumerate(figures)}
    for each in figures:
        if each.kind == "scale":
            index[*each.path[:-1], "both"] = len(index)
    return index


def _kind(knowledge: Knowledge, path: FigurePath) -> FigureKind | None:
    match path:
        case ("components", _, "chance" | "disturbed", _) | ("components", _, "given", _, _, _):
            return "chance"
        case ("components", _, "life", "fails_as", _):
            return "share"
        case ("components", _, "life", "scale" | "shape" as which):
            return cast(FigureKind, which)
        case ("severities", name, "causes", cause, _, _):
            return "contribution" if _is_counted(knowledge, name, cause) else None
        case ("severities", name, "background", _):
            return "contribution" if knowledge.severities[name].per == "vehicle" else None
        case ("findings", _, "chance", _) | ("findings", _, "under", _, _):
            return "finding"
        case ("readings", _, "spread", _, "middle" | "width" as which):
            return cast(FigureKind, which)
    return None


def _is_counted(knowledge: Knowledge, severity: str, cause: str) -> bool:
    """All but what shared causes that reach into cylinders give there: these come together with the background."""
    component = knowledge.components.get(cause)
    return knowledge.severities[severity].per == "vehicle" or component is None or not component.reaches_cylinders


def is_chance(path: FigurePath) -> bool:
    """Whether what stands at a path that is learned is a chance; else it is a figure of a life or of a spread."""
    return path[0] != "readings" and (path[2] != "life" or path[3] == "fails_as")


def with_values(knowledge: Knowledge, values: Mapping[FigurePath, float]) -> Knowledge:
    """The knowledge with some figures changed; all else about them stays."""
    by_entry: dict[tuple[str, str], dict[FigurePath, float]] = {}
    prices: object = knowledge.prices
    for path, value in values.items():
        if path[0] == "prices":
            prices = _changed(prices, path[1:], value)
            continue
        by_entry.setdefault((path[0], path[1]), {})[path[2:]] = value
    kinds: dict[str, dict[str, Record]] = {}
    for (kind, name), inside in by_entry.items():
        entry: object = getattr(knowledge, kind)[name]
        for rest, value in inside.items():
            entry = _changed(entry, rest, value)
        kinds.setdefault(kind, dict(getattr(knowledge, kind)))[name] = cast(Record, entry)
    return knowledge.model_copy(update={**kinds, "prices": prices})


def _changed(value: object, path: FigurePath, new: float) -> object:
    if isinstance(value, Figure):
        return value.model_copy(update={"value": new})
    head, rest = path[0], path[1:]
    if isinstance(value, dict):
        return {**value, head: _changed(value[head], rest, new)}
    assert isinstance(value, Record)
    return value.model_copy(update={head: _changed(getattr(value, head), rest, new)})
