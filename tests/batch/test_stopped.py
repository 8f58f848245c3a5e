"""A run that is stopped anywhere goes on and gives the same file to the byte; no row is lost or done twice."""

from __future__ import annotations

import csv
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from pyarrow import parquet

from diag.crew import crew_of
from tests.batch.tables import invented, write_csv
from tests.cli.process import ROOT, environment
from tests.support.effort import LONG

KILLS = 40 if LONG else 2
ROWS = 45


def started(table: Path, out: Path, processes: int) -> subprocess.Popen[bytes]:
    """A run in a process group of its own."""
    command = [sys.executable, "-m", "tests.batch.tables", str(table), str(out), str(processes)]
    return subprocess.Popen(command, cwd=ROOT, env=environment(), stderr=subprocess.PIPE)


def finished(table: Path, out: Path, processes: int) -> None:
    """A run to its end."""
    process = started(table, out, processes)
    _, told = process.communicate(timeout=300)
    assert process.returncode == 0, told.decode()


def parts_of(out: Path) -> Path:
    """Where a run that is under way keeps what is done."""
    return out.with_name(f"{out.name}.parts")


def killed_while_working(table: Path, out: Path, later: float) -> bool:
    """A run with two processes, killed at most `later` s after it began to work, however quick this machine is just
    now; whether it was still running then."""
    before = set(parts_of(out).rglob("*"))
    process = started(table, out, 2)
    while process.poll() is None and set(parts_of(out).rglob("*")) <= before:
        time.sleep(0.005)
    moment = time.monotonic() + later
    while process.poll() is None and time.monotonic() < moment and not out.exists():
        time.sleep(0.005)
    alive = process.poll() is None
    if alive:
        os.kill(process.pid, signal.SIGKILL)
    process.communicate()
    return alive


def at_a_long_job(setting: bytes, job: int) -> int:
    """Stands for a job that takes minutes."""
    os.write(1, b"at it\n")  # in one piece: two of them tell it through one pipe
    time.sleep(600)
    return job


def long_jobs() -> None:
    """Two hands at more long jobs than they can take at once."""
    with crew_of(b"", 2) as crew:
        for _ in crew.each(at_a_long_job, range(20)):
            pass


def test_an_interrupted_crew_ends_at_once_and_without_a_word() -> None:
    """Ctrl-C reaches every process of a terminal: none goes on with its job, none prints where it was."""
    command = [sys.executable, "-c", "from tests.batch.test_stopped import long_jobs\nlong_jobs()"]
    with subprocess.Popen(
        command,
        cwd=ROOT,
        env=environment(),
        start_new_session=True,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "at it\n"
        os.killpg(process.pid, signal.SIGINT)
        try:
            _, told = process.communicate(timeout=60)
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
    assert told.count("Traceback") == 1  # that of the script itself, which nobody catches
    assert told.rstrip().endswith("KeyboardInterrupt")


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, float]:
    """The table, its output by one process that was never stopped, and how long that took."""
    folder = tmp_path_factory.mktemp("whole")
    table = write_csv(folder / "table.csv", invented(ROWS))
    began = time.monotonic()
    finished(table, folder / "out.parquet", 1)
    return table, folder / "out.parquet", time.monotonic() - began


def test_every_row_comes_out_once_or_is_left_out_with_its_reason(whole: tuple[Path, Path, float]) -> None:
    table, out, _ = whole
    rows = parquet.read_table(out)["row"].to_pylist()
    with out.with_name("out.left_out.csv").open(encoding="utf-8", newline="") as stream:
        left_out = [(int(line["row"]), line["column"], line["reason"]) for line in csv.DictReader(stream)]
    assert rows == sorted(set(range(1, ROWS + 1)) - {row for row, _, _ in left_out})
    assert [row for row, _, _ in left_out] == list(range(11, ROWS + 1, 11))
    assert {column for _, column, _ in left_out} == {"hard_start"}
    assert all("'hm' is no answer" in reason for _, _, reason in left_out)
    assert not parts_of(out).exists()
    assert table.exists()


def test_killed_at_random_moments_it_goes_on_to_the_same_file(whole: tuple[Path, Path, float], tmp_path: Path) -> None:
    """SIGKILL of a run with two processes, again and again at any moment of it; then to the end."""
    table, expected, took = whole
    out, draw, killed = tmp_path / "out.parquet", random.Random(20260701), 0
    for number in range(KILLS):
        later = draw.uniform(0, 0.5) * took if number else 0.0  # the first at once, before it can be done
        killed += killed_while_working(table, out, later)
        if out.exists() and not parts_of(out).exists():
            break  # it was done before it could be killed
    if not out.exists() or parts_of(out).exists():
        finished(table, out, 2)
    assert killed > 0
    assert out.read_bytes() == expected.read_bytes()
    assert out.with_name("out.left_out.csv").read_bytes() == expected.with_name("out.left_out.csv").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.left_out.csv", "out.parquet"]
