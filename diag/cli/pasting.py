"""Commands that are printed to go on with, so that they work where they are pasted.

May import: `diag.basics`; the other rooms only inside functions.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from shlex import quote

from diag.cli.inputs import BOOK_SIGN

__all__ = ["WorkedWith"]

CASE_TO_NAME = "CASE"  # stands where the case has no name yet


@dataclass(frozen=True)
class WorkedWith:
    """What a command was given to work with: its overlays, its knowledge folder, its book. A command to go on with
    needs the same."""

    overlays: Sequence[Path] | None = None
    knowledge: Path | None = None
    book: str | None = None

    def command(self, *words: str) -> str:
        """A command with these words, the overlays and the knowledge folder; a command of the book with the book."""
        named = [("--book", _shown(self.book))] if self.book and words[0] == "book" else []
        named += [("--overlay", str(each)) for each in self.overlays or ()]
        named += [("--knowledge", str(self.knowledge))] if self.knowledge is not None else []
        return " ".join(["diag", *map(quote, words), *(f"{option} {quote(what)}" for option, what in named)])

    def on(self, case: str | None) -> Callable[[str], str]:
        """What makes the command of that word about a case; none: about one that has still to be named."""
        name = CASE_TO_NAME if case is None else case
        return lambda word: f"{self._where(name)}{self.command(word, name)}"

    def _where(self, case: str) -> str:
        """What says where the book of a case is, unless that is the usual one; commands about cases have no option."""
        if not case.startswith(BOOK_SIGN):
            return ""
        from diag.store import BOOK_VARIABLE

        told = os.environ.get(BOOK_VARIABLE, "")
        place = self.book or ("" if "://" in told else told)  # a server's place may hold a password and is left alone
        return f"{BOOK_VARIABLE}={quote(_shown(place))} " if place else ""


def _shown(place: str) -> str:
    """The place of a book without a password."""
    from diag.store import place_shown

    return place_shown(place)
