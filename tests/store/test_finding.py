"""Lists, filters, searches, and what is similar."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.basics import UsageError
from diag.casebook import Answer, Epoch
from diag.store import (
    Book,
    Closed,
    Customer,
    Draft,
    Found,
    Likeness,
    Linked,
    Outcome,
    Remark,
    StateChance,
    Undo,
    Wanted,
    append,
    come_backs_of,
    find_cases,
    keep,
    likeness_of,
    open_book,
    opening,
    read_kept,
    rows_of,
    similar_cases,
)
from tests.support.effort import effort

BLOWN = Closed(Outcome("yes", (Found("seal", "blown", 2, "seen"),)))


def numbers(book: Book, wanted: Wanted) -> list[int]:
    return [row.number for row in find_cases(book, wanted)]


@pytest.fixture
def filled(book: Book) -> Book:
    """Four cases: 1 and 3 closed, 3 with nothing found, 4 a come-back of 1."""
    fumes = Epoch((), (Answer("rough_idle", None, "present"),))
    keep(book, opening(Draft("ostrel_4", "Skerry van chuffs", epochs=(fumes,))))
    keep(book, opening(Draft("karrick_v6", "Fathom estate, Kühler naß")), customer=Customer("Quark Ltd", "SK 99_1%"))
    customer = Customer("ÖZIL & ÜBEL KG", "Ü-EX 12")
    keep(book, opening(Draft("ostrel_4", "Bollard pickup", note="smokes white")), customer=customer)
    first = append(book, 1, (BLOWN, Remark("customer waited")))
    append(book, 3, (Closed(Outcome("no")),))
    keep(book, opening(Draft("ostrel_4", "Skerry van again")))
    append(book, 4, (Linked(first.uid),))
    return book


@pytest.mark.parametrize(
    ("wanted", "expected"),
    [
        (Wanted(), [4, 3, 2, 1]),
        (Wanted(most=2), [4, 3]),
        (Wanted(engine="ostrel_4"), [4, 3, 1]),
        (Wanted(is_open=True), [4, 2]),
        (Wanted(is_open=False), [3, 1]),
        (Wanted(found="seal"), [1]),
        (Wanted(found="injector"), []),
        (Wanted(engine="ostrel_4", is_open=False, found="seal"), [1]),
        (Wanted(since="2000-01-01"), [4, 3, 2, 1]),
        (Wanted(until="2000-01-01"), []),
        (Wanted(until="9999-12-31"), [4, 3, 2, 1]),
        (Wanted(since="9999-12-31"), []),
        (Wanted(words="skerry"), [4, 1]),
        (Wanted(words="SKERRY chuf"), [1]),
        (Wanted(words="rough_idle"), [1]),
        (Wanted(words="idle"), [1]),
        (Wanted(words="blown"), [1]),
        (Wanted(words="waited"), [1]),
        (Wanted(words="white"), [3]),
        (Wanted(words="kuhler nass"), [2]),
        (Wanted(words="KÜHLER"), [2]),
        (Wanted(words="skerry", is_open=True), [4]),
        (Wanted(words="skerry", most=1), [4]),
        (Wanted(words="skerry", is_open=False, most=1), [1]),
        (Wanted(words="quark"), [2]),
        (Wanted(words="99_1%"), [2]),
        (Wanted(words="99x1%"), []),
        (Wanted(words="özil"), [3]),
        (Wanted(words="Ozil KG"), [3]),
        (Wanted(words="übel"), [3]),
        (Wanted(words="uex12"), [3]),
        (Wanted(words="ozil bollard"), [3]),
        (Wanted(words="ozil fathom"), []),
        (Wanted(words="ozil", is_open=True), []),
        (Wanted(words='"skerry" OR NOT *'), []),
        (Wanted(words="nothing like it"), []),
    ],
)
def test_the_cases_that_are_wanted_newest_first(filled: Book, wanted: Wanted, expected: list[int]) -> None:
    assert numbers(filled, wanted) == expected


def test_both_days_are_included(filled: Book) -> None:
    """Whatever the hour at which the case was opened."""
    day = read_kept(filled, 1).events[0].at[:10]
    assert 1 in numbers(filled, Wanted(since=day, until=day))


def test_a_line_says_what_was_found_and_where_it_came_back_from(filled: Book) -> None:
    rows = rows_of(filled, [4, 1])
    assert [row.came_back_from for row in rows] == [1, None]
    assert [(each.component, each.state, each.place, each.sure) for each in rows[1].found] == [
        ("seal", "blown", "2", "seen")
    ]
    assert come_backs_of(filled, rows[1].uid) == (4,)
    assert rows_of(filled, []) == ()


def test_a_closing_taken_back_is_not_found_any_more(filled: Book) -> None:
    """The list, the words and what was found follow the case as it stands."""
    append(filled, 1, (Undo(2),))
    assert numbers(filled, Wanted(found="seal")) == []
    assert numbers(filled, Wanted(words="blown")) == []
    assert numbers(filled, Wanted(is_open=True)) == [4, 2, 1]


@pytest.mark.parametrize(
    ("wanted", "message"),
    [
        (Wanted(words="--- %"), "has no word to search for"),
        (Wanted(since="yesterday"), "'yesterday' is no date; write it as 2026-03-31"),
        (Wanted(until="2026-02-30"), "'2026-02-30' is no date"),
    ],
)
def test_what_cannot_be_searched_is_said(book: Book, wanted: Wanted, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        find_cases(book, wanted)


# ---- similar cases ----------------------------------------------------------------------------------------------


def alike(blown: float, leaking: float, *findings: str) -> Likeness:
    return Likeness({"seal": {"blown": blown, "weeping": 0.0}, "injector": {"leaking": leaking}}, frozenset(findings))


def test_the_most_similar_case_is_that_with_the_same_faults_and_findings(book: Book) -> None:
    for likeness in (alike(0.9, 0.0, "fumes=present"), alike(0.0, 0.9, "rough_idle=present"), alike(0.8, 0.1), None):
        keep(book, opening(Draft("ostrel_4")), likeness=likeness)
    found = similar_cases(book, alike(0.9, 0.0, "fumes=present"))
    assert [each.number for each in found] == [1, 3, 2]
    assert (found[0].likeness, found[0].faults, found[0].findings) == pytest.approx((1, 1, 1), abs=1e-6)
    assert [each.number for each in similar_cases(book, alike(0.9, 0.0), most=1, besides=1)] == [3]
    assert similar_cases(book, alike(0.9, 0.0), most=0) == ()


def test_a_book_without_anything_to_compare_has_nothing_similar(book: Book) -> None:
    keep(book, opening(Draft("ostrel_4")))
    assert similar_cases(book, alike(0.5, 0.5)) == ()


def test_knowledge_with_another_component_is_compared_by_what_both_know(book: Book) -> None:
    keep(
        book,
        opening(Draft("ostrel_4")),
        likeness=Likeness({"seal": {"blown": 0.9}, "pump": {"worn": 1.0}}, frozenset()),
    )
    (found,) = similar_cases(book, alike(0.9, 0.7))
    assert found.faults == pytest.approx(1, abs=1e-6)
    assert found.findings == 0


CHANCES = st.lists(st.floats(0, 1), min_size=2, max_size=2)


@effort(40)
@given(CHANCES, CHANCES, st.sets(st.sampled_from("abcd")), st.sets(st.sampled_from("abcd")))
def test_faults_are_compared_by_hellinger_and_findings_by_jaccard(
    one: list[float], two: list[float], here: set[str], there: set[str]
) -> None:
    """1 - H^2 of the joint distribution (Bhattacharyya 1943), summed here over all joint states one by one; and the
    share of common elements (Jaccard 1901)."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder, open_book(str(Path(folder) / "b.sqlite3")) as book:
        keep(book, opening(Draft("e")), likeness=Likeness(_of(one), frozenset(here)))
        (found,) = similar_cases(book, Likeness(_of(two), frozenset(there)))
    p, q = (np.multiply.outer([a, 1 - a], [b, 1 - b]).ravel() for a, b in (one, two))
    squared_distance = 0.5 * float(np.sum((np.sqrt(p) - np.sqrt(q)) ** 2))
    assert found.faults == pytest.approx(1 - squared_distance, abs=2e-3)  # chances are kept in 32 bits
    assert found.findings == (len(here & there) / len(here | there) if here | there else 0)


