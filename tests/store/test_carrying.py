"""A whole book goes out and comes in: the open form, and the backup."""

from __future__ import annotations

import csv
import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.basics import BookError, CaseError, UsageError
from diag.store import (
    BackedUp,
    Book,
    Closed,
    Customer,
    Draft,
    Exported,
    Fitted,
    Found,
    Imported,
    Likeness,
    Linked,
    Missing,
    Outcome,
    Payload,
    Remark,
    Wanted,
    append,
    attach,
    back_up,
    customer_of,
    export_book,
    file_bytes,
    find_cases,
    import_book,
    keep,
    open_book,
    opening,
    read_kept,
    restore,
    similar_cases,
)
from diag.store.sql import Database
from tests.store.examples import journals
from tests.support.effort import effort

IN_A_FILE = pytest.mark.parametrize("place", ["sqlite"], indirect=True)
ALIKE = Likeness({"seal": {"blown": 0.7}}, frozenset())


@pytest.fixture
def filled(book: Book, tmp_path: Path) -> Book:
    """Three cases: one closed with an attachment and likeness, one a come-back of it, one with a customer."""
    keep(book, opening(Draft("ostrel_4", "=Skerry, van")), likeness=ALIKE)
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8 invented")
    attach(book, 1, tmp_path / "photo.jpg")
    outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),), (Fitted("reseal", 2),), 95.0, 269.5, "EUR")
    first = append(book, 1, (Closed(outcome),))
    keep(book, opening(Draft("ostrel_4", "again")))
    append(book, 2, (Linked(first.uid),))
    keep(book, opening(Draft("karrick_v6")), customer=Customer("Somebody"))
    return book


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_book_comes_in_as_it_went_out_and_only_once(filled: Book, tmp_path: Path) -> None:
    """From either kind of database: the export of what came in is the same, byte for byte."""
    exported = export_book(filled, tmp_path / "out", customers=True)
    assert (exported.cases, exported.files, exported.customers) == (3, 1, 1)
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        assert import_book(second, tmp_path / "out") == Imported(3, 0, 0, 1, 1)
        assert import_book(second, tmp_path / "out") == Imported(0, 0, 3, 1, 1)
        export_book(second, tmp_path / "again", customers=True)
        assert contents(tmp_path / "again") == contents(tmp_path / "out")
        for number in (1, 2, 3):
            assert read_kept(second, number) == read_kept(filled, number)
        assert similar_cases(second, ALIKE) == similar_cases(filled, ALIKE)
        assert [row.came_back_from for row in find_cases(second, Wanted())] == [None, 1, None]
        assert file_bytes(second.files, read_kept(second, 1).standing.files[0]) == b"\xff\xd8 invented"


@effort(15)
@given(st.lists(journals(), min_size=1, max_size=4))
def test_any_book_makes_the_round_trip(told: list[tuple[Payload, ...]]) -> None:
    import tempfile

    told = [tuple(each for each in journal if not hasattr(each, "digest")) for journal in told]
    told = [journal for journal in told if not any(hasattr(each, "back_to") for each in journal)] or [told[0][:1]]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_book(str(folder / "one.sqlite3")) as one, open_book(str(folder / "two.sqlite3")) as two:
            for journal in told:
                keep(one, journal)
            export_book(one, folder / "out")
            import_book(two, folder / "out")
            export_book(two, folder / "again")
            assert contents(folder / "out") == contents(folder / "again")


def test_the_open_form_is_what_it_says(filled: Book, tmp_path: Path) -> None:
    """A line of JSON for each event under a line that names the form; a table that a spreadsheet opens safely."""
    export_book(filled, tmp_path / "out")
    lines = [json.loads(line) for line in (tmp_path / "out" / "journal.jsonl").read_text().splitlines()]
    assert lines[0] == {"form": "diag.journal/1"}
    assert [(line["number"], line["revision"], line["kind"]) for line in lines[1:]] == [
        (1, 1, "opened"), (1, 2, "attached"), (1, 3, "closed"), (2, 1, "opened"), (2, 2, "linked"), (3, 1, "opened"),
    ]  # fmt: skip
    rows = list(csv.DictReader((tmp_path / "out" / "cases.csv").read_text().splitlines()))
    assert rows[0]["title"] == "'=Skerry, van"
    assert (rows[0]["found"], rows[0]["fitted"]) == ("seal blown 2 (seen)", "1 reseal 2")
    assert (rows[0]["minutes"], rows[0]["cost"], rows[0]["currency"]) == ("95.0", "269.5", "EUR")
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "cases.csv", "files", "journal.jsonl", "likeness.jsonl",
    ]  # fmt: skip


