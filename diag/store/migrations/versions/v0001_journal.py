"""Version 1: journals, their cases, what was found, the words to search, and the customers in a table apart.

A step is never changed once it has shipped. May import: alembic.
"""

from __future__ import annotations

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_TABLES = (
    """
    CREATE TABLE cases (
        number INTEGER PRIMARY KEY,
        uid TEXT NOT NULL UNIQUE,
        revision INTEGER NOT NULL,
        title TEXT NOT NULL,
        engine TEXT NOT NULL,
        is_open INTEGER NOT NULL,
        opened_at TEXT NOT NULL,
        changed_at TEXT NOT NULL,
        closed_at TEXT NOT NULL,
        cured TEXT NOT NULL,
        come_back_of TEXT NOT NULL,
        words TEXT NOT NULL
    )""",
    """
    CREATE TABLE events (
        number INTEGER NOT NULL REFERENCES cases (number),
        revision INTEGER NOT NULL,
        kind TEXT NOT NULL,
        at TEXT NOT NULL,
        by_whom TEXT NOT NULL,
        data TEXT NOT NULL,
        PRIMARY KEY (number, revision)
    )""",
    """
    CREATE TABLE found (
        number INTEGER NOT NULL REFERENCES cases (number),
        component TEXT NOT NULL,
        state TEXT NOT NULL,
        place TEXT NOT NULL,
        sure TEXT NOT NULL
    )""",
    """
    CREATE TABLE customers (
        number INTEGER PRIMARY KEY REFERENCES cases (number),
        name TEXT NOT NULL,
        plate TEXT NOT NULL
    )""",
)
_INDEXES = (
    "CREATE INDEX cases_by_engine ON cases (engine, number)",
    "CREATE INDEX cases_by_open ON cases (is_open, number)",
    "CREATE INDEX cases_by_opened ON cases (opened_at)",
    "CREATE INDEX cases_by_come_back ON cases (come_back_of)",
    "CREATE INDEX found_by_component ON found (component, number)",
    "CREATE INDEX found_by_number ON found (number)",
)
_SEARCH_SQLITE = (
    """
    CREATE VIRTUAL TABLE case_words USING fts5 (
        words, content = 'cases', content_rowid = 'number', tokenize = 'unicode61'
    )""",
    """
    CREATE TRIGGER words_added AFTER INSERT ON cases BEGIN
        INSERT INTO case_words (rowid, words) VALUES (new.number, new.words);
    END""",
    """
    CREATE TRIGGER words_changed AFTER UPDATE OF words ON cases WHEN old.words <> new.words BEGIN
        INSERT INTO case_words (case_words, rowid, words) VALUES ('delete', old.number, old.words);
        INSERT INTO case_words (rowid, words) VALUES (new.number, new.words);
    END""",
)
_SEARCH_SERVER = ("CREATE INDEX cases_by_words ON cases USING gin (to_tsvector('simple', words))",)


def upgrade() -> None:
    """Make the tables."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    for table in _TABLES:
        op.execute(f"{table} STRICT" if sqlite else table)
    for statement in (*_INDEXES, *(_SEARCH_SQLITE if sqlite else _SEARCH_SERVER)):
        op.execute(statement)
