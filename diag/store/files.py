"""Photos, logs and other files: by the hash of their content in a folder, written whole or not at all.

May import: `diag.basics`, and within the room what is below.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from dataclasses import dataclass
from pathlib import Path

from diag.basics import BookError, UsageError
from diag.store.book import Book, Kept, append, read_kept
from diag.store.records import Attached

__all__ = ["Missing", "attach", "file_bytes", "file_path", "hold", "is_held"]

MOST_BYTES = 500_000_000
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Missing:
    """An attachment that the journal of a case names and whose copy is not there any more."""

    number: int
    attached: Attached


def attach(book: Book, number: int, *paths: Path | str, by: str = "") -> tuple[Kept, tuple[Attached, ...]]:
    """Keep copies of files with a case, all of them or none; and those that are new there. The same content is kept
    once, however often it is attached, and a file that the case has under that name already is no event.

    Raises UsageError where a file cannot be read or is empty, or the case is not there, BookError where it cannot be
    kept.
    """
    files = [Path(path) for path in paths]
    there = {(each.digest, each.name) for each in read_kept(book, number).standing.files}
    for path in files:
        _refuse_unfit(path)
    held = dict.fromkeys(_hold_copy(book.files, path) for path in files)
    new = tuple(each for each in held if (each.digest, each.name) not in there)
    return (append(book, number, new, by=by) if new else read_kept(book, number)), new


def _refuse_unfit(path: Path) -> None:
    """Raises UsageError for a file that cannot be read, is empty, or is too large."""
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except OSError as error:
        raise UsageError(f"{path} could not be read: {error.strerror or error}") from error
    if size > MOST_BYTES:
        raise UsageError(f"{path} is larger than {MOST_BYTES // 1_000_000} MB; attach a shorter piece of it")
    if not size:
        raise UsageError(f"{path} is empty; look whether it was copied whole")


def _hold_copy(folder: Path, path: Path) -> Attached:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise UsageError(f"{path} could not be read: {error.strerror or error}") from error
    return Attached(hold(folder, content), path.name, len(content))


def hold(folder: Path, content: bytes) -> str:
    """Put content into the folder of attachments, on the disk before this returns, and give its digest."""
    digest = hashlib.sha256(content).hexdigest()
    path = file_path(folder, digest)
    if path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == digest:
        return digest
    temporary = path.with_name(f".{digest[:16]}.{secrets.token_hex(6)}.part")
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        try:
            with temporary.open("xb") as stream:
                temporary.chmod(0o600)
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            temporary.replace(path)
            _sync_folder(path.parent)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as error:
        raise BookError(f"{path.parent}: the file could not be kept: {error.strerror or error}") from error
    return digest


def file_path(folder: Path, digest: str) -> Path:
    """Where the content with a digest lies. Raises BookError for what is no digest."""
    if not _DIGEST.fullmatch(digest):
        raise BookError(f"'{digest[:80]}' is not the SHA-256 of a file")
    return folder / digest[:2] / digest


def is_held(folder: Path, attached: Attached) -> bool:
    """Whether there is a copy of an attachment, also one that cannot be read or is damaged: that one is not lost."""
    try:
        file_path(folder, attached.digest).lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True
    return True


def file_bytes(folder: Path, attached: Attached) -> bytes:
    """The content of an attachment. Raises BookError where it is missing or is not what was attached."""
    path = file_path(folder, attached.digest)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise BookError(f"{attached.name}: its copy {path} could not be read: {error.strerror or error}") from error
    if hashlib.sha256(content).hexdigest() != attached.digest:
        raise BookError(
            f"{attached.name}: its copy {path} is not what was attached any more. Put it back out of a backup, or take "
            "it away to go on without it"
        )
    return content


def _sync_folder(folder: Path) -> None:
    """Let the folder's own entry reach the disk, where the system can do that."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