def test_a_case_that_went_on_elsewhere_grows(filled: Book, tmp_path: Path) -> None:
    """And one that went on here is not cut back."""
    export_book(filled, tmp_path / "early")
    append(filled, 3, (Remark("later"),))
    export_book(filled, tmp_path / "late")
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        import_book(second, tmp_path / "early")
        assert import_book(second, tmp_path / "late") == Imported(0, 1, 2, 1, 0)
        assert import_book(second, tmp_path / "early") == Imported(0, 0, 3, 1, 0)
        assert read_kept(second, 3) == read_kept(filled, 3)


def test_a_case_that_went_two_ways_is_refused_and_nothing_comes_in(filled: Book, tmp_path: Path) -> None:
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        export_book(filled, tmp_path / "early")
        import_book(second, tmp_path / "early")
        append(second, 3, (Remark("here"),))
        append(filled, 3, (Remark("there"),))
        keep(filled, opening(Draft("ostrel_4")))
        export_book(filled, tmp_path / "late")
        said = r"different ways here and there: case 3 \(there case 3\) from revision 2 on\. Nothing was imported"
        with pytest.raises(BookError, match=said):
            import_book(second, tmp_path / "late")
        assert len(find_cases(second, Wanted())) == 3
        assert import_book(second, tmp_path / "late", without=(3,)) == Imported(1, 0, 2, 1, 0)
        assert read_kept(second, 3).standing.remarks == ("here",)


def test_numbers_that_are_taken_give_way(filled: Book, tmp_path: Path) -> None:
    export_book(filled, tmp_path / "out")
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        keep(second, opening(Draft("ostrel_4", "was here first")))
        import_book(second, tmp_path / "out")
        rows = find_cases(second, Wanted())
        assert sorted(row.number for row in rows) == [1, 2, 3, 4]
        assert {row.title for row in rows} == {"was here first", "=Skerry, van", "again", ""}
        keep(second, opening(Draft("ostrel_4", "next")))
        assert find_cases(second, Wanted(most=1))[0].number == 5


