"""Who the customer is stays apart, goes nowhere unasked, and can be erased without a trace."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.basics import UsageError
from diag.store import (
    Book,
    Customer,
    Draft,
    Remark,
    Wanted,
    append,
    customer_of,
    erase_customer,
    export_book,
    find_cases,
    import_book,
    keep,
    note_customer,
    open_book,
    opening,
    read_kept,
)
from tests.store.conftest import Server

NAME, PLATE = "Zebulon Quarkmeister", "SK-QQ 4711"
SECRETS = (NAME.encode(), PLATE.encode())


def files_with_secrets(folder: Path) -> list[str]:
    """The files under a folder that hold the name or the plate, as bytes."""
    return [
        path.name
        for path in sorted(folder.rglob("*"))
        if path.is_file() and any(secret in path.read_bytes() for secret in SECRETS)
    ]


def test_a_customer_is_noted_changed_and_erased_and_the_journal_stays(book: Book) -> None:
    kept = keep(book, opening(Draft("ostrel_4")), customer=Customer("Somebody"))
    note_customer(book, 1, Customer(NAME, PLATE))
    assert customer_of(book, 1) == Customer(NAME, PLATE)
    erasure = erase_customer(book, 1, by="Anna")
    assert (erasure.was_there, erasure.also_in) == (True, ())
    assert customer_of(book, 1) is None
    after = read_kept(book, 1)
    assert after.events[:-1] == kept.events
    assert (after.events[-1].kind, after.events[-1].by) == ("erased", "Anna")
    assert after.standing.draft == kept.standing.draft
    assert find_cases(book, Wanted(words=NAME)) == ()


def test_after_erasing_no_byte_of_the_customer_is_left_in_the_files(tmp_path: Path) -> None:
    """Among many customers, so that pages are split and moved; the others stay."""
    place = tmp_path / "book" / "book.sqlite3"
    with open_book(str(place)) as book:
        for number in range(200):
            keep(book, opening(Draft("ostrel_4")), customer=Customer(f"{'Other' * (number % 40)} {number}", "PL"))
            if number % 20 == 7:
                note_customer(book, number, Customer(NAME, PLATE))
                note_customer(book, number + 1, Customer(NAME * 30, PLATE))
        with book.database.reading() as session:
            rows = session.rows("SELECT number FROM customers WHERE plate = :plate", plate=PLATE)
        assert len(rows) == 20
        assert files_with_secrets(place.parent)
        erasures = [erase_customer(book, number) for (number,) in rows]
        assert all(erasure.scrubbed for erasure in erasures)
        assert files_with_secrets(place.parent) == []  # while the book is open still: the log of pages, too
        assert len(find_cases(book, Wanted(words="PL", most=500))) == 180
    assert files_with_secrets(place.parent) == []


def test_erasing_while_another_program_reads_is_said_and_can_be_done_again(tmp_path: Path) -> None:
    place = str(tmp_path / "book.sqlite3")
    with open_book(place) as book, open_book(place) as other:
        keep(book, opening(Draft("ostrel_4")), customer=Customer(NAME, PLATE))
        with other.database.reading() as session:
            session.rows("SELECT * FROM cases")
            with book.database.raw() as connection:
                connection.execute("PRAGMA busy_timeout = 50")
            first = erase_customer(book, 1)
        again = erase_customer(book, 1)
    assert (first.was_there, first.scrubbed) == (True, False)
    assert (again.was_there, again.scrubbed) == (False, True)
    assert files_with_secrets(tmp_path) == []


def test_on_a_server_no_table_holds_the_customer_any_more(server: Server, tmp_path: Path) -> None:
    """Its own log is its keeper's; that is told by `scrubbed` being false."""
    with open_book(server.fresh("erasing"), tmp_path / "files") as book:
        keep(book, opening(Draft("ostrel_4")), customer=Customer(NAME, PLATE))
        assert not erase_customer(book, 1).scrubbed
        with book.database.outside() as session:
            session.run("CHECKPOINT")
    assert files_with_secrets(server.folder / "data" / "base") == []


def test_a_name_in_the_cases_own_text_is_pointed_out(book: Book) -> None:
    """A journal is not changed; but nobody is left to think that all is gone."""
    keep(book, opening(Draft("ostrel_4", title="Skerry van")), customer=Customer(NAME, PLATE))
    append(book, 1, (Remark("all well"), Remark(f"called {NAME.upper()} twice")))
    assert erase_customer(book, 1).also_in == (3,)


@pytest.mark.parametrize("number", [1, 2])
def test_who_was_never_known_cannot_be_erased(book: Book, number: int) -> None:
    keep(book, opening(Draft("ostrel_4")))
    with pytest.raises(UsageError, match=["knows no customer of case 1", "has no case 2"][number - 1]):
        erase_customer(book, number)


def test_an_export_holds_customers_only_where_that_was_asked_for(book: Book, tmp_path: Path) -> None:
    keep(book, opening(Draft("ostrel_4")), customer=Customer(NAME, PLATE))
    keep(book, opening(Draft("ostrel_4")), customer=Customer('=cmd "quoted", with comma', "two\nlines"))
    export_book(book, tmp_path / "plain")
    assert files_with_secrets(tmp_path / "plain") == []
    assert export_book(book, tmp_path / "with", customers=True).customers == 2
    assert files_with_secrets(tmp_path / "with") == ["customers.csv"]
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        import_book(second, tmp_path / "with")
        assert [customer_of(second, number) for number in (1, 2)] == [customer_of(book, number) for number in (1, 2)]
        erase_customer(second, 1)
        assert import_book(second, tmp_path / "plain").customers == 0
        assert customer_of(second, 1) is None


def test_an_erased_customer_does_not_come_back_with_an_older_export(book: Book, tmp_path: Path) -> None:
    """And two tablets that exchange their books: who was erased on one is erased on the other; one who was noted anew
    since is there."""
    keep(book, opening(Draft("ostrel_4")), customer=Customer(NAME, PLATE))
    export_book(book, tmp_path / "before", customers=True)
    with open_book(str(tmp_path / "second.sqlite3")) as second:
        assert import_book(second, tmp_path / "before").customers == 1
        erase_customer(book, 1)
        assert import_book(book, tmp_path / "before").customers == 0
        assert customer_of(book, 1) is None
        export_book(book, tmp_path / "after", customers=True)
        assert import_book(second, tmp_path / "after").erased == 1
        assert customer_of(second, 1) is None
        note_customer(book, 1, Customer("Somebody else"))
        export_book(book, tmp_path / "anew", customers=True)
        assert import_book(second, tmp_path / "anew").customers == 1
        assert customer_of(second, 1) == Customer("Somebody else")
    assert not [name for name in files_with_secrets(tmp_path) if name.startswith("second")]


def test_a_new_book_may_be_read_by_its_owner_alone(tmp_path: Path) -> None:
    with open_book(str(tmp_path / "new" / "book.sqlite3")) as book:
        keep(book, opening(Draft("ostrel_4")))
    assert (tmp_path / "new" / "book.sqlite3").stat().st_mode & 0o077 == 0
    assert (tmp_path / "new").stat().st_mode & 0o077 == 0
