"""Whatever kills the writer, or fills its disk: what was acknowledged is there, and nothing is half there."""

from __future__ import annotations

import random
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from diag.basics import BookError
from diag.store import Remark, Wanted, append, back_up, find_cases, open_book, read_kept, restore
from tests.cli.process import ROOT, environment
from tests.store.checking import acknowledged, assert_whole, killed_while_writing, writer
from tests.store.conftest import Server
from tests.support.effort import LONG

KILLS = 500 if LONG else 20
SERVER_KILLS = 100 if LONG else 6
SERVER_CRASHES = 20 if LONG else 1


@pytest.mark.parametrize("first", range(0, KILLS, 20))
def test_a_writer_killed_at_any_point_loses_nothing_that_was_acknowledged(tmp_path: Path, first: int) -> None:
    """Twenty kills of one book (in the long run twenty-five such books), each from 0 to 120 ms after a write."""
    place, files, rng = str(tmp_path / "book.sqlite3"), tmp_path / "files", random.Random(20260301 + first)
    told: dict[int, int] = {}
    grew = 0
    for seed in range(first, first + 20):
        told |= acknowledged(killed_while_writing(place, files, seed, rng.uniform(0, 0.12)))
        with open_book(place, files) as book:
            events = assert_whole(book, told)
        assert events > grew
        grew = events
    assert sum(told.values()) > 2 * 20


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


@pytest.mark.parametrize("trouble", ["full", "read only"])
def test_a_book_is_read_and_backed_up_where_no_log_can_be_made_for_it(tmp_path: Path, trouble: str) -> None:
    """A disk that is full, or may only be read: what is in the book can be seen and saved, and a writer is told why."""
    with small_disk(tmp_path / "disk", "8m") as disk:
        place, files = str(disk / "book#1.sqlite3"), disk / "files"
        told = acknowledged(writer(place, files, 4, "5").communicate(timeout=60)[0])
        assert not list(disk.glob("*-wal"))
        if trouble == "full":
            with suppress(OSError), (disk / "rest").open("wb") as rest:
                while True:
                    rest.write(bytes(4096))
        else:
            subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        number = next(iter(told))
        with open_book(place, files, make=False) as book:
            assert {row.number for row in find_cases(book, Wanted())} == set(told)
            assert read_kept(book, number).revision >= told[number]
            assert back_up(book, tmp_path / "saved.zip").cases == len(told)
            expected = "the disk is full; nothing" if trouble == "full" else "it may only be read, not written"
            with pytest.raises(BookError, match=expected):
                append(book, number, (Remark("no room for it"),))
        assert restore(str(tmp_path / "again.sqlite3"), tmp_path / "saved.zip") == len(told)


def test_a_log_that_holds_more_than_the_book_is_not_left_out(tmp_path: Path) -> None:
    """After a crash the newest entries stand in the log alone; where it cannot be taken in, nothing older is shown."""
    with small_disk(tmp_path / "disk", "8m") as disk:
        place, files = str(disk / "book.sqlite3"), disk / "files"
        killed_while_writing(place, files, 5, 0.05)
        assert Path(f"{place}-wal").stat().st_size > 0
        Path(f"{place}-shm").unlink()
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with pytest.raises(BookError, match="it may only be read, not written"), open_book(place, files, make=False):
            pass


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
