"""What worker processes do for a class: make its cases, look back at one that has ended, compare them all.

What is handed in and out holds the truth; it goes from this server to its own workers and stays on the trainer's side.
May import: the rooms below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.report import ClassSheet, DebriefSheet, TraineePaper
    from diag.training import Bench, Seat
    from diag.web.reckoning import Desk

__all__ = ["CLASS_JOBS", "DOUBT_JOBS", "Compared", "cases"]


def cases(
    desk: Desk, key: str, case: Case | None, names: tuple[str, ...], sets: tuple[str, ...], book: str | None
) -> tuple[Seat, ...]:
    """The cases of a class, not begun: by their names, then those of the folders of earlier classes. Every class gets
    vehicles of its own. Raises UsageError, CaseError for a wish that makes no sense or fits no vehicle."""
    from diag.training import case_named, load_set

    named = [case_named(desk.knowledge, name, book=book) for name in names]
    return (*named, *(seat for folder in sets for seat in load_set(Path(folder), desk.knowledge)))


def looked_back(
    desk: Desk, key: str, case: Case | None, seat: Seat, trainee: str, folder: str, doubt: bool = False
) -> DebriefSheet:
    """The look back at a case that has ended. `folder`: of the class, whose reckonings all its trainees share; `doubt`:
    with the doubt of the numbers themselves drawn, which may take a minute."""
    from diag.report import debrief_sheet
    from diag.training import DRAWS, bench_among, debrief

    draws = DRAWS if doubt else 0
    bench = bench_among(_benches(desk, folder), desk.knowledge, seat.play.practice)
    return debrief_sheet(desk.knowledge, seat, debrief(bench, seat, draws), trainee, draws)


def _benches(desk: Desk, folder: str) -> list[Bench]:
    """The benches at which the cases of a class were judged so far."""
    made: list[Bench] = desk.once(("benches", folder), list)
    return made


@dataclass(frozen=True)
class Compared:
    """A class looked at by its trainer: the comparison, every choice as CSV, and what is printed for each trainee;
    `doubt`: whether the doubt of the numbers was drawn."""

    sheet: ClassSheet
    csv: str
    papers: tuple[TraineePaper, ...]
    doubt: bool


def compared(desk: Desk, key: str, case: Case | None, folder: str, doubt: bool = False) -> Compared:
    """All trainees of a folder beside each other; `doubt` as there."""
    from diag.report import class_csv, class_sheet, trainee_papers
    from diag.training import DRAWS, class_of

    known, draws = desk.knowledge, DRAWS if doubt else 0
    found = class_of(known, Path(folder), draws, benches=_benches(desk, folder))
    return Compared(class_sheet(known, found), class_csv(known, found), trainee_papers(known, found, draws), doubt)


CLASS_JOBS: dict[str, Callable[..., Any]] = {
    "class cases": cases,
    "class debrief": looked_back,
    "class compared": compared,
}
DOUBT_JOBS: dict[str, Callable[..., Any]] = {
    "class debrief in doubt": partial(looked_back, doubt=True),
    "class compared in doubt": partial(compared, doubt=True),
}
"""The same with the doubt of the numbers; they take longer, and nobody waits behind them."""
