"""How listing, searching and comparing grow with the number of cases in a book.

Run `python -m tests.benchmarks.book [--cases 100000]`: books of a tenth, a third and all of the cases, each question
timed on each, the largest against the smallest. Cases are drawn at random with eight findings and what is compared of
fifteen kinds of component. Times: the fewest processor seconds of a call, and by the wall clock the middle one.
May import: `diag.store`, `tests.support`.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from diag.casebook import Answer, Epoch
from diag.store import (
    Book,
    Closed,
    Draft,
    Event,
    Found,
    Kept,
    Likeness,
    Outcome,
    Payload,
    Remark,
    Wanted,
    append,
    find_cases,
    fold,
    open_book,
    opening,
    similar_cases,
)
from diag.store.book import write_case
from diag.store.likeness import write_likeness
from tests.benchmarks.timing import Timing, milliseconds, timed

__all__ = ["fill", "main", "report"]

KINDS = {f"part_{number}": ("worn", "broken", "leaking") for number in range(15)}
WORDS = ("chuffs", "smokes", "rattles", "stalls", "shakes", "hunts", "ticks", "whistles", "surges", "knocks")
ENGINES = ("ostrel_3", "ostrel_4", "karrick_v6", "karrick_v8")
BATCH = 1000


def drawn(rng: random.Random, number: int) -> tuple[Kept, Likeness]:
    """One case as it may have come about, and what it is compared by."""
    answers = tuple(Answer(f"finding_{rng.randrange(60)}", rng.randint(1, 4), "present") for _ in range(8))
    title = f"{rng.choice(('Skerry', 'Fathom', 'Bollard'))} {number % 977} {' '.join(rng.sample(WORDS, 3))}"
    draft = Draft(rng.choice(ENGINES), title, epochs=(Epoch((), answers),))
    told: tuple[Payload, ...] = opening(draft)
    if rng.random() < 0.9:
        found = Found(f"part_{min(int(rng.expovariate(0.3)), 14)}", "worn", rng.randint(1, 4), "seen")
        told = (*told, Closed(Outcome("yes", (found,), (), 95.0, 269.0, "EUR")))
    at = f"2025-{1 + number % 12:02}-{1 + number % 28:02}T09:00:00.{number:06}+00:00"
    events = tuple(Event(step, at, "", payload) for step, payload in enumerate(told, start=1))
    chances = {}
    for kind, states in KINDS.items():
        whole = rng.random() ** 4
        parts = [rng.random() for _ in states]
        chances[kind] = {state: whole * part / sum(parts) for state, part in zip(states, parts, strict=True)}
    likeness = Likeness(chances, frozenset(f"{answer.item}={answer.answer}" for answer in answers))
    return Kept(number, f"{rng.getrandbits(128):032x}", events, fold(events)), likeness


def fill(book: Book, first: int, last: int, seed: int = 1) -> float:
    """Write cases `first` to `last`, and give the seconds that took."""
    rng, before = random.Random(f"{seed} {first}"), time.perf_counter()
    for start in range(first, last + 1, BATCH):
        with book.database.writing(alone=True) as session:
            for number in range(start, min(start + BATCH, last + 1)):
                kept, likeness = drawn(rng, number)
                write_case(session, kept)
                write_likeness(session, number, likeness)
    return time.perf_counter() - before


def questions(book: Book) -> dict[str, Callable[[], object]]:
    """What is asked, by its words."""
    alike, rng = drawn(random.Random(7), 1)[1], random.Random(8)
    return {
        "list the newest 50": lambda: find_cases(book, Wanted()),
        "list by engine, closed, fault found": lambda: find_cases(
            book, Wanted(engine="ostrel_4", is_open=False, found="part_3")
        ),
        "list by dates": lambda: find_cases(book, Wanted(since="2025-03-01", until="2025-03-31")),
        "search one common word": lambda: find_cases(book, Wanted(words="chuffs")),
        "search three words": lambda: find_cases(book, Wanted(words="skerry chuffs 500")),
        "search the beginning of a word": lambda: find_cases(book, Wanted(words="whis")),
        "search a word that is not there": lambda: find_cases(book, Wanted(words="xylophone")),
        "similar cases": lambda: similar_cases(book, alike),
        "add one event": lambda: append(book, rng.randint(1, 20), (Remark("x"),)),
    }


def report(sizes: Sequence[int], least_s: float = 1.0) -> list[str]:
    """The table, as lines."""
    taken: dict[str, list[Timing]] = {}
    lines = [
        f"Books of {', '.join(f'{size:,}' for size in sizes)} cases, 10 events and 45 chances each, SQLite in a file"
    ]
    with tempfile.TemporaryDirectory() as folder, open_book(str(Path(folder) / "book.sqlite3")) as book:
        first = 1
        for size in sizes:
            seconds = fill(book, first, size)
            if size > first:
                lines.append(f"  writing {size - first + 1:,} cases: {(size - first + 1) / seconds:,.0f} a second")
            first = size + 1
            for words, ask in questions(book).items():
                taken.setdefault(words, []).append(timed([ask], least_s))
        megabytes = book.database.path.stat().st_size / 1e6
    lines.append(f"  the largest is {megabytes:,.0f} MB")
    growth = sizes[-1] / sizes[0]
    for words, times in taken.items():
        told = ", ".join(f"{milliseconds(each.processor_s)} ({milliseconds(each.median_s)})" for each in times)
        ratio = times[-1].processor_s / times[0].processor_s
        lines.append(f"  {words}: {told}; {ratio:.1f} times for {growth:.0f} times the cases")
    return lines


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000, help="cases of the largest book")
    cases = parser.parse_args().cases
    print("\n".join(report((cases // 10, cases // 3, cases))))


if __name__ == "__main__":
    main()
