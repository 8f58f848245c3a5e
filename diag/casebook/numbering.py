"""Reads `numbering:`, what somebody has found out about how the control unit numbers the cylinders.

Left out, nobody has, and the program keeps several numberings in mind. May import: `diag.basics`,
`diag.knowledge_base`, and within the room the notebook.
"""

from __future__ import annotations

from typing import Final

from diag.basics import did_you_mean
from diag.casebook.notebook import Notebook, Path, shown
from diag.knowledge_base import Knowledge, Tree

__all__ = ["CONFIRMED", "NUMBERING", "as_the_maker_numbers", "numbering_words", "read_numbering"]

NUMBERING: Final = "code_numbering"  # the component whose states are the numberings
CONFIRMED: Final = "confirmed"  # as the maker of the engine numbers: the first state
_ONLY_GUESSED = "pair_exchanged"  # whoever knows of an exchanged pair writes each value at its own cylinder


def numbering_words(knowledge: Knowledge) -> dict[str, str]:
    """What may stand there, and the state that it means."""
    known = knowledge.components.get(NUMBERING)
    states = [state for state in (known.states if known is not None else {}) if state != _ONLY_GUESSED]
    return {CONFIRMED: states[0], **{state.replace("_", " "): state for state in states}} if states else {}


def read_numbering(book: Notebook, path: Path, value: Tree) -> str | None:
    """The state that was told; none where nothing was, or, with a problem, where it is none."""
    if value is None:
        return None
    words = numbering_words(book.knowledge)
    word = value.replace("_", " ").strip().lower() if isinstance(value, str) else None
    if word in words:
        return words[word]
    book.complain(path, f"{shown(value)} is no numbering of the cylinders", did_you_mean(str(value), words, most=6))
    return None


def as_the_maker_numbers(knowledge: Knowledge) -> str | None:
    """The state in which the control unit numbers as the maker of the engine does."""
    return numbering_words(knowledge).get(CONFIRMED)
