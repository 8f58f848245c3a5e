"""A PostgreSQL server of our own, in a temporary folder, reached by a socket in it and by nothing else.

Runs as an ordinary user, as the server insists on that. May import: the standard library only.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Server", "missing", "running_server"]


@dataclass(frozen=True)
class Server:
    """A running server: its programs, its folder, and the user that it runs as (none: who runs the tests)."""

    programs: Path
    folder: Path
    user: str | None

    def url(self, database: str = "postgres") -> str:
        """Where a book may be."""
        return f"postgresql://keeper@/{database}?host={self.folder}"

    def fresh(self, name: str) -> str:
        """A new empty database."""
        self._do("createdb", "-h", str(self.folder), "-U", "keeper", name)
        return self.url(name)

    def start(self) -> None:
        """Start it, and wait until it answers.

        It leaves its writes to the system (`fsync=off`): what a test kills is the server, never the machine.
        """
        options = f"-k {self.folder} -c listen_addresses='' -c max_connections=30 -c fsync=off"
        log = str(self.folder / "log")
        self._do("pg_ctl", "-D", str(self.folder / "data"), "-o", options, "-l", log, "-w", "start")

    def stop(self, how: str = "fast") -> None:
        """Stop it; `immediate` is a crash: nothing is written out."""
        self._do("pg_ctl", "-D", str(self.folder / "data"), "-m", how, "-w", "stop")

    def _do(self, program: str, *arguments: str) -> None:
        # as another user by a program of the system: `user=` makes Python fork, which waits for all threads of numpy's
        # matrices, and now and then for ever
        changing = shutil.which("setpriv") if self.user is not None else None
        done = subprocess.run(
            [*([changing, "--reuid", str(self.user)] if changing else ()), str(self.programs / program), *arguments],
            user=None if changing else self.user,
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE if program != "pg_ctl" else subprocess.DEVNULL,
            stderr=subprocess.STDOUT if program != "pg_ctl" else subprocess.DEVNULL,
            check=False,
            timeout=120,
        )
        assert done.returncode == 0, f"{program}: {done.stdout!r}"


def missing() -> str:
    """Why there can be no server here; empty where there can."""
    if _programs() is None:
        return "PostgreSQL's server programs (initdb, pg_ctl) are not installed here"
    try:
        import psycopg  # noqa: F401 - only whether it is there
    except ImportError:
        return "the package psycopg is not installed here"
    if os.name != "posix" or (os.geteuid() == 0 and _ordinary_user() is None):
        return "there is no ordinary user here that a server could run as"
    return ""


def _programs() -> Path | None:
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((place for place in places if (place / "initdb").exists() and (place / "pg_ctl").exists()), None)


def _ordinary_user() -> str | None:
    names = {entry.pw_name for entry in pwd.getpwall()}
    return next((name for name in ("postgres", "nobody") if name in names), None)


@contextmanager
def running_server() -> Iterator[Server]:
    """Make a server and start it; all of it is gone afterwards. Only where nothing is `missing`."""
    programs = _programs()
    assert programs is not None
    user = _ordinary_user() if os.geteuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="diag-pg-", dir="/tmp"))  # a socket's path must be short
    try:
        folder.chmod(0o755)
        if user is not None:
            shutil.chown(folder, user)
        server = Server(programs, folder, user)
        server._do(
            "initdb", "-D", str(folder / "data"), "-U", "keeper", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8"
        )
        server.start()
        try:
            yield server
        finally:
            server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
