"""Faults that change nothing that matters, each with its reason (`survivors.yaml`), and the score without them.

An entry names the fault by its file, its function, what the line says and what was done, not by a line's number: when
the line changes, the entry is stale and has to be thought over again. Without `line` and `what` it speaks of every
fault in a function that decides nothing but how quickly the answer comes. May import: PyYAML, `operators`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import yaml

from tests.mutation.operators import STRICT, Mutant

__all__ = ["KINDS", "Equivalent", "equivalents", "interval", "reason_for", "score_of", "stale", "stated"]

FILE = Path(__file__).with_name("survivors.yaml")
KINDS = {
    "same": "no result can differ",
    "speed": "only time or memory differ",
    "rounding": "results differ by less than what is promised",
    "words": "only the wording of a message differs",
}
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True)
class Equivalent:
    """An entry: the file below `diag`, the function, the line's text, what was done (as which of its kind on that
    line), of what kind the fault is, and why."""

    file: str
    function: str
    kind: str
    why: str
    line: str = ""
    what: str = ""
    which: int = 1

    def is_of(self, mutant: Mutant) -> bool:
        """Whether it speaks of this fault."""
        if not mutant.path.as_posix().endswith(f"diag/{self.file}") or self.function != mutant.function:
            return False
        return not self.line or (self.line, self.what, self.which) == (mutant.text, mutant.what, mutant.which)


def equivalents(path: Path = FILE) -> tuple[Equivalent, ...]:
    """All entries. ValueError names the entry that lacks something, or has what is not known."""
    entries = yaml.safe_load(path.read_text(encoding="utf-8"))["survivors"]
    names = [each.name for each in fields(Equivalent)]
    for number, entry in enumerate(entries, start=1):
        missing = {"file", "function", "kind", "why"} - set(entry) or ("line" in entry) != ("what" in entry)
        if missing or not set(entry) <= set(names):
            raise ValueError(f"{path.name}: entry {number} has to be made of {', '.join(names)}: {entry}")
        if entry["kind"] not in KINDS:
            raise ValueError(f"{path.name}: entry {number} is of kind '{entry['kind']}', not of {', '.join(KINDS)}")
    return tuple(Equivalent(**entry) for entry in entries)


def stated(room: str, path: Path = FILE) -> list[str]:
    """What was found before, as it stands in the file."""
    scores: list[str] = yaml.safe_load(path.read_text(encoding="utf-8"))["scores"]
    return [each for each in scores if each.startswith(room)]


def reason_for(mutant: Mutant, known: Iterable[Equivalent]) -> Equivalent | None:
    """Why a fault cannot be noticed, where that is known."""
    if mutant.what == STRICT:
        return Equivalent("", "", "same", "what zip asserts holds: the lengths are equal")
    return next((each for each in known if each.is_of(mutant)), None)


def stale(known: Iterable[Equivalent], mutants: Iterable[Mutant]) -> list[Equivalent]:
    """Entries that speak of no fault that there is any more."""
    there = list(mutants)
    return [each for each in known if not any(each.is_of(mutant) for mutant in there)]


def interval(found: int, of: int) -> tuple[float, float]:
    """In which range the share among all faults is, with 95 per cent, when so many of a sample were found: Wilson
    (1927), 'Probable inference, the law of succession, and statistical inference', JASA 22:209-212 (from memory)."""
    if not of:
        return 0.0, 1.0
    share, square = found / of, NORMAL_95**2
    middle = (share + square / (2 * of)) / (1 + square / of)
    half = NORMAL_95 * math.sqrt(share * (1 - share) / of + square / (4 * of * of)) / (1 + square / of)
    return middle - half, middle + half


def score_of(found: int, excused: Sequence[Equivalent], drawn: int) -> str:
    """The score in words: found of those that can be noticed, and how far a sample of this size may be off."""
    able = drawn - len(excused)
    low, high = interval(found, able)
    kinds = ", ".join(f"{number} {kind}" for kind, number in sorted(Counter(each.kind for each in excused).items()))
    return (
        f"{drawn} faults drawn, {found} found, {len(excused)} equivalent{f' ({kinds})' if kinds else ''}, "
        f"{able - found} not explained; score {found} of {able} = {100 * found / max(able, 1):.0f} % "
        f"(a sample of this size: {100 * low:.0f} to {100 * high:.0f} %)"
    )
