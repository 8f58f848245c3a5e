"""Every earlier version opens in the newest program; a newer one is refused; nothing is half changed."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory

from diag.basics import BookError
from diag.casebook import demo_cases, load_case
from diag.knowledge_base import Knowledge
from diag.store import (
    Customer,
    Draft,
    Likeness,
    Remark,
    Wanted,
    append,
    case_of,
    closed_cases,
    customer_of,
    find_cases,
    keep,
    open_book,
    opening,
    read_kept,
    similar_cases,
)
from diag.store import schema as schema_module
from diag.store.schema import NEWEST, VERSIONS, bring_up_to_date
from diag.store.sql import Database

DATA = Path(__file__).parent / "data"
EARLIER = VERSIONS[:-1]


def version(path: Path) -> str:
    with closing(sqlite3.connect(path)) as connection:
        return str(connection.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def shape(path: Path) -> list[tuple[str, str]]:
    """The tables and indexes of a book, as they are described."""
    with closing(sqlite3.connect(path)) as connection:
        return sorted(connection.execute("SELECT name, COALESCE(sql, '') FROM sqlite_schema").fetchall())


def test_every_earlier_version_has_its_stored_file() -> None:
    """Whoever adds a step stores a book of the version before it."""
    assert sorted(path.name for path in DATA.iterdir()) == [f"version_{each}.sqlite3" for each in EARLIER]


def test_the_steps_are_those_that_the_program_knows() -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(schema_module.__file__).parent / "migrations"))
    steps = [step.revision for step in ScriptDirectory.from_config(config).walk_revisions()]
    assert tuple(reversed(steps)) == VERSIONS


@pytest.mark.parametrize("earlier", EARLIER)
def test_a_book_of_an_earlier_version_opens_with_all_that_it_holds(
    earlier: str, knowledge: Knowledge, tmp_path: Path
) -> None:
    """Cases, outcome, customer, words to search; and it can be gone on with like a new one."""
    path = tmp_path / "book.sqlite3"
    shutil.copy(DATA / f"version_{earlier}.sqlite3", path)
    assert version(path) == earlier
    with open_book(str(path)) as book:
        assert [row.number for row in find_cases(book, Wanted())] == [3, 2, 1]
        for number, name in ((1, "one_blown_seal"), (2, "resealed_and_back_again")):
            written_then = replace(
                load_case(demo_cases()[name], knowledge), numbering=None
            )  # came with a later version
            assert case_of(read_kept(book, number), knowledge) == written_then
        assert customer_of(book, 1) == Customer("Invented Customer", "IN 1")
        assert [row.number for row in find_cases(book, Wanted(words="skerry bore"))] == [1]
        (closed,) = closed_cases(book, knowledge)
        assert (closed.outcome.minutes, closed.outcome.cost, closed.came_back) == (95.0, 269.0, None)
        assert read_kept(book, 3).standing.revision == read_kept(book, 3).revision
        alike = Likeness({"seal": {"blown": 0.5}}, frozenset())
        append(book, 2, (Remark("gone on with"),), likeness=alike)
        assert [each.number for each in similar_cases(book, alike)] == [2]
    assert version(path) == NEWEST
    with open_book(str(tmp_path / "new.sqlite3")):
        pass
    assert shape(path) == shape(tmp_path / "new.sqlite3")


def test_every_table_of_ours_is_strict(tmp_path: Path) -> None:
    """A number never becomes text unseen."""
    with open_book(str(tmp_path / "book.sqlite3")) as book, book.database.raw() as connection:
        tables = connection.execute("PRAGMA table_list").fetchall()
        ours = {name: strict for schema, name, kind, _, _, strict in tables if schema == "main" and kind == "table"}
        del ours["sqlite_schema"]
        assert {name for name, strict in ours.items() if not strict} == set()
        assert {"cases", "events", "found", "customers", "layouts", "likeness", "alembic_version"} <= set(ours)
        modes = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")]
        assert modes == ["wal", 2]  # 2 is FULL


@pytest.mark.parametrize("name", ["sqlite", "postgresql"])
def test_a_newer_book_is_refused_and_left_as_it_is(name: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    place = str(tmp_path / "b.sqlite3") if name == "sqlite" else request.getfixturevalue("server").fresh("newer")
    with open_book(place, tmp_path / "files") as book:
        keep(book, opening(Draft("ostrel_4")))
        with book.database.writing() as session:
            session.run("UPDATE alembic_version SET version_num = '0099'")
    said = rf"a newer diag has written this book \(version 0099; this diag knows up to {NEWEST}\)"
    with pytest.raises(BookError, match=said), open_book(place, tmp_path / "files"):
        pass
    database = Database(place)
    with database.reading() as session:
        assert session.rows("SELECT version_num FROM alembic_version") == [("0099",)]
    database.close()


def test_a_step_that_fails_leaves_the_book_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All steps run in one transaction: here the second of two fails after it has made a table."""
    path = tmp_path / "book.sqlite3"
    broken = tmp_path / "broken"
    shutil.copytree(Path(schema_module.__file__).parent / "migrations", broken / "migrations")
    step = broken / "migrations" / "versions" / "v0002_likeness.py"
    step.write_text(step.read_text().replace("number INTEGER PRIMARY KEY REFERENCES", "number WRONG REFERENCES"))
    monkeypatch.setattr(schema_module, "__file__", str(broken / "schema.py"))
    database = Database(str(path))
    with pytest.raises(BookError, match="unknown datatype"):
        bring_up_to_date(database)
    database.close()
    assert shape(path) == []
    monkeypatch.undo()
    with open_book(str(path)):
        pass
    assert version(path) == NEWEST


def test_something_else_than_a_book_is_refused(tmp_path: Path) -> None:
    """Another program's database, and a file that is none."""
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
        connection.commit()
    with pytest.raises(BookError, match="holds something else than a book of cases"), open_book(str(other)):
        pass
    text = tmp_path / "notes.txt"
    text.write_text("no database " * 100)
    with pytest.raises(BookError, match="this file is not a book of cases"), open_book(str(text)):
        pass
    assert text.read_text() == "no database " * 100
    with pytest.raises(BookError, match="it cannot be opened"), open_book(str(tmp_path)):
        pass


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ("mysql://somebody@nowhere/x", "'mysql://' is no kind of database that diag knows; write postgresql://"),
        ("postgresql://a:secret@/x?host=/nowhere&connect_timeout=1", "the database server does not answer, or refuses"),
    ],
)
def test_a_place_that_cannot_be_a_book_is_said_without_the_password(place: str, message: str) -> None:
    with pytest.raises(BookError, match=message) as caught, open_book(place):
        pass
    assert "secret" not in caught.value.message
