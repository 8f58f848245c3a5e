"""Everything that the pages share while the program runs. Nothing of a case lives here: that is in the book.

May import: the rooms below, and within the room what is below.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass

from diag.basics import DiagError
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.store import Book, Kept, Likeness
from diag.web.keeping import Keeping
from diag.web.kept_logs import KeptLogs
from diag.web.reckoner import Reckoner
from diag.web.sessions import Pairing, Sessions, spaced
from diag.web.settings import Settings
from diag.web.words import SAY

__all__ = ["Shop"]

LOG = logging.getLogger("diag.web")


@dataclass(frozen=True)
class Shop:
    """`keeping`: cases of the book; `reckoner`: what follows from a case; `sessions` and `pairing`: who asks; `tell`
    prints a line where diag was started, for whoever stands there; `logs`: uploads that may be read again."""

    settings: Settings
    knowledge: Knowledge
    keeping: Keeping
    reckoner: Reckoner
    sessions: Sessions
    pairing: Pairing | None
    tell: Callable[[str], None]
    logs: KeptLogs

    def close(self) -> None:
        """End what works for the pages, and let go of what was uploaded."""
        self.logs.close()
        self.reckoner.close()

    def possible(self, case: Case) -> None:
        """Raise ImpossibleEvidence where the case cannot be, as far as that is known in time."""
        self.reckoner.possible(case, self.settings.entry_wait_s)

    def liken(self, kept: Kept, case: Case) -> None:
        """Have the book note what the case is compared by, once that is worked out; nobody waits for it."""

        def noted(future: Future[Likeness]) -> None:
            if future.cancelled() or future.exception() is not None:
                return  # what cannot be weighed is compared with nothing
            try:
                self.keeping.liken(kept.number, kept.revision, future.result())
            except DiagError as error:
                LOG.warning("case %s is not compared with others yet: %s", kept.number, error)

        self.reckoner.begun("alike", case, about=f"{kept.number} alike").add_done_callback(noted)

    @staticmethod
    def of(settings: Settings, knowledge: Knowledge, book: Book, tell: Callable[[str], None]) -> Shop:
        """The shop of an open book."""
        pairing = Pairing(lambda code: tell(SAY["pair_told"].format(code=spaced(code)))) if settings.network else None
        keeping = Keeping(book, knowledge)
        logs = KeptLogs(settings.log_kept_s)
        return Shop(settings, knowledge, keeping, Reckoner(settings, knowledge), Sessions(), pairing, tell, logs)
