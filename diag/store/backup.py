"""Backing a book up into one file, while it is in use, and restoring it from there.

May import: `diag.basics`, and within the room what is below.
"""

from __future__ import annotations

import hashlib
import lzma
import os
import re
import secrets
import sqlite3
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from diag.basics import BookError, UsageError, is_there, listed
from diag.store.book import Book
from diag.store.codec import payload_of
from diag.store.files import Missing, file_path, hold
from diag.store.records import Attached
from diag.store.schema import NEWEST, VERSIONS, bring_up_to_date, version_of
from diag.store.sql import Database
from diag.store.where import files_folder

__all__ = ["BackedUp", "back_up", "restore"]

_BOOK = "book.sqlite3"
_DAMAGED = (KeyError, zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, RuntimeError, ValueError, struct.error)
"""What unpacking a damaged file comes upon: what the formats within a zip raise, wrong letters and numbers."""
_FILE = re.compile(r"files/[0-9a-f]{2}/([0-9a-f]{64})")


@dataclass(frozen=True)
class BackedUp:
    """How many cases a backup holds, and the attachments that it lacks because they were not there."""

    cases: int
    missing: tuple[Missing, ...] = ()


def back_up(book: Book, path: Path | str, overwrite: bool = False) -> BackedUp:
    """Copy the book with its attachments into one file (a zip), whole or not at all, and say what is in it.

    Others may go on writing; the copy is of one moment. Raises UsageError where the file is there already, or cannot be
    written, and for a book on a server, which its own tools back up; BookError where it is damaged. `overwrite` takes
    no older backup away that holds attachments which are not there any more.
    """
    path = Path(path)
    if book.database.is_server:
        raise UsageError("a book on a server is backed up with the server's tools (pg_dump); 'diag book export' works")
    if is_there(path) and not overwrite:
        raise UsageError(f"{path} is already there and was left as it is; choose another name, or add --replace")
    temporary = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        with tempfile.TemporaryDirectory(prefix=".diag-", dir=path.parent) as folder:
            copy = Path(folder) / _BOOK
            with book.database.raw(to_read=True) as source, closing(sqlite3.connect(copy)) as target:
                source.backup(target)
                target.execute("PRAGMA journal_mode = DELETE")
                _check_sound(target, book)
                (cases,) = target.execute("SELECT COUNT(*) FROM cases").fetchone()
                missing = _missing(target, book.files)
            _leave_the_last_copy(path, missing)
            try:
                _pack(temporary, copy, book.files)
                temporary.replace(path)
            finally:
                temporary.unlink(missing_ok=True)
    except OSError as error:
        raise UsageError(f"{path} could not be written: {error.strerror or error}") from error
    return BackedUp(int(cases), missing)


def _missing(copy: sqlite3.Connection, files: Path) -> tuple[Missing, ...]:
    """The attachments that the journals name and that are not in the folder, each once for a case."""
    rows = copy.execute("SELECT number, kind, data FROM events WHERE kind = 'attached' ORDER BY number, revision")
    named = ((number, payload_of(kind, data, f"case {number}")) for number, kind, data in rows)
    found = [Missing(number, payload) for number, payload in named if isinstance(payload, Attached)]
    return tuple(each for each in dict.fromkeys(found) if not file_path(files, each.attached.digest).is_file())


def _leave_the_last_copy(path: Path, missing: tuple[Missing, ...]) -> None:
    """Refuse to write over a backup that still holds what is missing now."""
    if not missing or not is_there(path):
        return
    try:
        with zipfile.ZipFile(path) as packed:
            held = {match[1] for name in packed.namelist() if (match := _FILE.fullmatch(name))}
    except _DAMAGED:
        return
    names = [f"{each.attached.name} of case {each.number}" for each in missing if each.attached.digest in held]
    if names:
        raise UsageError(
            f"{path} still holds what is not beside the book any more ({listed(names, 'and')}) and was left as it is; "
            "back up under another name, and restore this one into another book (--book) to have it back"
        )


def _check_sound(copy: sqlite3.Connection, book: Book) -> None:
    """Refuse what could not be restored, before it takes the place of an older backup that can."""
    try:
        sound = copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    except sqlite3.DatabaseError:
        sound = False
    if not sound:
        raise BookError(
            f"{book.database.path}: it is damaged, so this backup could not be restored; nothing was written. Keep "
            "your older backups, and restore the newest with 'diag book restore'"
        )
    for file in _attachments(book.files):
        if hashlib.sha256(file.read_bytes()).hexdigest() != file.name:
            raise BookError(
                f"{file}: this attachment is not what was kept, so a backup with it could not be restored; nothing was "
                "written. Take it away, or put it back out of an older backup"
            )


