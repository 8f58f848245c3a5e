"""Connections to the database, and its troubles in plain English. SQLAlchemy is imported here alone, when first used.

SQLite stands in write-ahead mode and waits for the disk at every commit (`synchronous=FULL`), so that what was
acknowledged is there after a power cut; what is deleted is overwritten (`secure_delete`). On a disk that is full or may
only be read there is no room for its log, so a book that lies still there is read without one.
May import: `diag.basics`, sqlalchemy inside functions.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.basics import BookError

if TYPE_CHECKING:
    import sqlite3

    from sqlalchemy import Connection, Engine

__all__ = ["Database", "Row", "Session", "Value", "place_shown"]

Value = str | int | float | bytes | None
Row = tuple[Any, ...]  # what columns hold is known where they are asked for

_WAIT_MS = 15_000  # as long a writer waits for another one
_ON_CONNECT = (
    f"PRAGMA busy_timeout = {_WAIT_MS}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA secure_delete = ON",
)
_NO_ROOM_FOR_LOG = ("disk is full", "disk i/o error", "readonly", "unable to open")  # what SQLite then says
_FULL_BELOW_BYTES = 100_000  # a log of pages takes 32 KiB before the first page is written
_LOCK_NUMBER = 7_446_171  # any number that only diag uses

_FULL = "the disk is full; nothing of this was written. Make room and try again"
_READ_ONLY = "it may only be read, not written; see who owns the file and its folder"
_TROUBLES: tuple[tuple[str, str], ...] = (
    ("disk is full", _FULL),
    ("no space left", _FULL),
    ("disk i/o error", "the disk could not be read or written; nothing of this was written"),
    ("is locked", "another program has been writing to it for too long; nothing of this was written. Try again"),
    ("readonly", _READ_ONLY),
    ("unable to open", "it cannot be opened; see whether the folder is there and may be written"),
    ("not a database", "this file is not a book of cases"),
    ("malformed", "it is damaged; restore a backup with 'diag book restore'"),
    ("no such module: fts5", "this Python's SQLite lacks full-text search (FTS5)"),
    ("connection", "the database server does not answer, or refuses; see its address, name and password"),
)


@dataclass(frozen=True)
class Session:
    """One transaction. Statements name their values as `:name`."""

    connection: Connection
    dialect: str

    def rows(self, statement: str, **values: Value) -> list[Row]:
        """All rows of a question."""
        from sqlalchemy import text

        return [tuple(row) for row in self.connection.execute(text(statement), values).all()]

    def one(self, statement: str, **values: Value) -> Row | None:
        """Its first row; none where there is none."""
        found = self.rows(statement, **values)
        return found[0] if found else None

    def run(self, statement: str, **values: Value) -> None:
        """Change something."""
        from sqlalchemy import text

        self.connection.execute(text(statement), values)

    def many(self, statement: str, values: Sequence[Mapping[str, Value]]) -> None:
        """Change something once for each set of values."""
        from sqlalchemy import text

        if values:
            self.connection.execute(text(statement), [dict(each) for each in values])


@dataclass(frozen=True)
class Database:
    """Where the book is: the path of a SQLite file, or the URL of a PostgreSQL database."""

    place: str

    @property
    def is_server(self) -> bool:
        """Whether it is a server's database rather than a file."""
        return "://" in self.place

    @property
    def path(self) -> Path:
        """The file. Only where there is one."""
        return Path(self.place)

    @property
    def shown(self) -> str:
        """The place for people: without a password."""
        return place_shown(self.place)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A transaction that only reads, and sees one state throughout."""
        with self._transaction("BEGIN", self._engine_to_read) as session:
            yield session

    @contextmanager
    def writing(self, alone: bool = False) -> Iterator[Session]:
        """A transaction that writes, all of it or nothing. `alone`: no second one of these runs on a server, either."""
        with self._transaction("BEGIN IMMEDIATE", lambda: self._engine) as session:
            if alone and self.is_server:
                session.run("SELECT pg_advisory_xact_lock(:number)", number=_LOCK_NUMBER)
            yield session

    @contextmanager
    def raw(self, to_read: bool = False) -> Iterator[sqlite3.Connection]:
        """The SQLite connection itself, outside any transaction; `to_read`: one that may only be read will do."""
        with self._plainly(), self._lending(self._engine_to_read() if to_read else self._engine) as engine:
            connection = engine.raw_connection()
            try:
                assert connection.driver_connection is not None
                yield connection.driver_connection
            finally:
                connection.close()

    @contextmanager
    def outside(self) -> Iterator[Session]:
        """A server's session outside any transaction, for what cannot run in one."""
        with self._plainly(), self._lending(self._engine) as engine, engine.connect() as fresh:
            yield Session(fresh.execution_options(isolation_level="AUTOCOMMIT"), fresh.dialect.name)

    def close(self) -> None:
        """Let go of all connections: of those that another thread is at, as soon as it is done."""
        self.__dict__["_closed"] = True
        if "_engine" in self.__dict__:
            self._engine.dispose()

    @contextmanager
    def _lending(self, engine: Engine) -> Iterator[Engine]:
        """The engine, for one connection. One that comes back when all is closed already is closed by itself."""
        pool = engine.pool
        try:
            yield engine
        finally:
            if "_closed" in self.__dict__:
                for each in (pool, engine.pool):  # closing gives the engine another pool
                    each.dispose()

    @contextmanager
    def _transaction(self, begin: str, engine: Callable[[], Engine]) -> Iterator[Session]:
        with self._plainly(), self._lending(engine()) as lent, lent.connect() as fresh:
            connection = fresh.execution_options(diag_begin=begin)
            with connection.begin():
                yield Session(connection, connection.dialect.name)

    @cached_property
    def _engine(self) -> Engine:
        from sqlalchemy import URL, create_engine, event

        if self.is_server:
            return create_engine(_server_url(self.place), pool_pre_ping=True)
        engine = create_engine(URL.create("sqlite", database=self.place))

        def connected(connection: sqlite3.Connection, _record: object) -> None:
            connection.isolation_level = None  # transactions begin where `begun` says so, and nowhere else
            for statement in _ON_CONNECT:
                connection.execute(statement).fetchall()

        def begun(connection: Connection) -> None:
            connection.exec_driver_sql(connection.get_execution_options().get("diag_begin", "BEGIN"))

        event.listen(engine, "connect", connected)
        event.listen(engine, "begin", begun)
        return engine

    def _engine_to_read(self) -> Engine:
        """The usual engine; where the disk lets no log be made and the book lies still, one that reads the file alone.

        That is asked anew each time, for there may be room again, or somebody writing.
        """
        import sqlite3

        from sqlalchemy.exc import DatabaseError

        if self.is_server:
            return self._engine
        try:
            self._engine.connect().close()
        except (DatabaseError, sqlite3.DatabaseError) as error:
            said = str(error).lower()
            if not (any(sign in said for sign in _NO_ROOM_FOR_LOG) and self._lies_still()):
                raise
            return self._still
        return self._engine

    def _lies_still(self) -> bool:
        """Whether all of the book is in its file: no log beside it holds something that is not in it yet."""
        with suppress(OSError):
            logs = (self.path.with_name(self.path.name + ending) for ending in ("-wal", "-journal"))
            return self.path.is_file() and not any(log.exists() and log.stat().st_size for log in logs)
        return False

    def _is_full(self) -> bool:
        """Whether the disk has no room, which SQLite may only tell as a failure of the disk."""
        with suppress(OSError):
            return not self.is_server and shutil.disk_usage(self.path.parent).free < _FULL_BELOW_BYTES
        return False

    def _may_be_read(self) -> bool:
        """Whether it is a file that may be read, so that only its log is what cannot be opened."""
        return not self.is_server and self.path.is_file() and os.access(self.path, os.R_OK)

    @cached_property
    def _still(self) -> Engine:
        """Reads a file that nobody writes to, without a log or locks; no connection outlives its transaction."""
        from sqlalchemy import NullPool, create_engine

        still = f"{self.path.absolute().as_uri()}?immutable=1"
        return create_engine("sqlite://", creator=lambda: _connected(still), poolclass=NullPool)

    @contextmanager
    def _plainly(self) -> Iterator[None]:
        """Say the database's troubles as BookError; mistakes of this program pass through as what they are."""
        import sqlite3

        from sqlalchemy.exc import DatabaseError, IntegrityError, NoSuchModuleError, ProgrammingError

        try:
            yield
        except (IntegrityError, ProgrammingError):
            raise
        except (DatabaseError, sqlite3.DatabaseError) as error:
            said = str(getattr(error, "orig", None) or error)
            plain = next((words for sign, words in _TROUBLES if sign in said.lower()), None)
            if plain is None:
                raise BookError(f"{self.shown}: {said.strip().splitlines()[0]}") from error
            if "disk i/o error" in said.lower() and self._is_full():
                plain = _FULL
            if "unable to open" in said.lower() and self._may_be_read():
                plain = _READ_ONLY  # it was opened, but no log can be made beside it
            raise BookError(f"{self.shown}: {plain}.") from error
        except NoSuchModuleError as error:
            raise BookError(f"{self.shown}: diag keeps books in SQLite files and PostgreSQL databases only") from error


def _connected(uri: str) -> sqlite3.Connection:
    import sqlite3

    return sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)


def place_shown(place: str) -> str:
    """The place of a book for people: without a password."""
    if "://" not in place:
        return place
    from sqlalchemy.engine import make_url

    return make_url(place).render_as_string(hide_password=True)


def _server_url(place: str) -> str:
    """The URL with the driver that diag uses. Raises BookError for another kind of database, or without the driver."""
    kind, _, rest = place.partition("://")
    if kind not in ("postgresql", "postgres", "postgresql+psycopg"):
        raise BookError(f"'{kind}://' is no kind of database that diag knows; write postgresql://user@host/name")
    try:
        import psycopg  # noqa: F401 - only whether it is there
    except ImportError:
        raise BookError("for PostgreSQL the package psycopg is missing; pip install 'psycopg[binary]'") from None
    return f"postgresql+psycopg://{rest}"
