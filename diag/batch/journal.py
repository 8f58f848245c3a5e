"""The folder beside the output in which a run keeps what is done, each piece in a file, whole or not at all.

    OUT.parts/plan.json     which run it is: table, mapping, knowledge, program, what was asked
    OUT.parts/read-7        what became of the rows of chunk 7
    OUT.parts/lot-12        what the cases of lot 12 come to

A run that was stopped, however, goes on with what is there. May import: basics.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from diag.basics import UsageError, is_there, write_whole

__all__ = ["Journal", "open_journal"]


class Journal:
    """What is done of a run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def has(self, kind: str, number: int) -> bool:
        """Whether a piece is there."""
        return (self.folder / f"{kind}-{number}").exists()

    def keep(self, kind: str, number: int, content: bytes) -> None:
        """Keep a piece."""
        write_whole(self.folder / f"{kind}-{number}", content, overwrite=True)

    def read(self, kind: str, number: int) -> bytes:
        """A piece that is there."""
        return (self.folder / f"{kind}-{number}").read_bytes()

    def remove(self) -> None:
        """Remove all of it: the output is whole."""
        _remove(self.folder)


def _remove(folder: Path) -> None:
    try:
        shutil.rmtree(folder)
    except OSError as error:
        raise UsageError(f"{folder} cannot be removed: {error.strerror or error}") from None


@contextmanager
def open_journal(outs: Sequence[Path], plan: Mapping[str, str], anew: bool) -> Iterator[Journal]:
    """The journal of an output (and what is written beside it), new or as far as it is.

    Raises UsageError where it is of another run, where a file is there already that this run did not begin, or while
    another process has it."""
    out = outs[0]
    folder = out.with_name(f"{out.name}.parts")
    if anew and is_there(folder):
        _remove(folder)
    there = next((each for each in outs if is_there(each)), None)
    if there is not None and not is_there(folder) and not anew:
        raise UsageError(f"{there} is already there and was left as it is; choose another name, or --anew")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror or error}") from None
    with _alone(folder):
        for left in folder.glob(".*.part"):
            left.unlink(missing_ok=True)  # half-written when the run was stopped
        known = folder / "plan.json"
        text = json.dumps(plan, indent=1, sort_keys=True)
        if known.exists() and known.read_text(encoding="utf-8") != text:
            before = json.loads(known.read_text(encoding="utf-8"))
            other = ", ".join(name for name in plan if before.get(name) != plan[name]) or "what was asked"
            raise UsageError(
                f"{folder} holds a run that was stopped, and {other} differs now; finish it, or use --anew"
            )
        write_whole(known, text, overwrite=True)
        yield Journal(folder)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """While this process works in the folder no other does; the system forgets that when the process ends."""
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    try:
        lock = (folder / "lock").open("w")
    except OSError as error:
        raise UsageError(f"{folder} cannot be worked in: {error.strerror or error}") from None
    with lock as stream:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise UsageError(f"another process works on {folder}; wait for it, or choose another name") from None
        yield
