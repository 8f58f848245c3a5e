"""Writes what was learned as a knowledge file for `--overlay`, to be read by people first: each figure with what it
was, how many cases bear upon it, and its interval. Nothing is applied: leaving the file away takes it back.

May import: `diag.basics`, the standard library.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from pathlib import Path

from diag.basics import write_whole
from diag.learning.figures import LearnedFigure
from diag.learning.updating import Learned

__all__ = ["overlay_text", "save_overlay"]

_PLAIN = re.compile(r"[a-z][a-z_0-9]*")
_WORDS = frozenset({"true", "false", "yes", "no", "on", "off", "null", "y", "n"})
Nested = dict[str, "Nested | LearnedFigure"]


def save_overlay(learned: Learned, path: Path, head: Sequence[str], replace_it: bool = False) -> None:
    """Write the overlay, whole or not at all. Raises UsageError where a file of that name stands."""
    write_whole(path, overlay_text(learned, head), overwrite=replace_it)


def overlay_text(learned: Learned, head: Sequence[str]) -> str:
    """The file's text; `head` are its first lines, sentences for people. Figures in the order of learning."""
    lines = [f"# {line}" for line in head]
    nested: Nested = {}
    for figure in learned.figures:
        inside = nested
        for step in figure.path[:-1]:
            below = inside.setdefault(step, {})
            assert isinstance(below, dict)
            inside = below
        inside[figure.path[-1]] = figure
    lines += ["basis: {source: learned, strength: 10}", *_lines(nested, 0)]
    if "prices" in nested:  # so that it is refused, and not misread, over prices in another currency
        lines.insert(lines.index("prices:") + 1, f"  currency: {json.dumps(learned.knowledge.prices.currency)}")
    return "\n".join(lines) + "\n"


def _lines(nested: Nested, depth: int) -> list[str]:
    found: list[str] = []
    for key, value in nested.items():
        name = key if _PLAIN.fullmatch(key) and key not in _WORDS else json.dumps(key)
        if isinstance(value, dict):
            found += [f"{'  ' * depth}{name}:", *_lines(value, depth + 1)]
        else:
            found.append(f"{'  ' * depth}{name}: {_figure(value)}")
    return found


def _figure(figure: LearnedFigure) -> str:
    note = (
        f"before {_short(figure.before)}; {figure.cases:.1f} cases bear upon it; "
        f"90 % interval {_short(figure.low)} to {_short(figure.high)}"
    )
    basis = f"{{source: learned, strength: {max(figure.strength, 0.1):.1f}, note: {json.dumps(note)}}}"
    after = f"{math.floor(figure.after * 1e8) / 1e8:.8f}" if figure.kind == "share" else _short(figure.after)
    return f"{{value: {after}, basis: {basis}}}"  # shares are rounded down: together they must not pass 1


def _short(value: float) -> str:
    """Five figures, without an exponent that YAML would take for a word."""
    if abs(value) >= 1e4:
        return f"{value:.0f}"
    text = f"{value:.5g}"
    return text if "e" not in text else f"{value:.10f}".rstrip("0").rstrip(".")
