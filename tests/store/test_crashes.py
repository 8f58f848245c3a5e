"""Whatever kills the writer, or fills its disk: what was acknowledged is there, and nothing is half there."""

from __future__ import annotations

import random
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from diag.basics import BookError
from diag.store import Remark, append, open_book
from tests.cli.process import ROOT, environment
from tests.store.checking import acknowledged, assert_whole, killed_while_writing, writer
from tests.store.conftest import Server
from tests.support.effort import LONG

KILLS = 500 if LONG else 20
SERVER_KILLS = 100 if LONG else 6
SERVER_CRASHES = 20 if LONG else 1


def test_a_writer_killed_at_any_point_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """Twenty kills (500 in the long run) of one book, each from 0 to 120 ms after a write."""
    place, files, rng = str(tmp_path / "book.sqlite3"), tmp_path / "files", random.Random(20260301)
    told: dict[int, int] = {}
    grew = 0
    for seed in range(KILLS):
        told |= acknowledged(killed_while_writing(place, files, seed, rng.uniform(0, 0.12)))
        with open_book(place, files) as book:
            events = assert_whole(book, told)
        assert events > grew
        grew = events
    assert sum(told.values()) > 2 * KILLS


def test_a_client_of_a_server_killed_at_any_point_loses_nothing(server: Server, tmp_path: Path) -> None:
    place, files, rng = server.fresh("killed"), tmp_path / "files", random.Random(20260302)
    told: dict[int, int] = {}
    for seed in range(SERVER_KILLS):
        told |= acknowledged(killed_while_writing(place, files, seed, rng.uniform(0, 0.12)))
        with open_book(place, files) as book:
            assert_whole(book, told)
    assert sum(told.values()) > 2 * SERVER_KILLS


def test_a_server_that_crashes_loses_nothing_and_the_writer_is_told(server: Server, tmp_path: Path) -> None:
    """The server is stopped as in a crash while a client writes; the client says so in plain words."""
    place, files = server.fresh("crashed"), tmp_path / "files"
    told: dict[int, int] = {}
    for seed in range(SERVER_CRASHES):
        process = writer(place, files, seed)
        assert process.stdout is not None
        first = process.stdout.readline()
        server.stop("immediate")
        out = first + process.stdout.read()
        process.stdout.close()
        assert process.wait(60) == 0
        assert "refused " in out
        assert "Traceback" not in out
        server.start()
        told |= acknowledged(out)
        with open_book(place, files) as book:
            assert_whole(book, told)


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Path]:
    """A disk of its own; skipped where none can be mounted."""
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if done.returncode != 0:
        pytest.skip("a small disk cannot be mounted here (that needs the rights of the machine's keeper)")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_is_told_and_loses_nothing(tmp_path: Path) -> None:
    """A writer fills a disk of one and a half megabyte; then there is room again, and all goes on."""
    with small_disk(tmp_path / "disk", "1536k") as disk:
        place, files = str(disk / "book.sqlite3"), disk / "files"
        process = writer(place, files, 1)
        out, _ = process.communicate(timeout=120)
        told = acknowledged(out)
        assert process.returncode == 0
        assert len(told) > 10
        assert "the disk is full" in out or "No space left" in out
        with open_book(place, files) as book:
            assert_whole(book, told)
        subprocess.run(["mount", "-o", "remount,size=8m", str(disk)], check=True)
        with open_book(place, files) as book:
            append(book, next(iter(told)), (Remark("there is room again"),))
            assert_whole(book, told)


def test_a_file_that_may_not_grow_loses_nothing(tmp_path: Path) -> None:
    """The same with a limit on the size of files (RLIMIT_FSIZE), which needs no rights."""
    place, files = str(tmp_path / "book.sqlite3"), tmp_path / "files"
    limit = 700_000
    done = subprocess.run(
        [sys.executable, "-m", "tests.store.writer", place, str(files), "2"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=environment(),
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)),
    )
    told = acknowledged(done.stdout)
    assert done.returncode == 0, done.stderr
    assert "refused " in done.stdout
    with open_book(place, files) as book:
        assert_whole(book, told)
        append(book, next(iter(told)), (Remark("there is room again"),))


def test_no_room_for_more_pages_is_told_in_plain_words(tmp_path: Path) -> None:
    """SQLite's own word for a full disk, by a limit on its pages; the case stands as it stood."""
    place = str(tmp_path / "book.sqlite3")
    process = writer(place, tmp_path / "files", 3, "5")
    out, _ = process.communicate(timeout=60)
    told = acknowledged(out)
    number = next(iter(told))
    with open_book(place, tmp_path / "files") as book:
        with book.database.raw() as connection:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(BookError, match=r"the disk is full; nothing of this was written\. Make room"):
            append(book, number, (Remark("much " * 20_000),))
        assert_whole(book, told)
