"""What the commands of the trainer share: what typed words mean, and the state as a page.

May import: `diag.basics`; the other rooms only inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diag.basics import Place, UsageError
from diag.cli.output import show

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.decision import Job
    from diag.knowledge_base import Knowledge
    from diag.training import Belief, Journal

__all__ = ["belief_from", "place_from", "plan_from", "show_state"]

NOTHING = "nothing"


def show_state(knowledge: Knowledge, journal: Journal, as_json: bool, brief: bool = False) -> None:
    """What the trainee may see; `brief`: only what the last step brought."""
    from diag.report import latest_blocks, practice_state_sheet, state_blocks
    from diag.training import Bench, view_of

    play = journal.seat.play
    sheet = practice_state_sheet(knowledge, view_of(Bench.of(knowledge, play.practice), play))
    show(sheet, latest_blocks if brief else state_blocks, as_json)


def place_from(word: str) -> Place:
    """`2` is a cylinder, `A` a bank, nothing (or `vehicle`) the vehicle."""
    if not word or word.lower() == "vehicle":
        return None
    return int(word) if word.isdecimal() else word.upper()


def plan_from(knowledge: Knowledge, case: Case, words: Sequence[str]) -> tuple[Job, ...]:
    """`reseal@2 replace_filter`, or `nothing`. Raises UsageError."""
    from diag.worksheet import jobs_from

    if not words:
        raise UsageError("this names no work; write for example reseal@2, or 'nothing'")
    return () if [word.lower() for word in words] == [NOTHING] else jobs_from(knowledge, case.engine, words)


def belief_from(words: Sequence[str]) -> Belief:
    """`seal 2 80`, `mounts 30 %`. Raises UsageError."""
    from diag.training import Belief

    said = [word for word in " ".join(words).replace("%", " ").split() if word]
    example = "write for example 'seal 2 80' or 'mounts 30': fault, place, per cent"
    if len(said) not in (2, 3):
        raise UsageError(f"this does not say how sure you are of what; {example}")
    try:
        chance = float(said[-1]) / 100.0
    except ValueError:
        raise UsageError(f"'{said[-1]}' is no per cent; {example}") from None
    return Belief(said[0], place_from(said[1] if len(said) == 3 else ""), chance)
