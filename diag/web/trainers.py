"""Whose class it is: marks of the browsers of trainer and trainees beside its journals, and the code for another one.

What is kept is enough to know a browser's secret again and too little to make it.
May import: `diag.basics`, and within the room `sessions` and words.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from diag.basics import UsageError, write_whole
from diag.web.sessions import Pairing, spaced
from diag.web.words import SAY
from diag.web.words_classroom import CLASSROOM

__all__ = ["KEPT_AS", "Marks", "TrainerCode", "began", "end_marks", "fingerprint", "keep_marks", "read_marks"]

KEPT_AS, ENDED_AS = "page.held", "page.ended"  # beside the journals; no journals themselves


@dataclass(frozen=True)
class Marks:
    """Fingerprints of the secrets of the trainer's browser, and of those that sit there, by name in small letters."""

    trainer: str
    seats: Mapping[str, str]


def fingerprint(token: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(token.encode()).hexdigest()


def keep_marks(folder: Path, marks: Marks) -> None:
    """Keep the marks of a class that is held."""
    content = json.dumps({"trainer": marks.trainer, "seats": dict(marks.seats)}, ensure_ascii=False)
    path = folder / KEPT_AS
    write_whole(path, content + "\n", overwrite=True)
    path.chmod(0o600)
    path.with_name(ENDED_AS).unlink(missing_ok=True)


def end_marks(folder: Path) -> None:
    """The class is held no more; whose it was stays known."""
    with suppress(OSError):  # a folder that was taken away needs no mark
        (folder / KEPT_AS).replace(folder / ENDED_AS)


def read_marks(path: Path) -> Marks | None:
    """The marks of a file; none where there are none that can be read."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Marks(str(told["trainer"]), {str(name): str(mark) for name, mark in told["seats"].items()})
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def began(token: str, folder: Path) -> bool:
    """Whether the browser with this secret is known as the trainer's of a class that lies in a folder."""
    marks = [read_marks(folder / name) for name in (KEPT_AS, ENDED_AS)]
    return bool(token) and fingerprint(token) in {each.trainer for each in marks if each is not None}


class TrainerCode:
    """The code by which a browser that did not begin a class becomes its trainer's. `tell` prints it where diag was
    started, for whoever stands there; it works once, and wrong ones are few."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._code: Pairing | None = None
        self._lock = threading.Lock()

    def draw(self) -> Pairing:
        """Draw and tell it, where that was not done yet."""
        with self._lock:
            if self._code is None:
                self._code = Pairing(lambda code: self._tell(CLASSROOM["code_told"].format(code=spaced(code))))
            return self._code

    def admit(self, code: str, address: str) -> None:
        """Let a code pass. Raises UsageError for a wrong one, and for too many tries from an address."""
        drawn = self.draw()
        wait_s = drawn.wait_s(address)
        if wait_s > 0:
            raise UsageError(SAY["pair_wait"].format(seconds=int(wait_s) + 1))
        if not drawn.fits(code):
            raise UsageError(SAY["pair_wrong"])
        with self._lock:
            self._code = None
