"""Who is asking: sessions, the token that every form carries, and the pairing of a tablet. In memory only.

May import: the standard library, and within the room `limits`.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from diag.web.limits import Limit

__all__ = ["COOKIE", "Pairing", "Session", "Sessions", "spaced"]

COOKIE = "diag_session"
IDLE_S = 12 * 3600.0
MOST_SESSIONS = 2000
CODE_DIGITS = 8
WRONG_CODES = 10  # after so many the code is drawn anew


@dataclass(frozen=True)
class Session:
    """One browser. `key` stands in its cookie, `token` in its forms; `look` is what it asked for: light, dark or its
    own. `by`: the name that its entries carry in the journal."""

    key: str
    token: str
    seen: float
    look: str = ""
    by: str = ""


@dataclass
class Sessions:
    """All browsers that are known. Forgotten after twelve hours without a word, the longest unseen first."""

    clock: Callable[[], float] = time.monotonic
    _known: dict[str, Session] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self) -> Session:
        """A new session."""
        with self._lock:
            now = self.clock()
            known = {key: each for key, each in self._known.items() if now - each.seen < IDLE_S}
            while len(known) >= MOST_SESSIONS:
                del known[min(known, key=lambda key: known[key].seen)]
            session = Session(secrets.token_urlsafe(32), secrets.token_urlsafe(32), now)
            self._known = {**known, session.key: session}
            return session

    def of(self, key: str) -> Session | None:
        """The session of a cookie; none where it is unknown or too long ago."""
        with self._lock:
            session, now = self._known.get(key), self.clock()
            if session is None or now - session.seen >= IDLE_S:
                return None
            self._known[key] = replace(session, seen=now)
            return self._known[key]

    def change(self, session: Session, look: str | None = None, by: str | None = None) -> Session:
        """The session with another look or name."""
        with self._lock:
            told = replace(session, look=session.look if look is None else look, by=session.by if by is None else by)
            self._known[session.key] = told
            return told


def spaced(code: str) -> str:
    """A code as it is shown: `1234 5678`."""
    return f"{code[:4]} {code[4:]}"


@dataclass
class Pairing:
    """Lets a tablet in: by the code that stands on the screen of the machine, or once by the link that opens the first
    browser. Too many wrong codes bring a new code."""

    told: Callable[[str], None]
    clock: Callable[[], float] = time.monotonic
    start_key: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _code: str = ""
    _wrong: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        """Draw the first code; guesses are few for each address, and few for all together."""
        self._each = Limit(5 / 60, 5, self.clock)
        self._all = Limit(20 / 60, 20, self.clock)
        self._draw()

    @property
    def code(self) -> str:
        """The code as it stands on the screen."""
        return self._code

    def _draw(self) -> None:
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._wrong = 0
        self.told(self._code)

    def wait_s(self, address: str) -> float:
        """How long this address has to wait before it may try a code; 0: not at all."""
        return self._each.take(address) or self._all.take("all")

    def fits(self, code: str) -> bool:
        """Whether a code is the one on the screen."""
        digits = "".join(character for character in code if character.isascii() and character.isdigit())
        with self._lock:
            if hmac.compare_digest(digits.encode(), self._code.encode()):
                return True
            self._wrong += 1
            if self._wrong >= WRONG_CODES:
                self._draw()
            return False

    def starts(self, key: str) -> bool:
        """Whether this is the start link's key; it works once."""
        with self._lock:
            fits = bool(self.start_key) and hmac.compare_digest(key.encode(), self.start_key.encode())
            if fits:
                self.start_key = ""
            return fits