def _of(chances: list[float]) -> dict[str, dict[str, float]]:
    return {"seal": {"blown": chances[0]}, "injector": {"leaking": chances[1]}}


def test_a_worked_pair_of_distributions(book: Book) -> None:
    """By hand: 0.36 against 0.64 gives 0.6 * 0.8 + 0.8 * 0.6 = 0.96; a sure fault against a sure sound part gives 0."""
    keep(book, opening(Draft("e")), likeness=Likeness({"seal": {"blown": 0.36}}, frozenset()))
    assert similar_cases(book, Likeness({"seal": {"blown": 0.64}}, frozenset()))[0].faults == pytest.approx(
        0.96, abs=1e-6
    )
    keep(book, opening(Draft("e")), likeness=Likeness({"seal": {"blown": 1.0}}, frozenset()))
    assert similar_cases(book, Likeness({"seal": {"blown": 0.0}}, frozenset()), besides=1)[0].faults == 0


def test_a_seal_of_one_cylinder_is_like_that_of_another() -> None:
    """Each kind of component counts with the place where it is likeliest; answers that say nothing do not count."""
    answers = (Answer("tar", 2, "present"), Answer("fumes", None, "not_looked"))
    draft = Draft("ostrel_4", epochs=(Epoch((), answers),))
    two = [StateChance("seal", 2, "blown", 0.7), StateChance("seal", 3, "blown", 0.1)]
    three = [StateChance("seal", 2, "blown", 0.1), StateChance("seal", 3, "blown", 0.7)]
    assert likeness_of(draft, two) == likeness_of(draft, three)
    assert likeness_of(draft, two).findings == {"tar=present"}
