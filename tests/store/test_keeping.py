"""Case files go into the book and come out unchanged."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest
from hypothesis import given

from diag.basics import BookError, UsageError
from diag.casebook import (
    PRESENT,
    Answer,
    Case,
    Epoch,
    Measured,
    Work,
    dump_case,
    load_case,
    read_case,
)
from diag.knowledge_base import Knowledge, load_knowledge, shipped_folder
from diag.store import (
    Book,
    Closed,
    Draft,
    Found,
    Outcome,
    Remark,
    Undo,
    append,
    attach,
    case_of,
    closed_cases,
    file_bytes,
    fold,
    journal,
    keep,
    open_book,
    opening,
    read_kept,
    standing_of,
)
from tests.casebook.test_round_trip import cases
from tests.store.examples import as_events
from tests.support.cases import every_case
from tests.support.effort import effort


@pytest.mark.parametrize("name", every_case())
def test_a_case_file_comes_out_as_it_went_in(file_book: Book, knowledge: Knowledge, name: str) -> None:
    """An equal case; and byte for byte the same file where diag had written it."""
    case = load_case(every_case()[name], knowledge)
    saved = dump_case(case)
    number = keep(file_book, opening(Draft.of(read_case("saved.yaml", knowledge, saved), knowledge))).number
    again = case_of(read_kept(file_book, number), knowledge)
    assert again == case
    assert dump_case(again) == saved


@effort(60)
@given(cases())
def test_any_case_comes_back_from_its_journal(case: Case) -> None:
    """Every digit and every odd character, by way of its events."""
    knowledge = load_knowledge()
    standing = fold(as_events(opening(Draft.of(case, knowledge))))
    assert standing.draft.case(knowledge) == case


def test_an_engine_file_is_kept_with_its_case(file_book: Book, knowledge: Knowledge, tmp_path: Path) -> None:
    """The case can be weighed when the engine's file is gone, and names it as before."""
    engine = tmp_path / "mine.yaml"
    shutil.copy(shipped_folder() / "engines" / "ostrel_3.yaml", engine)
    case = read_case(tmp_path / "case.yaml", knowledge, "engine: mine.yaml\nfindings: {fumes: present}\n")
    number = keep(file_book, opening(Draft.of(case, knowledge))).number
    engine.unlink()
    assert case_of(read_kept(file_book, number), knowledge) == case


def test_an_engine_that_this_knowledge_lacks_is_said(file_book: Book, knowledge: Knowledge) -> None:
    number = keep(file_book, opening(Draft("somebody_elses"))).number
    with pytest.raises(BookError, match="is of the engine 'somebody_elses', which this knowledge does not have"):
        case_of(read_kept(file_book, number), knowledge)


STRANGE = {
    "our_finding": Draft("ostrel_4", epochs=(Epoch(answers=(Answer("our_finding", 2, PRESENT),)),)),
    "our_word": Draft("ostrel_4", epochs=(Epoch(answers=(Answer("chuff", 2, "our_word"),)),)),
    "our_reading": Draft("ostrel_4", epochs=(Epoch(measured=(Measured("our_reading", 2, 3.0, "bar"),)),)),
    "our_work": Draft("ostrel_4", epochs=(Epoch(), Epoch(work=(Work("our_work", 2),)))),
    "our_past": Draft("ostrel_4", history=(Work("our_past", 2),)),
    "our_lapse": Draft("ostrel_4", epochs=(Epoch(), Epoch(work=(Work("reseal", 2, but=("our_lapse",)),)))),
    "our_check": Draft("ostrel_4", cannot=("our_check",)),
    "our_access": Draft("ostrel_4", open_access=(("our_access", "A"),)),
}


@pytest.mark.parametrize("name", STRANGE)
def test_what_a_case_tells_of_and_the_knowledge_lacks_is_said(name: str, file_book: Book, knowledge: Knowledge) -> None:
    """As where its overlay was left out: nothing that comes after could be told of it."""
    number = keep(file_book, opening(STRANGE[name])).number
    said = f"case 1 tells of '{name}', which this knowledge does not have; add the overlay that has it"
    with pytest.raises(BookError, match=said):
        case_of(read_kept(file_book, number), knowledge)


@pytest.mark.parametrize(
    ("component", "state", "said"), [("our_part", "torn", "our_part"), ("seal", "torn", "seal:torn")]
)
def test_a_closed_case_with_a_fault_that_this_knowledge_lacks_is_said_or_left_out(
    component: str, state: str, said: str, file_book: Book, knowledge: Knowledge
) -> None:
    for found in (Found(component, state, 2, "seen"), Found("seal", "blown", 2, "seen")):
        kept = keep(file_book, opening(Draft("ostrel_4", "a")))
        append(file_book, kept.number, (Closed(Outcome("yes", (found,))),))
    with pytest.raises(BookError, match=f"case 1 tells of '{said}', which this knowledge does not have"):
        list(closed_cases(file_book, knowledge))
    assert [each.number for each in closed_cases(file_book, knowledge, strict=False)] == [2]


def test_what_is_kept_is_read_back_the_same_in_every_database(book: Book) -> None:
    """Numbers count from 1; odd characters and their journal's times stay as they are."""
    first = keep(book, opening(Draft("ostrel_4", "a \0 % ' \" 🚚 ünï", note="\r\n\t")), "Änne")
    second = keep(book, opening(Draft("ostrel_4", "b")))
    second = append(book, second.number, (Remark("r"), Closed(Outcome("yes", (Found("seal", "blown", 2, "seen"),)))))
    assert (first.number, second.number) == (1, 2)
    assert read_kept(book, 1) == first
    assert read_kept(book, 2) == second
    assert journal(book, 2)[-1].at == standing_of(book, 2).closed_at
    assert standing_of(book, 2, 1).remarks == ()