def _attachments(files: Path) -> list[Path]:
    return [file for file in sorted(files.glob("??/*")) if not file.name.startswith(".")]


def _pack(path: Path, copy: Path, files: Path) -> None:
    with path.open("xb") as stream:
        path.chmod(0o600)
        with zipfile.ZipFile(stream, "w") as packed:
            packed.write(copy, _BOOK, zipfile.ZIP_DEFLATED)
            for file in _attachments(files):
                packed.write(file, f"files/{file.parent.name}/{file.name}")
        stream.flush()
        os.fsync(stream.fileno())


def restore(place: str, path: Path | str, overwrite: bool = False, files: Path | None = None) -> int:
    """Make the book at `place` (a file) what it was in a backup, and give the number of its cases.

    Everything is checked first; the change itself is one transaction. A book that has cases is only written over with
    `overwrite`; one so damaged that it cannot be opened is then set aside beside it. Raises UsageError, and BookError
    where the backup is damaged or of a newer diag.
    """
    database = Database(place)
    if database.is_server:
        raise UsageError(
            "a book on a server is restored with the server's tools (pg_restore), or by 'diag book import'"
        )
    with _unpacked(Path(path), files or files_folder(place), database.path.parent) as copy:
        try:
            _check_free(database, overwrite)
            with closing(sqlite3.connect(copy)) as source, database.raw() as target:
                source.backup(target)
            bring_up_to_date(database)
            with database.reading() as session:
                rows = session.rows("SELECT COUNT(*) FROM cases")
        finally:
            database.close()
    return int(rows[0][0])


@contextmanager
def _unpacked(path: Path, files: Path, beside: Path) -> Iterator[Path]:
    """The book of a backup as a file that has been checked; its attachments are in their folder then."""
    with _opened(path) as packed, _folder_in(beside) as folder:
        try:
            copy = Path(packed.extract(_BOOK, folder))
            _check_copy(copy, path)
            for name in packed.namelist():
                if (match := _FILE.fullmatch(name)) and hold(files, packed.read(name)) != match[1]:
                    raise BookError(f"{path}: the attachment {match[1][:12]}... in it is damaged; nothing was changed")
        except _DAMAGED:
            raise _no_backup(path) from None
        except OSError as error:
            raise UsageError(f"{path} could not be read: {error.strerror or error}") from error
        yield copy


@contextmanager
def _folder_in(beside: Path) -> Iterator[str]:
    """A folder that is gone afterwards, where the book is to be. Raises BookError where there can be none."""
    try:
        folder = tempfile.TemporaryDirectory(prefix=".diag-", dir=beside)
    except OSError as error:
        raise BookError(f"{beside}: nothing can be written in this folder: {error.strerror or error}") from error
    with folder as name:
        yield name


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except FileNotFoundError:
        raise UsageError(f"{path}: there is no such file") from None
    except _DAMAGED:
        raise _no_backup(path) from None
    except OSError as error:
        raise UsageError(f"{path} could not be read: {error.strerror or error}") from error


def _no_backup(path: Path) -> BookError:
    return BookError(f"{path}: this is not a backup of a book, or it is damaged; nothing was changed")


def _check_copy(copy: Path, path: Path) -> None:
    database = Database(str(copy))
    try:
        with database.raw() as connection:
            sound = connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            connection.execute("PRAGMA journal_mode = DELETE")
        with database.reading() as session:
            version = version_of(session, database)
    except BookError:
        sound, version = False, ""
    finally:
        database.close()
    if not sound or not version:
        raise BookError(f"{path}: the book in this backup is damaged; nothing was changed")
    if version not in VERSIONS:
        raise BookError(
            f"{path}: a newer diag has written this backup (version {version}; this diag knows up to {NEWEST}). "
            "Use the newer diag; nothing was changed."
        )


def _check_free(database: Database, overwrite: bool) -> None:
    """Refuse to write over a book with cases; set aside what is so damaged that it cannot be opened."""
    if not is_there(database.path):
        return
    try:
        with database.reading() as session:
            version = version_of(session, database)
            cases = session.rows("SELECT COUNT(*) FROM cases")[0][0] if version else 0
    except BookError:
        if not overwrite:
            raise
        database.close()
        _set_aside(database.path)
        return
    if cases and not overwrite:
        raise UsageError(
            f"{database.path} is a book with {cases} {'case' if cases == 1 else 'cases'} and was left as it is; "
            "to put the backup in its place, add --replace"
        )


def _set_aside(path: Path) -> None:
    mark = datetime.now().strftime("%Y%m%d-%H%M%S")
    for ending in ("", "-wal", "-shm"):
        file = path.with_name(path.name + ending)
        if file.exists():
            file.rename(file.with_name(f"{file.name}.damaged-{mark}"))
