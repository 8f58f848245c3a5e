"""Writes to a book until it is killed, and says of every write when it is acknowledged: `ack NUMBER REVISION`.

Run as `python -m tests.store.writer PLACE FILES SEED [MOST]`. Cases are opened with several events, a customer and a
likeness in one transaction; journals grow by one to three events; now and then a file is attached.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

from diag.basics import BookError
from diag.casebook import Answer, Epoch, Measured
from diag.store import (
    Book,
    Customer,
    Draft,
    Finding,
    Kept,
    Likeness,
    Payload,
    Reading,
    Remark,
    Wanted,
    append,
    attach,
    find_cases,
    keep,
    open_book,
    opening,
)

FIRST = Epoch(
    (), (Answer("fumes", None, "present"), Answer("tar", 2, "present")), (Measured("correction", 2, 0.9, "mg"),)
)
OPENING_EVENTS = 4
ALIKE = Likeness({"seal": {"weeping": 0.25, "blown": 0.5}}, frozenset({"fumes=present"}))


def write_one(book: Book, rng: random.Random, numbers: list[int], folder: Path) -> Kept:
    """One write that is all there afterwards, or not at all."""
    chance = rng.random()
    if not numbers or chance < 0.25:
        draft = Draft("ostrel_4", f"case of {rng.random()}", epochs=(FIRST,))
        kept = keep(book, opening(draft), "writer", ALIKE, Customer(f"Name{rng.random()}", "PL 1"))
        numbers.append(kept.number)
        return kept
    number = rng.choice(numbers)
    if chance < 0.3:
        file = folder / "log.csv"
        file.write_bytes(rng.randbytes(2000))
        return attach(book, number, file)[0]
    some: list[Payload] = [
        Finding(Answer("chuff", rng.randint(1, 4), "present")),
        Reading(Measured("correction", rng.randint(1, 4), rng.random(), "mg")),
        Remark("word " * rng.randint(1, 40)),
    ]
    return append(book, number, some[: rng.randint(1, 3)], by="writer", likeness=ALIKE)


def main() -> None:
    """Write until killed, or `MOST` times, or until the book refuses: then say `refused`, and why."""
    place, files, seed = sys.argv[1:4]
    most = int(sys.argv[4]) if len(sys.argv) > 4 else sys.maxsize
    rng = random.Random(int(seed))
    with open_book(place, Path(files)) as book, tempfile.TemporaryDirectory() as folder:
        numbers = [row.number for row in find_cases(book, Wanted(most=50))]
        for _ in range(most):
            try:
                kept = write_one(book, rng, numbers, Path(folder))
            except BookError as error:
                print(f"refused {error.message}", flush=True)
                return
            print(f"ack {kept.number} {kept.revision}", flush=True)


if __name__ == "__main__":
    main()
