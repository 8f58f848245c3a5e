"""A case that was kept and closed twice teaches once; one that only looks so counts, and is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from diag.casebook import demo_cases, load_case
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson, Rules, foretell, learn, lessons_of
from diag.report import learn_sheet, score_sheet
from diag.store import (
    Book,
    Closed,
    Customer,
    Draft,
    Fitted,
    Found,
    Linked,
    Outcome,
    append,
    closed_cases,
    export_book,
    import_book,
    keep,
    open_book,
    opening,
    read_kept,
)
from diag.store.book import write_case

CURED = Outcome("yes", (Found("seal", "blown", 2, "seen"),), (Fitted("reseal", 2),), 95.0, 269.0, "EUR")
DAY, NEXT_DAY = "2026-03-02T16:00:00.000000+00:00", "2026-03-03T09:00:00.000000+00:00"


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture(scope="module")
def draft(knowledge: Knowledge) -> Draft:
    return Draft.of(load_case(demo_cases()["one_blown_seal"], knowledge), knowledge)


@dataclass(frozen=True)
class Kept:
    """How a case is kept and closed: what is told of it, how it ended, when, whose it is, what it comes back from."""

    draft: Draft
    outcome: Outcome = CURED
    closed_at: str = DAY
    customer: Customer | None = None
    back_of: int | None = None


def kept_in(book: Book, cases: Sequence[Kept]) -> None:
    """Keep and close them in a book, one after the other."""
    for each in cases:
        number = keep(book, opening(each.draft), customer=each.customer).number
        if each.back_of is not None:
            append(book, number, (Linked(read_kept(book, each.back_of).uid),))
        kept = append(book, number, (Closed(each.outcome),))
        standing = replace(kept.standing, closed_at=each.closed_at)
        with book.database.writing() as session:
            last = replace(kept.events[-1], at=each.closed_at)
            session.run("DELETE FROM events WHERE number = :n AND revision = :r", n=number, r=last.revision)
            events = (*kept.events[:-1], last)
            write_case(session, replace(kept, events=events, standing=standing), already=last.revision - 1)


def lessons(tmp_path: Path, knowledge: Knowledge, cases: Sequence[Kept]) -> tuple[Lesson, ...]:
    with open_book(str(tmp_path / "book.sqlite3")) as book:
        kept_in(book, cases)
        return lessons_of(closed_cases(book, knowledge))


def test_a_case_kept_twice_teaches_once(tmp_path: Path, knowledge: Knowledge, draft: Draft) -> None:
    """What is learned, and how well was foretold, is what one of them says; it is said that there were two."""
    (tmp_path / "one").mkdir()
    (once,) = lessons(tmp_path / "one", knowledge, [Kept(draft)])
    (twice,) = found = lessons(tmp_path, knowledge, [Kept(draft), Kept(draft), Kept(draft)])
    assert (twice.number, twice.also) == (1, (2, 3))
    assert (twice.case, twice.outcome) == (once.case, once.outcome)
    rules = Rules(turns=1, least=1)
    learned = learn(knowledge, found, rules)
    assert learned.figures == learn(knowledge, [once], rules).figures
    assert learned.cases == 1
    (said,) = (each for each in learn_sheet(learned, "book").assumed if "Counted once" in each)
    assert said.endswith("cases 1, 2 and 3.")
    foretold = foretell(knowledge, found)
    assert foretold.predictions == foretell(knowledge, [once]).predictions
    assert "cases 1, 2 and 3." in score_sheet(knowledge, foretold, "book", len(found)).assumed[0]


def test_the_same_case_of_two_books_is_one(tmp_path: Path, knowledge: Knowledge, draft: Draft) -> None:
    """Each book gave it a number and a name of its own, and a third one has read both exports."""
    with open_book(str(tmp_path / "all.sqlite3")) as together:
        for name in ("bay", "office"):
            with open_book(str(tmp_path / f"{name}.sqlite3")) as book:
                kept_in(book, [Kept(draft)])
                export_book(book, tmp_path / name)
            import_book(together, tmp_path / name)
        (lesson,) = lessons_of(closed_cases(together, knowledge))
    assert (lesson.number, lesson.also) == (1, (2,))


@pytest.mark.parametrize(
    ("other", "is_named"),
    [
        ({"closed_at": NEXT_DAY}, True),
        ({"outcome": replace(CURED, minutes=60.0)}, True),
        ({"customer": Customer("", "AB 12 CD")}, False),
        ({"back_of": 1}, False),
        ({"distance_km": 187_001.0}, False),
        ({"title": "another van"}, False),
    ],
)
def test_what_may_be_another_case_counts_and_is_named_where_it_looks_the_same(
    tmp_path: Path, knowledge: Knowledge, draft: Draft, other: dict[str, object], is_named: bool
) -> None:
    told = {name: value for name, value in other.items() if name in ("distance_km", "title")}
    rest = {name: value for name, value in other.items() if name not in told}
    second = Kept(replace(draft, **told), **rest)  # type: ignore[arg-type]
    first = Kept(draft, customer=Customer("", "ab-34 cd"))
    found = lessons(tmp_path, knowledge, [first, second])
    assert [(each.number, each.also, each.alike) for each in found] == [(1, (), None), (2, (), 1 if is_named else None)]


def test_without_a_distance_nobody_can_tell_and_both_count(tmp_path: Path, knowledge: Knowledge, draft: Draft) -> None:
    """Small cases of an old notebook, entered on one day, may well be told in the same words."""
    bare = replace(draft, distance_km=None)
    found = lessons(tmp_path, knowledge, [Kept(bare), Kept(bare), Kept(bare, replace(CURED, minutes=60.0))])
    assert [(each.number, each.alike) for each in found] == [(1, None), (2, 1), (3, None)]
    sheet = learn_sheet(learn(knowledge, found, Rules(turns=1)), "book")
    assert sheet.cases == 3
    (said,) = (each for each in sheet.assumed if "perhaps counted twice" in each)
    assert "so each counts: cases 1 and 2." in said


def test_what_came_back_from_either_came_back_from_it(tmp_path: Path, knowledge: Knowledge, draft: Draft) -> None:
    """Also where the come-back itself was kept twice, and the link names the one that does not count."""
    back = replace(draft, distance_km=190_000.0)
    cases = [Kept(draft), Kept(draft), Kept(back, closed_at=NEXT_DAY), Kept(back, closed_at=NEXT_DAY, back_of=2)]
    found = lessons(tmp_path, knowledge, cases)
    assert [(each.number, each.also, each.came_back) for each in found] == [(1, (2,), 3), (3, (4,), None)]
