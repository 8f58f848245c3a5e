"""A practice case in a conversation: a line is a step, and every step is in the journal before it is answered.

May import: `diag.basics`, and within the room `practice`, `pasting` and the terminal; other rooms inside functions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import DiagError, UsageError
from diag.cli.practice import belief_from, place_from, plan_from
from diag.report import (
    PRACTICE_ASK,
    Cautions,
    Items,
    Sentence,
    checks_block,
    latest_blocks,
    practice_state_sheet,
    repairs_block,
    state_blocks,
    told_items,
)

if TYPE_CHECKING:
    from diag.cli.pasting import WorkedWith
    from diag.cli.talk_terminal import Terminal
    from diag.knowledge_base import Knowledge
    from diag.report import PracticeStateSheet
    from diag.training import Bench, Journal, Seat

__all__ = ["converse"]

STEPS = ("ask", "fit", "sure", "plan")


@dataclass
class _Sitting:
    knowledge: Knowledge
    path: Path
    journal: Journal
    bench: Bench
    terminal: Terminal

    def sheet(self) -> PracticeStateSheet:
        from diag.training import view_of

        return practice_state_sheet(self.knowledge, view_of(self.bench, self.journal.seat.play))

    def after(self, seat: Seat) -> None:
        from diag.training import load_journal, save_journal

        after = replace(self.journal, seat=seat)
        try:
            save_journal(self.path, after)
        except UsageError:  # what is in the journal counts
            self.journal = load_journal(self.path, self.knowledge)
            raise
        self.journal = after
        sheet = self.sheet()
        if sheet.cautions:
            self.terminal.show([Cautions(sheet.cautions)])
        self.terminal.show(latest_blocks(sheet))


def converse(knowledge: Knowledge, path: Path, journal: Journal, terminal: Terminal, given: WorkedWith) -> None:
    """Play until the plan is told, the words end, or 'quit'. `given`: what a command to go on with needs."""
    from diag.report import PRACTICE
    from diag.training import Bench

    bench = Bench.of(knowledge, journal.seat.play.practice)
    sitting = _Sitting(knowledge, path, journal, bench, terminal)
    terminal.tell(PRACTICE["alone"])
    terminal.tell(PRACTICE_ASK["hello"])
    terminal.show([Sentence(PRACTICE_ASK["go_on"], command=given.command("practice", "play", str(path)))])
    terminal.show(state_blocks(sitting.sheet())[: -2 if not journal.seat.play.ended else None])
    while not sitting.journal.seat.play.ended:
        line = terminal.ask(PRACTICE_ASK["prompt"])
        if line is None or line.strip().lower() == "quit":
            terminal.tell(PRACTICE_ASK["saved"].format(path=path))
            return
        if line.strip():
            _obey(sitting, line.strip())
    terminal.show([Sentence(PRACTICE_ASK["end"], command=given.command("practice", "debrief", str(path)))])


def _obey(sitting: _Sitting, line: str) -> None:
    """Do what a line says; what cannot be done is told."""
    word, *rest = line.split()
    try:
        if word.lower() in STEPS:
            sitting.after(_stepped(sitting, word.lower(), rest))
        else:
            _told(sitting, word.lower(), line)
    except DiagError as error:
        sitting.terminal.tell(error.message)


def _stepped(sitting: _Sitting, word: str, rest: list[str]) -> Seat:
    from diag.training import ask, believe, decide, fit

    bench, seat = sitting.bench, sitting.journal.seat
    if not rest:
        raise UsageError(PRACTICE_ASK[f"{word}_what"])
    if word == "ask":
        return ask(bench, seat, rest[0], place_from(" ".join(rest[1:])))
    if word == "sure":
        return believe(bench, seat, (belief_from(rest),))
    jobs = plan_from(sitting.knowledge, bench.start, rest)
    if word == "fit":
        return fit(bench, seat, jobs)
    return decide(bench, seat, jobs, sitting.terminal.ask(PRACTICE_ASK["words"]) or "")


def _told(sitting: _Sitting, word: str, line: str) -> None:
    """Words that only show something."""
    sheet, terminal = sitting.sheet(), sitting.terminal
    if word == "checks":
        terminal.show([checks_block(sheet)])
    elif word == "repairs":
        terminal.show([repairs_block(sheet)])
    elif word == "known":
        terminal.show([Items("", told_items(sheet.known, len(sheet.case.banks)))])
    elif word == "help":
        terminal.tell(PRACTICE_ASK["hello"])
        terminal.tell(PRACTICE_ASK["examples"])
    else:
        terminal.tell(PRACTICE_ASK["not_understood"].format(text=line))
