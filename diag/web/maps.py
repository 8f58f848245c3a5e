"""The engine from above as the page draws it: banks as columns, each cylinder a vessel that is the fuller the likelier
something is wrong there, with the same said in words.

Only places and sizes are worked out here; `engine_map.html` draws. May import: the rooms below.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import Place
from diag.casebook import Case
from diag.pictures import wrapped
from diag.report import WeighSheet, chance_words, per_cent

__all__ = ["EngineDrawing", "Vessel", "engine_drawing", "told_at"]

WIDE, HIGH, GAP, HEAD, EDGE = 170.0, 84.0, 10.0, 26.0, 8.0
BORE = 46.0  # width of the field with the number
SIZE = 14.0
STANDS_OUT_FROM = 0.33


@dataclass(frozen=True)
class Vessel:
    """One cylinder: its number, where it is drawn, how wide it is filled, its words, and how much was told of it."""

    number: int
    x: float
    y: float
    width: float
    height: float
    filled: float
    words: tuple[str, ...]
    per_cent: str
    chance_words: str
    told: int
    stands_out: bool


@dataclass(frozen=True)
class EngineDrawing:
    """The whole: its size, the banks with where their label stands, the vessels from the front."""

    width: float
    height: float
    banks: tuple[tuple[str, float], ...]
    vessels: tuple[Vessel, ...]
    bore: float = BORE


def engine_drawing(case: Case, sheet: WeighSheet | None) -> EngineDrawing:
    """The drawing of a case's engine; without a sheet, the vessels are empty and say nothing."""
    engine = case.engine
    letters = sorted(engine.banks, key=lambda letter: engine.bank_sides.get(letter, "left") == "right")
    several = len(letters) > 1
    wide = WIDE if several else 2 * WIDE + GAP
    high = HIGH if several else HIGH * 0.8
    head = HEAD if several else 0.0
    chances = {line.cylinder: line.chance for line in sheet.cylinders} if sheet is not None else {}
    vessels, banks = [], []
    for column, letter in enumerate(letters):
        left = EDGE + column * (wide + GAP)
        banks.append((letter, left + wide / 2))
        for row, number in enumerate(engine.banks[letter]):
            top = EDGE + head + row * (high + GAP)
            vessels.append(_vessel(case, number, chances.get(number), left, top, wide, high))
    rows = max(len(numbers) for numbers in engine.banks.values())
    return EngineDrawing(
        width=2 * EDGE + len(letters) * wide + (len(letters) - 1) * GAP,
        height=2 * EDGE + head + rows * high + (rows - 1) * GAP,
        banks=tuple(banks) if several else (),
        vessels=tuple(sorted(vessels, key=lambda vessel: vessel.number)),
    )


def _vessel(case: Case, number: int, chance: float | None, x: float, y: float, width: float, high: float) -> Vessel:
    known = chance is not None
    share = chance or 0.0
    words = chance_words(share) if known else ""
    return Vessel(
        number=number,
        x=x,
        y=y,
        width=width,
        height=high,
        filled=round((width - BORE) * min(share, 1.0), 1),
        words=wrapped(words, SIZE, width - BORE - 14),
        per_cent=per_cent(share) if known else "",
        chance_words=words,
        told=told_at(case, number),
        stands_out=share >= STANDS_OUT_FROM,
    )


def told_at(case: Case, place: Place) -> int:
    """How many answers and readings there are of a place since the last repair."""
    latest = case.epochs[-1]
    return sum(each.place == place for each in latest.answers) + sum(each.place == place for each in latest.measured)
