"""What the commands of the trainer share: which case, what typed words mean, and the state as a page.

May import: `diag.basics`; the other rooms only inside functions.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from diag.basics import CaseError, Place, Problem, UsageError, did_you_mean
from diag.cli.inputs import BOOK_SIGN
from diag.cli.output import show

if TYPE_CHECKING:
    from diag.casebook import Case
    from diag.decision import Job
    from diag.knowledge_base import Knowledge
    from diag.training import Belief, HiddenTruth, Journal, Practice

__all__ = ["belief_from", "place_from", "plan_from", "practice_from", "show_state"]

NOTHING = "nothing"
SEED_BYTES = 16


def practice_from(knowledge: Knowledge, name: str, key: bytes | None) -> tuple[Practice, HiddenTruth]:
    """A study that ships, one by its path, a closed case of the book, or with a key ENGINE#N: a made case with one
    fault. With a key the vehicle is the same every time."""
    from diag.training import Wish, made, seed_of, studies, study_named

    seed = seed_of(key, Wish(name), 1) if key is not None else int.from_bytes(secrets.token_bytes(SEED_BYTES), "big")
    if name.startswith(BOOK_SIGN):
        return _from_book(knowledge, name, seed)
    engine, made_case, number = name.partition("#")
    if made_case and number.isdecimal() and key is not None:
        found = made(knowledge, Wish(engine, faults=1), int(number), key)
        return found.practice, found.hidden
    known, path = studies(), Path(name)
    if name not in known and not path.exists():
        hint = did_you_mean(name, known) or "'diag practice studies' lists them"
        raise CaseError([Problem(name, 0, 0, "there is no such file and no case study of that name", hint)])
    return study_named(knowledge, path.stem, known.get(name, path), seed)


def _from_book(knowledge: Knowledge, name: str, seed: int) -> tuple[Practice, HiddenTruth]:
    from diag.cli.book import case_from_book, case_number
    from diag.store import open_book, read_kept
    from diag.training import from_book

    case = case_from_book(name, knowledge)
    with open_book(make=False) as book:
        outcome = read_kept(book, case_number(name)).standing.outcome
    if outcome is None:
        raise UsageError(f"{name} is not closed yet, so nobody knows what was wrong; close it first")
    return from_book(knowledge, case_number(name), case, outcome, seed)


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
