"""The versions of the database, and how a book becomes one of the newest. Alembic is imported only to change one.

All steps run in the one transaction that opens the book: either the book is of the newest version, or as it was.
May import: `diag.basics`, alembic inside functions, and within the room `sql`.
"""

from __future__ import annotations

from pathlib import Path

from diag.basics import BookError
from diag.store.sql import Database, Session

__all__ = ["NEWEST", "VERSIONS", "bring_up_to_date", "version_of"]

VERSIONS: tuple[str, ...] = ("0001", "0002")
NEWEST = VERSIONS[-1]
_MARK = "CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"


def bring_up_to_date(database: Database, to: str = NEWEST) -> None:
    """Make the database one of version `to` (the newest). Raises BookError where it is newer than this program, or
    holds something else than a book."""
    with database.reading() as session:
        if version_of(session, database) == to:
            return
    with database.writing(alone=True) as session:
        version = version_of(session, database)
        if version != to:
            _refuse_newer(version, database)
            _upgrade(session, version, to)


def version_of(session: Session, database: Database) -> str:
    """The version of the database as it stands; empty for an empty one. Raises BookError for one of something else."""
    tables = _tables(session)
    if "alembic_version" in tables:
        row = session.one("SELECT version_num FROM alembic_version")
        return row[0] if row is not None else ""
    if tables:
        raise BookError(f"{database.shown}: this database holds something else than a book of cases; choose another")
    return ""


def _tables(session: Session) -> set[str]:
    if session.dialect == "sqlite":
        return {name for (name,) in session.rows("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    return {
        name for (name,) in session.rows("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
    }  # fmt: skip


def _refuse_newer(version: str, database: Database) -> None:
    if version and version not in VERSIONS:
        raise BookError(
            f"{database.shown}: a newer diag has written this book (version {version}; this diag knows up to {NEWEST})."
            " Use the newer diag; nothing was changed."
        )


def _upgrade(session: Session, version: str, to: str) -> None:
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    if not version:
        strict = " STRICT" if session.dialect == "sqlite" else ""
        session.run(_MARK.replace("VARCHAR(32)", "TEXT") + strict)
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)
    with EnvironmentContext(
        config, script, fn=lambda revision, _: script._upgrade_revs(to, revision), destination_rev=to
    ) as environment:
        environment.configure(connection=session.connection)
        environment.run_migrations()
