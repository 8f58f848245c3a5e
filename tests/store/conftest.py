"""Books to test with: in a file, and on a PostgreSQL server that the tests start."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest

from diag.knowledge_base import Knowledge, load_knowledge
from diag.store import Book, open_book
from tests.support.postgres import Server, missing, running_server

_NUMBER = itertools.count(1)


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    if reason := missing():
        pytest.skip(reason)
    with running_server() as started:
        yield started


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new book may be, in each kind of database."""
    if request.param == "sqlite":
        return str(tmp_path / "book.sqlite3")
    server: Server = request.getfixturevalue("server")
    return server.fresh(f"book{next(_NUMBER)}")


@pytest.fixture
def book(place: str, tmp_path: Path) -> Iterator[Book]:
    """A new book in each kind of database."""
    with open_book(place, tmp_path / "files") as opened:
        yield opened


@pytest.fixture
def file_book(tmp_path: Path) -> Iterator[Book]:
    """A new book in a file."""
    with open_book(str(tmp_path / "book.sqlite3")) as opened:
        yield opened
