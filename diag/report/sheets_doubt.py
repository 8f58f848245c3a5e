"""The sheet of `diag doubt`: whether the advice stands, what matters most, and where another option begins to win.

May import: `diag.basics`, sheets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from diag.report.sheets_case import CaseLine

__all__ = ["CrossingLine", "DoubtLine", "DoubtSheet", "MatterLine", "TurnLine", "WinnerLine"]


@dataclass(frozen=True)
class WinnerLine:
    """Work that is best in some of the draws."""

    option: Annotated[str, "the work in words"]
    share: Annotated[float, "share of all draws in which it is best, 0 to 1"]


@dataclass(frozen=True)
class TurnLine:
    """A value at which the advice changes."""

    value: Annotated[float, "the value of the number, in its unit"]
    words: Annotated[str, "the value as people read it"]
    below: Annotated[str, "what is best below it"]
    above: Annotated[str, "what is best above it"]
    barred: Annotated[bool, "true where what is dangerous decides there, and not money"]


@dataclass(frozen=True)
class CrossingLine:
    """A value at which two options change places."""

    value: Annotated[float, "the value of the number, in its unit"]
    words: Annotated[str, "the value as people read it"]
    below: Annotated[str, "the cheaper of the two below it"]
    above: Annotated[str, "the cheaper of the two above it"]


@dataclass(frozen=True)
class DoubtLine:
    """One number from end to end of its range, all else staying."""

    id: Annotated[str, "where the number stands in the knowledge; for a fault's chance its component and place"]
    name: Annotated[str, "the number in words"]
    now: Annotated[float, "its present value, in its unit"]
    now_words: Annotated[str, "that as people read it"]
    low: Annotated[float, "least value that was looked at"]
    low_words: Annotated[str, "that as people read it"]
    high: Annotated[float, "highest value that was looked at"]
    high_words: Annotated[str, "that as people read it"]
    judged: Annotated[bool, "true where nobody counted it"]
    turns: Annotated[tuple[TurnLine, ...], "where the advice changes, ascending"]
    crossings: Annotated[tuple[CrossingLine, ...], "where any two options change places, ascending"]
    error: Annotated[float, "measured relative error of the curves between the values that were reckoned"]
    evaluations: Annotated[int, "how often the case was reckoned anew"]


@dataclass(frozen=True)
class MatterLine:
    """One of the numbers that matter most."""

    line: Annotated[DoubtLine, "the number"]
    spread: Annotated[float, "one standard deviation of the law by which it is drawn, in its unit"]
    swing: Annotated[float, "how far the lead of the advice moves when the number moves by that, in `currency`"]
    slope: Annotated[float, "by how much the lead changes for one unit of the number, in `currency`"]
    turn: Annotated[TurnLine | None, "the nearest change of the advice; null: none on its range"]
    spreads: Annotated[float | None, "how many of its spreads away that is; null: none on its range"]
    far: Annotated[str, "that in words"]


@dataclass(frozen=True)
class DoubtSheet:
    """`diag doubt`."""

    case: Annotated[CaseLine, "which case"]
    cautions: Annotated[tuple[str, ...], "what stands first, whatever is done"]
    currency: Annotated[str, "of all money, before tax"]
    advice: Annotated[str, "the work that is advised"]
    lead: Annotated[float | None, "by how much it is cheaper than the next best option; null: there is none"]
    sentence: Annotated[str, "whether it stands and what would turn it first"]
    draws: Annotated[int, "how often all numbers were drawn again"]
    seed: Annotated[int, "with which seed"]
    numbers: Annotated[int, "how many numbers were drawn each time"]
    judged: Annotated[int, "how many of them nobody counted"]
    stands: Annotated[float, "share of the draws in which the same work is best, 0 to 1"]
    stands_error: Annotated[float, "how far that share may be off (one standard deviation), from the number of draws"]
    regret: Annotated[float, "what the advice costs more than the best of each draw on average, in `currency`"]
    refused: Annotated[int, "draws that contradicted themselves and were drawn again"]
    others: Annotated[tuple[WinnerLine, ...], "what is best in the other draws, most often first"]
    matters: Annotated[tuple[MatterLine, ...], "the numbers that matter most, the first most of all"]
    lines: Annotated[tuple[DoubtLine, ...], "the usual numbers from end to end"]
