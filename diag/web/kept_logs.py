"""Keeps an uploaded log for a short while, so that it can be read again without being chosen a second time.

One log a session, the newest, in a folder of this process alone under the system's temporary one. Nothing stays: a log
goes when a newer one comes, when its readings are taken, some minutes after it was last read, and with the server; what
a killed server left is cleared at the next start. May import: the standard library, `diag.basics`, and within the room
`limits`.
"""

from __future__ import annotations

import os
import secrets
import shutil
import stat
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from diag.basics import UsageError
from diag.web.limits import Limit

__all__ = ["KeptLog", "KeptLogs", "clear_left_logs"]

MOST_BYTES = 256 << 20
MOST_REMEMBERED = 500
PREFIX, UNREADY = "diag-logs-", "diag-unready-"
LOCK = "lock"


@dataclass
class KeptLog:
    """One log. `key` names it in forms, `case` is the one it was uploaded to, `name` what it is called where it came
    from. `readers` are at work on it; `gone`: it is let go of once they are done."""

    key: str
    case: int
    name: str
    path: Path
    size: int
    until: float
    readers: int = 0
    gone: bool = False


@dataclass
class KeptLogs:
    """The logs of all sessions. `keep_s`: seconds that one stays after it was last read; `most_bytes`: all together,
    beyond which the oldest goes. `again` says how often one session may have its log read anew."""

    keep_s: float
    most_bytes: int = MOST_BYTES
    clock: Callable[[], float] = time.monotonic
    again: Limit = field(default_factory=lambda: Limit(20 / 60, 10))
    _said: dict[tuple[str, str], dict[int, tuple[str, str]]] = field(default_factory=dict)
    _held: dict[str, KeptLog] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)
    _folder: Path | None = None
    _alive: int | None = None
    _timer: threading.Timer | None = None

    def keep(self, owner: str, case: int, name: str, file: BinaryIO) -> KeptLog:
        """Keep a log of a session in place of the one before. Raises UsageError where there is no room for it."""
        key = secrets.token_urlsafe(16)
        try:
            path = self._room() / f"{key}.csv"
            size = _written(path, file)
        except OSError as error:
            why = error.strerror or "no room for it"
            raise UsageError(f"the log could not be kept while it is read: {why}; nothing of it was taken") from None
        made = KeptLog(key, case, name, path, size, self.clock() + self.keep_s)
        with self._lock:
            self.drop(owner)
            self._held[owner] = made
            while sum(each.size for each in self._held.values()) > self.most_bytes and len(self._held) > 1:
                self.drop(next(iter(self._held)))
            self._watch()
        return made

    @contextmanager
    def borrowed(self, owner: str, key: str, case: int) -> Iterator[KeptLog | None]:
        """The log of that name, if it is still this session's and of this case; it stays as long as it is borrowed."""
        with self._lock:
            self.sweep()
            held = self._held.get(owner)
            fits = held is not None and held.case == case and secrets.compare_digest(held.key.encode(), key.encode())
            found = held if fits else None
            if found is not None:
                found.readers += 1
        try:
            yield found
        finally:
            with self._lock:
                if found is not None:
                    found.readers -= 1
                    found.until = self.clock() + self.keep_s
                    if found.gone:
                        _let_go(found)

    def drop(self, owner: str, key: str = "") -> None:
        """Let go of a session's log; only of the one named so, where one is named."""
        with self._lock:
            held = self._held.get(owner)
            if held is not None and key in ("", held.key):
                del self._held[owner]
                held.gone = True
                _let_go(held)

    def remember(self, owner: str, heads: str, said: Mapping[int, tuple[str, str]]) -> None:
        """What a session said of columns with these heads, for its next log with the same; nothing: forget it."""
        with self._lock:
            self._said.pop((owner, heads), None)
            if said:
                self._said[owner, heads] = dict(said)
            while len(self._said) > MOST_REMEMBERED:
                del self._said[next(iter(self._said))]

    def remembered(self, owner: str) -> dict[str, dict[int, tuple[str, str]]]:
        """By the mark of the heads what a session said of their columns: channel and unit of each."""
        with self._lock:
            return {heads: said for (whose, heads), said in self._said.items() if whose == owner}

    def sweep(self) -> None:
        """Let go of what was last read too long ago."""
        with self._lock:
            now = self.clock()
            for owner in [owner for owner, each in self._held.items() if each.until <= now and not each.readers]:
                self.drop(owner)

    def close(self) -> None:
        """Let go of everything, and of the folder."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            self._held.clear()
            if self._folder is not None:
                shutil.rmtree(self._folder, ignore_errors=True)
                self._folder = None
            if self._alive is not None:
                os.close(self._alive)
                self._alive = None

    def _room(self) -> Path:
        """The folder, made with the first log: nobody else may look into it, and its lock says that we live."""
        with self._lock:
            if self._folder is None:
                unready = Path(tempfile.mkdtemp(prefix=UNREADY))  # under this name no other start looks at it
                self._alive = os.open(unready / LOCK, os.O_CREAT | os.O_RDWR, 0o600)
                _locked(self._alive)
                made = unready.with_name(PREFIX + unready.name.removeprefix(UNREADY))
                unready.rename(made)
                self._folder = made
            return self._folder

    def _watch(self) -> None:
        """See to it that what is there goes in time, though nobody should ask again."""
        if not self._held or (self._timer is not None and self._timer.is_alive()):
            return
        next_s = min(each.until for each in self._held.values()) - self.clock()
        self._timer = threading.Timer(max(next_s, 1.0), self._in_time)
        self._timer.daemon = True
        self._timer.start()

    def _in_time(self) -> None:
        with self._lock:
            self.sweep()
            self._timer = None
            if self._folder is not None:
                self._watch()


def _written(path: Path, file: BinaryIO) -> int:
    """Write a new file that nobody else may read, whole or not at all; its size in bytes. Raises OSError."""
    try:
        with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as out:
            shutil.copyfileobj(file, out)
        return path.stat().st_size
    except OSError:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise


def _let_go(held: KeptLog) -> None:
    if held.readers == 0:
        with suppress(OSError):
            held.path.unlink(missing_ok=True)


def _locked(descriptor: int) -> bool:
    """Lock a file as long as this process lives; whether nobody else has. Where the system has no such locks: yes."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def clear_left_logs(temporary: Path | None = None) -> None:
    """Clear what servers of this user left that were killed; those that live keep theirs."""
    folder = temporary or Path(tempfile.gettempdir())
    with suppress(OSError):
        for each in list(folder.glob(f"{PREFIX}*")):
            if _is_ours(each) and not _lives(each):
                shutil.rmtree(each, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    try:
        found = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(found.st_mode) and (not hasattr(os, "getuid") or found.st_uid == os.getuid())


def _lives(folder: Path) -> bool:
    """Whether the process that keeps its logs there still runs: its lock is held then."""
    try:
        descriptor = os.open(folder / LOCK, os.O_RDWR)
    except OSError:
        return False
    try:
        return not _locked(descriptor)
    finally:
        os.close(descriptor)
