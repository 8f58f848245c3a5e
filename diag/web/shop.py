"""Everything that the pages share while the program runs. Nothing of a case lives here: that is in the book.

May import: the rooms below, and within the room what is below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from diag.knowledge_base import Knowledge
from diag.store import Book
from diag.web.keeping import Keeping
from diag.web.reckoner import Reckoner
from diag.web.sessions import Pairing, Sessions
from diag.web.settings import Settings

__all__ = ["Shop"]


@dataclass(frozen=True)
class Shop:
    """`keeping`: cases of the book; `reckoner`: what follows from a case; `sessions` and `pairing`: who asks."""

    settings: Settings
    knowledge: Knowledge
    keeping: Keeping
    reckoner: Reckoner
    sessions: Sessions
    pairing: Pairing | None

    @staticmethod
    def of(settings: Settings, knowledge: Knowledge, book: Book, tell_code: Callable[[str], None]) -> Shop:
        """The shop of an open book."""
        pairing = Pairing(tell_code) if settings.network else None
        keeping = Keeping(book, knowledge)
        return Shop(settings, knowledge, keeping, Reckoner(settings, knowledge), Sessions(), pairing)
