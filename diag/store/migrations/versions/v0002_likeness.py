"""Version 2: what similar cases are found by. Cases kept before have none until they are next written.

A step is never changed once it has shipped. May import: alembic.
"""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_TABLES = (
    """
    CREATE TABLE layouts (
        layout INTEGER PRIMARY KEY,
        names TEXT NOT NULL UNIQUE
    )""",
    """
    CREATE TABLE likeness (
        number INTEGER PRIMARY KEY REFERENCES cases (number),
        layout INTEGER NOT NULL REFERENCES layouts (layout),
        chances BLOB NOT NULL,
        findings BLOB NOT NULL
    )""",
)


def upgrade() -> None:
    """Make the tables."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    for table in _TABLES:
        op.execute(f"{table} STRICT" if sqlite else table.replace("BLOB", "BYTEA"))