def test_nothing_is_written_where_one_of_several_events_makes_no_sense(book: Book) -> None:
    kept = keep(book, opening(Draft("ostrel_4", "a")))
    with pytest.raises(UsageError, match="cannot be taken back to revision 7"):
        append(book, kept.number, (Remark("first"), Undo(7)))
    with pytest.raises(UsageError, match="begins with the opening"):
        keep(book, (Remark("alone"),))
    assert read_kept(book, kept.number) == kept
    assert append(book, kept.number, ()) == kept


def test_a_case_or_revision_that_is_not_there_is_said(book: Book) -> None:
    with pytest.raises(UsageError, match="the book has no case 5; 'diag book list' shows"):
        append(book, 5, (Remark("x"),))
    keep(book, opening(Draft("ostrel_4")))
    with pytest.raises(UsageError, match="case 1 has no revision 3; it stands at 1"):
        standing_of(book, 1, 3)


def test_closed_cases_come_in_the_order_of_their_closing_with_what_was_found(book: Book, knowledge: Knowledge) -> None:
    """Plain records to learn from: open cases and those opened again are not among them; come-backs are named."""
    from diag.store import Linked

    case = load_case(every_case()["one_blown_seal"], knowledge)
    kept = [keep(book, opening(Draft.of(case, knowledge))) for _ in range(4)]
    outcome = Outcome("yes", (Found("seal", "blown", 2, "seen"),), minutes=95.0, cost=269.5, currency="EUR")
    for number in (3, 1, 2):
        append(book, number, (Closed(outcome),))
    append(book, 2, (Undo(read_kept(book, 2).revision - 1),))
    append(book, 4, (Linked(kept[2].uid),))
    closed = list(closed_cases(book, knowledge))
    assert [each.number for each in closed] == [3, 1]
    assert [each.came_back for each in closed] == [4, None]
    assert all(each.case == case and each.outcome == outcome for each in closed)
    assert all(each.opened_at < each.closed_at for each in closed)
    assert [each.number for each in closed_cases(book, knowledge, after=1)] == [1]


def test_an_attachment_is_kept_once_and_comes_back_whole(book: Book, tmp_path: Path) -> None:
    """Two names for one content: one copy. A copy that was changed is not handed out."""
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"\xff\xd8 photo" * 1000)
    number = keep(book, opening(Draft("ostrel_4"))).number
    attach(book, number, tmp_path / "a.jpg")
    kept, _ = attach(book, number, tmp_path / "b.jpg")
    assert [each.name for each in kept.standing.files] == ["a.jpg", "b.jpg"]
    copies = [path for path in book.files.rglob("*") if path.is_file()]
    assert len(copies) == 1
    assert file_bytes(book.files, kept.standing.files[1]) == b"\xff\xd8 photo" * 1000
    copies[0].write_bytes(b"other")
    with pytest.raises(BookError, match="is not what was attached any more"):
        file_bytes(book.files, kept.standing.files[0])
    attach(book, number, tmp_path / "a.jpg")  # attaching it again mends the copy
    assert file_bytes(book.files, kept.standing.files[0]) == b"\xff\xd8 photo" * 1000


def test_a_file_that_the_case_holds_is_no_event(book: Book, tmp_path: Path) -> None:
    """The same photo sent twice, also in one go, had written an event that said nothing new. What has changed under its
    name is another one."""
    photo, other = tmp_path / "a.jpg", tmp_path / "b.jpg"
    photo.write_bytes(b"one")
    other.write_bytes(b"two")
    number = keep(book, opening(Draft("ostrel_4"))).number
    kept, new = attach(book, number, photo, photo, other)
    assert [each.name for each in new] == [each.name for each in kept.standing.files] == ["a.jpg", "b.jpg"]
    assert kept.revision == 3
    again, none = attach(book, number, other, photo)
    assert (again.revision, none) == (3, ())
    photo.write_bytes(b"three")
    later, new = attach(book, number, photo, other)
    assert ([each.name for each in new], later.revision) == (["a.jpg"], 4)


def test_a_file_that_cannot_be_read_is_said_and_nothing_is_written(book: Book, tmp_path: Path) -> None:
    number = keep(book, opening(Draft("ostrel_4"))).number
    (tmp_path / "there.jpg").write_bytes(b"photo")
    (tmp_path / "empty.jpg").touch()
    with pytest.raises(UsageError, match=r"none\.jpg could not be read: No such file"):
        attach(book, number, tmp_path / "there.jpg", tmp_path / "none.jpg")
    with pytest.raises(UsageError, match=r"empty\.jpg is empty"):
        attach(book, number, tmp_path / "there.jpg", tmp_path / "empty.jpg")
    assert read_kept(book, number).revision == 1
    assert not book.files.exists()


def test_a_connection_that_is_in_use_when_the_book_is_closed_is_closed_after_use(tmp_path: Path) -> None:
    """What is under way, in another thread say, comes to its end; nothing is left open after it."""
    opening_it = open_book(str(tmp_path / "book.sqlite3"))
    book = opening_it.__enter__()
    keep(book, opening(Draft("ostrel_4")))
    with book.database.reading() as session, book.database.raw() as other:
        lent = session.connection.connection.driver_connection
        opening_it.__exit__(None, None, None)
        assert session.rows("SELECT COUNT(*) FROM cases") == [(1,)]
    with book.database.reading() as session:  # begun after the closing
        late = session.connection.connection.driver_connection
    for connection in (lent, other, late):
        assert connection is not None
        with pytest.raises(sqlite3.ProgrammingError, match="closed database"):
            connection.execute("SELECT 1")
