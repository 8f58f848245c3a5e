"""Two people at one case: nothing is lost, and the second is told what the first wrote."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import pytest

from diag.basics import BookMoved, UsageError
from diag.casebook import Answer
from diag.store import (
    Book,
    Closed,
    Draft,
    Finding,
    Outcome,
    Remark,
    Retold,
    Undo,
    append,
    keep,
    open_book,
    opening,
    read_kept,
)
from tests.store.checking import acknowledged, assert_whole, writer

BEGUN = opening(Draft("ostrel_4", "Skerry van"))
TAR, FUMES = Finding(Answer("tar", 2, "present")), Finding(Answer("fumes", None, "present"))


def test_the_second_writer_is_told_what_the_first_wrote(book: Book) -> None:
    """Nothing of the second is written until they say so; then both are there."""
    number = keep(book, BEGUN).number
    append(book, number, (TAR, FUMES), based_on=1, by="Anna")
    with pytest.raises(BookMoved) as caught:
        append(book, number, (Remark("mine"),), based_on=1, by="Bert")
    assert caught.value.message == (
        f"Case {number} has moved on: you started from revision 1, and since then there is revision 2: finding, by "
        "Anna; revision 3: finding, by Anna. Nothing of yours was written. Look at it again ('diag book show'), or add "
        "yours on top of theirs ('--on-top')."
    )
    assert read_kept(book, number).revision == 3
    kept = append(book, number, (Remark("mine"),), based_on=1, by="Bert", on_top=True)
    assert [event.by for event in kept.events] == ["", "Anna", "Anna", "Bert"]
    assert read_kept(book, number) == kept


def test_a_case_told_anew_does_not_go_on_top_of_others(book: Book) -> None:
    """It would cover what they wrote."""
    number = keep(book, BEGUN).number
    append(book, number, (TAR,))
    with pytest.raises(BookMoved, match="tells the whole case anew, so it cannot go on top"):
        append(book, number, (Retold(Draft("ostrel_4", "other")),), based_on=1, on_top=True)
    with pytest.raises(BookMoved) as caught:
        append(book, number, (Retold(Draft("ostrel_4", "other")),), based_on=1)
    assert "--on-top" not in caught.value.message
    assert f"'diag book write {number} FILE'" in caught.value.message


@pytest.mark.parametrize("step", [Closed(Outcome("no")), Undo(1)])
def test_who_closes_a_case_that_moved_on_is_told_a_way_that_there_is(book: Book, step: Closed | Undo) -> None:
    """A closing cannot be put on top of what nobody has seen; with the revision that is named it goes in."""
    number = keep(book, BEGUN).number
    append(book, number, (TAR,), by="Anna")
    with pytest.raises(BookMoved) as caught:
        append(book, number, (step,), based_on=1)
    assert "--on-top" not in caught.value.message
    assert caught.value.message.endswith("then give the same with --on 2.")
    assert append(book, number, (step,), based_on=2).revision == 3


@pytest.mark.parametrize("based_on", [0, -1, 9])
def test_a_revision_that_never_was_is_refused(book: Book, based_on: int) -> None:
    number = keep(book, BEGUN).number
    with pytest.raises(UsageError, match=f"no revision {based_on}; it stands at 1"):
        append(book, number, (TAR,), based_on=based_on)


def _race(place: str, files: Path, name: str, times: int, refused: multiprocessing.Queue[int]) -> None:
    """Look, and write what follows from that; where somebody was quicker, look again."""
    moved = 0
    with open_book(place, files) as book:
        for step in range(times):
            while True:
                seen = read_kept(book, 1).revision
                try:
                    append(book, 1, (Remark(f"{name} {step} after {seen}"),), based_on=seen, by=name)
                    break
                except BookMoved:
                    moved += 1
    refused.put(moved)


def test_two_processes_at_one_case_lose_nothing(place: str, tmp_path: Path) -> None:
    """Each event says which revision its writer had seen, and stands right after that one."""
    with open_book(place, tmp_path / "files") as book:
        keep(book, BEGUN)
    context = multiprocessing.get_context("spawn")
    refused: multiprocessing.Queue[int] = context.Queue()
    racers = [
        context.Process(target=_race, args=(place, tmp_path / "files", name, 40, refused)) for name in ("Anna", "Bert")
    ]
    for racer in racers:
        racer.start()
    for racer in racers:
        racer.join(120)
        assert racer.exitcode == 0
    with open_book(place, tmp_path / "files") as book:
        kept = read_kept(book, 1)
    said = [event.payload.text.split() for event in kept.events if isinstance(event.payload, Remark)]
    assert sorted((name, int(step)) for name, step, *_ in said) == sorted(
        (name, step) for name in ("Anna", "Bert") for step in range(40)
    )
    assert [int(seen) for *_, seen in said] == list(range(1, 81))


def test_two_processes_that_open_cases_give_every_case_its_own_number(place: str, tmp_path: Path) -> None:
    """Also where both are the first to open the book."""
    files = tmp_path / "files"
    processes = [writer(place, files, seed, "40") for seed in (1, 2)]
    told: dict[int, int] = {}
    for process in processes:
        out, _ = process.communicate(timeout=120)
        assert process.returncode == 0
        assert "refused" not in out
        assert len(acknowledged(out)) > 3
        for number, revision in acknowledged(out).items():
            told[number] = max(told.get(number, 0), revision)
    with open_book(place, files) as book:
        assert_whole(book, told)
