"""What took time to work out, kept in the user's cache folder for the next start; losing it loses nothing.

`DIAG_CACHE` names another folder, or `none`. Files are read back only where nobody else can have written them.
May import: the standard library, and platformdirs where a folder is asked for.
"""

from __future__ import annotations

import atexit
import os
import pickle
import secrets
import stat
import sys
from collections.abc import Callable, Iterable
from hashlib import sha256
from pathlib import Path
from typing import Generic, TypeVar

__all__ = ["Kept", "fingerprint", "keep", "recall"]

Result = TypeVar("Result")
MOST_RESULTS = 3000  # of one kind, for the next start

MOST_FILES = 12  # of one kind; the oldest go first
_UNREADABLE = (
    OSError,
    EOFError,
    pickle.UnpicklingError,
    AttributeError,
    ImportError,
    LookupError,
    ValueError,
    TypeError,
)


def fingerprint(parts: Iterable[str | bytes], sources: Path) -> str:
    """A key that changes with any of the parts, with the program text in `sources` (a module or a folder of modules),
    and with the Python that runs it."""
    known = sha256(sys.version.encode())
    modules = sorted(sources.glob("*.py")) if sources.is_dir() else [sources]
    for module in modules:
        seen = module.stat()
        known.update(f"{module}:{seen.st_size}:{seen.st_mtime_ns};".encode())
    for part in parts:
        text = part.encode("utf-8", "surrogatepass") if isinstance(part, str) else part
        known.update(f"{len(text)}:".encode() + text)
    return known.hexdigest()[:40]


def recall(kind: str, key: str) -> object | None:
    """What was kept under that key; none where there is nothing, or nothing that can be read."""
    folder = _folder()
    if folder is None:
        return None
    path = folder / f"{kind}-{key}.pickle"
    try:
        with path.open("rb") as stream:
            if not _only_ours(os.fstat(stream.fileno())) or not _only_ours(folder.stat()):
                return None
            kept: object = pickle.load(stream)
    except _UNREADABLE:
        return None
    return kept


def keep(kind: str, key: str, thing: object) -> None:
    """Keep a thing for the next start, whole or not at all; where that cannot be done, nothing is kept or said."""
    folder = _folder()
    if folder is None:
        return
    temporary = folder / f".{kind}-{secrets.token_hex(6)}.part"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            with os.fdopen(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as stream:
                pickle.dump(thing, stream, pickle.HIGHEST_PROTOCOL)
            temporary.replace(folder / f"{kind}-{key}.pickle")
        finally:
            temporary.unlink(missing_ok=True)
        for old in sorted(folder.glob(f"{kind}-*.pickle"), key=lambda path: path.stat().st_mtime)[:-MOST_FILES]:
            old.unlink(missing_ok=True)
    except OSError:
        return


class Kept(Generic[Result]):
    """Results that depend on nothing but what they are asked of, made here or at an earlier start.

    `sources`: the module, or folder of modules, that makes them; when it changes, they are made anew. Earlier results
    stay packed until they are asked for; what is new is kept when the program ends.
    """

    def __init__(self, kind: str, sources: Path) -> None:
        self.kind, self.sources = kind, sources
        self.here: dict[bytes, Result] = {}
        self.new: dict[bytes, bytes] = {}
        self.earlier: dict[bytes, bytes] | None = None

    def of(self, asked: str, make: Callable[[], Result]) -> Result:
        """The result of what is `asked` (all that it depends on, in words that tell every difference)."""
        name = sha256(asked.encode()).digest()
        if name not in self.here:
            packed = self._known().get(name)
            self.here[name] = self._made(name, make) if packed is None else pickle.loads(packed)
        return self.here[name]

    def _known(self) -> dict[bytes, bytes]:
        if self.earlier is None:
            known = recall(self.kind, fingerprint((), self.sources))
            self.earlier = known if isinstance(known, dict) else {}
        return self.earlier

    def _made(self, name: bytes, make: Callable[[], Result]) -> Result:
        if not self.new:
            atexit.register(self._keep_all)
        result = make()
        self.new[name] = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
        return result

    def _keep_all(self) -> None:
        every = list({**self._known(), **self.new}.items())
        keep(self.kind, fingerprint((), self.sources), dict(every[-MOST_RESULTS:]))


def _folder() -> Path | None:
    named = os.environ.get("DIAG_CACHE", "")
    if named:
        return None if named == "none" else Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("diag", appauthor=False)


def _only_ours(seen: os.stat_result) -> bool:
    """Whether a file or folder is the user's own and nobody else may write to it (where the system can tell)."""
    if not hasattr(os, "getuid"):
        return True
    return seen.st_uid == os.getuid() and not seen.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
