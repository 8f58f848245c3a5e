"""What must hold of a book whatever happened to its writers. May import: `diag.store`."""

from __future__ import annotations

import hashlib
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path

from diag.store import Attached, Book, fold
from diag.store.book import events_of
from diag.store.files import file_path
from diag.store.likeness import read_chances
from tests.cli.process import ROOT, environment
from tests.store.writer import OPENING_EVENTS

__all__ = ["acknowledged", "assert_whole", "killed_while_writing", "writer"]

_ACK = re.compile(r"ack (\d+) (\d+)\n")


def writer(place: str, files: Path, seed: int, *more: str) -> subprocess.Popen[str]:
    """A process that writes to the book at `place`."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.store.writer", place, str(files), str(seed), *more],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
    )


def killed_while_writing(place: str, files: Path, seed: int, after_s: float) -> str:
    """What a writer printed that was killed so long after its first acknowledgement."""
    process = writer(place, files, seed)
    assert process.stdout is not None
    ready, _, _ = select.select([process.stdout], [], [], 60)
    assert ready, "the writer did not write"
    time.sleep(after_s)
    process.send_signal(signal.SIGKILL)
    out = process.stdout.read()
    process.stdout.close()
    assert process.wait() == -signal.SIGKILL
    return out


def acknowledged(printed: str) -> dict[int, int]:
    """The revision that each case was last acknowledged at."""
    told: dict[int, int] = {}
    for number, revision in _ACK.findall(printed):
        told[int(number)] = max(told.get(int(number), 0), int(revision))
    return told


def assert_whole(book: Book, told: Mapping[int, int]) -> int:
    """Every acknowledged event is there, no case is half there, and the database finds no fault with itself.

    Gives the number of events.
    """
    with book.database.reading() as session:
        cases = session.rows("SELECT number, revision, is_open, title FROM cases")
        events = session.rows("SELECT COUNT(*) FROM events")[0][0]
        journals = {number: events_of(session, number) for number, *_ in cases}
        customers = {number for (number,) in session.rows("SELECT number FROM customers")}
        alike = len(list(read_chances(session)))
    assert sum(len(journal) for journal in journals.values()) == events, "events of a case that is not there"
    for number, revision, is_open, title in cases:
        standing = fold(journals[number])
        assert len(journals[number]) == revision == standing.revision >= OPENING_EVENTS
        assert (bool(is_open), title) == (standing.outcome is None, standing.draft.title)
        for attached in standing.files:
            assert_held(book, attached)
    assert customers == set(journals)
    assert alike == len(journals)
    for number, revision in told.items():
        assert len(journals.get(number, ())) >= revision, f"case {number} lost what was acknowledged"
    if not book.database.is_server:
        with book.database.raw() as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            connection.execute("INSERT INTO case_words (case_words, rank) VALUES ('integrity-check', 1)")
    return int(events)


def assert_held(book: Book, attached: Attached) -> None:
    content = file_path(book.files, attached.digest).read_bytes()
    assert hashlib.sha256(content).hexdigest() == attached.digest