def changed(line: int, text: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        lines = (folder / "journal.jsonl").read_text().splitlines()
        lines[line - 1] = text
        (folder / "journal.jsonl").write_text("\n".join(lines) + "\n")

    return change


@IN_A_FILE
@pytest.mark.parametrize(
    ("change", "message"),
    [
        (changed(1, '{"form": "other/1"}'), r"journal\.jsonl:1:1: this is not of the form diag\.journal/1"),
        (changed(3, '{"case": '), r"journal\.jsonl:3:\d+: this is not JSON"),
        (changed(3, "[]"), r"journal\.jsonl:3:1: this line should be a mapping"),
        (changed(3, '{"case": "x"}'), r"journal\.jsonl:3:1: 'number' is missing"),
        (changed(3, '{"form": 1}'), r"journal\.jsonl:3:1: 'case' is missing"),
        (
            changed(3, '{"case":"x","number":1,"revision":1,"kind":"dreamt","at":"","by":"","data":{}}'),
            r"journal\.jsonl:3:1: data: there is no kind of event 'dreamt'",
        ),
        (
            changed(3, '{"case":"x","number":0,"revision":1,"kind":"note","at":"","by":"","data":{"text":"a"}}'),
            r"journal\.jsonl:3:1: 0 is no number of a case",
        ),
        (
            changed(3, '{"case":"x","number":1,"revision":1,"kind":"note","at":"","by":"","data":{"text":"a"}}'),
            r"journal\.jsonl:3:1: the journal that begins here: a journal begins with the opening",
        ),
        (lambda folder: (folder / "journal.jsonl").unlink(), "there is no such file; give the folder of an export"),
        (
            lambda folder: next((folder / "files").glob("*/*")).write_bytes(b"other"),
            r"photo\.jpg: its copy .* is not what was attached any more\. Put it back .*, or take it away to go on",
        ),
        (
            lambda folder: (folder / "likeness.jsonl").write_text('{"case": "x", "chances": {"seal": {"blown": 7}}}\n'),
            r"likeness\.jsonl:1:1: this should be a case's 'chances', each from 0 to 1",
        ),
        (lambda folder: (folder / "customers.csv").write_text("uid,name\n"), r"customers\.csv:1:1: this should be uid"),
        (lambda folder: (folder / "journal.jsonl").write_bytes(b"\xff\xfe"), r"journal\.jsonl:1:1: this is not text"),
    ],
)
def test_a_folder_that_is_not_in_order_is_refused_with_its_place(
    filled: Book, tmp_path: Path, change: Callable[[Path], None], message: str
) -> None:
    """File, line, what is wrong; and nothing comes in."""
    export_book(filled, tmp_path / "out")
    change(tmp_path / "out")
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        with pytest.raises((CaseError, BookError), match=message):
            import_book(second, tmp_path / "out")
        assert find_cases(second, Wanted()) == ()


def test_an_attachment_that_is_gone_keeps_nothing_else_in(filled: Book, tmp_path: Path) -> None:
    """It is named at both ends, and comes in as soon as a folder has it; one that is damaged is refused until then."""
    photo = read_kept(filled, 1).standing.files[0]
    export_book(filled, tmp_path / "whole")
    (copy,) = filled.files.glob("??/*")
    copy.write_bytes(b"other")
    with pytest.raises(BookError, match=r"photo\.jpg: its copy .* is not what was attached any more"):
        export_book(filled, tmp_path / "rest")
    assert not (tmp_path / "rest").exists()
    copy.unlink()
    append(filled, 3, (photo,))
    both = (Missing(1, photo), Missing(3, photo))
    assert export_book(filled, tmp_path / "rest") == Exported(3, 7, 0, 0, both)
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        keep(second, opening(Draft("ostrel_4", "was here first")))
        told = import_book(second, tmp_path / "rest")
        assert told == Imported(3, 0, 0, 0, 0, missing=(Missing(2, photo), Missing(4, photo)))
        assert import_book(second, tmp_path / "rest", without=(2,)).missing == (Missing(4, photo),)
        assert import_book(second, tmp_path / "whole") == Imported(0, 0, 3, 1, 0)
        assert file_bytes(second.files, photo) == b"\xff\xd8 invented"
        assert import_book(second, tmp_path / "rest") == Imported(0, 0, 3, 1, 0)  # it is here already


def test_an_export_does_not_write_over_anything(filled: Book, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    with pytest.raises(UsageError, match="out is already there and was left as it is"):
        export_book(filled, tmp_path / "out")
    with pytest.raises(UsageError, match="could not be written"):
        export_book(filled, tmp_path / "nowhere" / "out")
    with pytest.raises(UsageError, match="could not be written: File name too long"):
        export_book(filled, tmp_path / ("long" * 100))
    assert list((tmp_path / "out").iterdir()) == []


# ---- backup -----------------------------------------------------------------------------------------------------


@pytest.fixture
def kept_file(filled: Book, tmp_path: Path) -> Path:
    """A backup of the filled book."""
    assert back_up(filled, tmp_path / "book.zip").cases == 3
    return tmp_path / "book.zip"


@IN_A_FILE
def test_a_backup_restores_the_book_with_everything(filled: Book, kept_file: Path, tmp_path: Path) -> None:
    """Also the customers and the attachments, and as they were, not as they are."""
    before = [read_kept(filled, number) for number in (1, 2, 3)]
    append(filled, 2, (Remark("after the backup"),))
    place = str(tmp_path / "elsewhere.sqlite3")
    assert restore(place, kept_file) == 3
    with open_book(place) as second:
        assert [read_kept(second, number) for number in (1, 2, 3)] == before
        assert customer_of(second, 3) == Customer("Somebody")
        assert file_bytes(second.files, read_kept(second, 1).standing.files[0]) == b"\xff\xd8 invented"


@IN_A_FILE
def test_restoring_writes_over_a_book_only_where_told(
    filled: Book, kept_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also while it is open elsewhere, which then sees the restored one."""
    append(filled, 2, (Remark("after the backup"),))
    place = filled.database.place
    closed: list[str] = []
    close = Database.close
    monkeypatch.setattr(Database, "close", lambda database: (closed.append(database.place), close(database))[1])
    with pytest.raises(UsageError, match=r"is a book with 3 cases and was left as it is; .*add --replace"):
        restore(place, kept_file)
    assert place in closed  # of a refused restore, too, nothing is left open
    assert read_kept(filled, 2).revision == 3
    assert restore(place, kept_file, overwrite=True) == 3
    assert read_kept(filled, 2).revision == 2


@IN_A_FILE
def test_a_damaged_book_is_set_aside_for_the_backup(filled: Book, kept_file: Path, tmp_path: Path) -> None:
    place = tmp_path / "damaged.sqlite3"
    place.write_bytes(b"no database " * 500)
    with pytest.raises(BookError, match="not a book of cases"):
        restore(str(place), kept_file)
    assert restore(str(place), kept_file, overwrite=True) == 3
    (aside,) = tmp_path.glob("damaged.sqlite3.damaged-*")
    assert aside.read_bytes() == b"no database " * 500


@IN_A_FILE
def test_a_backup_does_not_write_over_another_unless_told(filled: Book, kept_file: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"book\.zip is already there and was left as it is"):
        back_up(filled, kept_file)
    with pytest.raises(UsageError, match="could not be written: File name too long"):
        back_up(filled, tmp_path / ("long" * 100))
    with pytest.raises(BookError, match="nowhere: nothing can be written in this folder: No such file"):
        restore(str(tmp_path / "nowhere" / "book.sqlite3"), kept_file)
    assert back_up(filled, kept_file, overwrite=True).cases == 3


@IN_A_FILE
@pytest.mark.parametrize("damage", ["book", "attachment"])
def test_what_could_not_be_restored_is_not_backed_up(
    filled: Book, kept_file: Path, tmp_path: Path, damage: str
) -> None:
    """A damaged book, or a file of it, does not take the place of an older backup that is sound."""
    good = kept_file.read_bytes()
    (file,) = filled.files.glob("??/*")
    if damage == "attachment":
        file.write_bytes(b"other")
    else:
        filled.close()
        with filled.database.path.open("r+b") as stream:
            stream.seek(4096 * 3)
            stream.write(b"\x55" * 4096 * 3)
    message = (
        "is not what was kept" if damage == "attachment" else "it is damaged, so this backup could not be restored"
    )
    with pytest.raises(BookError, match=message):
        back_up(filled, kept_file, overwrite=True)
    assert kept_file.read_bytes() == good
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


@IN_A_FILE
def test_an_attachment_that_is_gone_is_told_and_its_last_copy_stays(
    filled: Book, kept_file: Path, tmp_path: Path
) -> None:
    """The rest is backed up, but not over a backup that still holds it."""
    photo = read_kept(filled, 1).standing.files[0]
    shutil.rmtree(filled.files)
    good = kept_file.read_bytes()
    with pytest.raises(UsageError, match=r"still holds what is not .* \(photo\.jpg of case 1\) and was left as it is"):
        back_up(filled, kept_file, overwrite=True)
    assert kept_file.read_bytes() == good
    assert back_up(filled, tmp_path / "rest.zip") == BackedUp(3, (Missing(1, photo),))
    assert back_up(filled, tmp_path / "rest.zip", overwrite=True).missing == (Missing(1, photo),)
    assert restore(str(tmp_path / "elsewhere.sqlite3"), tmp_path / "rest.zip") == 3
    (tmp_path / "rest.zip").write_bytes(b"no zip")
    assert back_up(filled, tmp_path / "rest.zip", overwrite=True).cases == 3


@IN_A_FILE
@pytest.mark.parametrize("damage", ["text", "cut", "empty", "wrong", "newer", "attachment"])
def test_a_backup_that_is_damaged_changes_nothing(filled: Book, kept_file: Path, tmp_path: Path, damage: str) -> None:
    broken = tmp_path / "broken.zip"
    messages = {"newer": "a newer diag has written this backup", "attachment": "the attachment .* is damaged"}
    if damage == "text":
        broken.write_text("no zip")
    elif damage == "cut":
        broken.write_bytes(kept_file.read_bytes()[:-200])
    else:
        _rewritten(kept_file, broken, damage, tmp_path)
    place = filled.database.place
    with pytest.raises(BookError, match=messages.get(damage, "damaged; nothing was changed")):
        restore(place, broken, overwrite=True)
    assert read_kept(filled, 2).revision == 2
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".diag")] == []


def _rewritten(source: Path, target: Path, damage: str, folder: Path) -> None:
    with zipfile.ZipFile(source) as whole, zipfile.ZipFile(target, "w") as packed:
        for name in whole.namelist():
            content = whole.read(name)
            if name == "book.sqlite3" and damage == "empty":
                content = b""
            elif name == "book.sqlite3" and damage == "wrong":
                content = content[:5000] + b"\x00" * 4000 + content[9000:]
            elif name == "book.sqlite3" and damage == "newer":
                content = _newer(content, folder)
            elif name.startswith("files/") and damage == "attachment":
                content = b"other"
            packed.writestr(name, content)


def _newer(content: bytes, folder: Path) -> bytes:
    import sqlite3
    from contextlib import closing

    path = folder / "newer.sqlite3"
    path.write_bytes(content)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0099'")
        connection.commit()
    return path.read_bytes()


@pytest.mark.parametrize("place", ["postgresql"], indirect=True)
def test_a_server_is_left_to_its_own_tools(tmp_path: Path, book: Book) -> None:
    with pytest.raises(UsageError, match=r"backed up with the server's tools \(pg_dump\)"):
        back_up(book, tmp_path / "b.zip")
    with pytest.raises(UsageError, match="restored with the server's tools"):
        restore(book.database.place, tmp_path / "b.zip")
