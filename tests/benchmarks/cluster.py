"""Two Dask workers against one: the same table, the same bytes, and how much quicker.

Run `python -m tests.benchmarks.cluster [--rows N] [--folder F]` on a machine with two cores and nothing else to do. It
writes one invented table, then starts a scheduler with one worker and works it out with `diag table --only weigh
--cluster`, the same with two workers, and compares the files. Every worker is a program of its own with one thread of
everything; a few rows first load what a worker needs, and the plans of joining are kept for all. The rate is that of
whole runs, reading and joining included; what each program took of the processors says where a missing factor went.
May import: `tests.cli`, `tests.support`, `tests.benchmarks.million`, the standard library.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.million import command, ran, write_different
from tests.support.cluster import cluster

__all__ = ["WorkedOut", "main", "report", "worked_out"]

ENOUGH = 1.6
WARM = 600  # rows of another seed


@dataclass(frozen=True)
class WorkedOut:
    """A run with so many workers: rows a second, and processor seconds of all workers, of the scheduler, and of the
    program that reads, hands out and joins."""

    workers: int
    seconds: float
    rate: float
    workers_s: float
    scheduler_s: float
    program_s: float

    def __str__(self) -> str:
        return (
            f"{self.workers} {'worker ' if self.workers == 1 else 'workers'}: {self.seconds:.1f} s, {self.rate:,.0f} "
            f"rows/s; processor seconds: workers {self.workers_s:.1f}, scheduler {self.scheduler_s:.1f}, "
            f"the program itself {self.program_s:.1f}"
        )


def worked_out(folder: Path, table: Path, rows: int, workers: int, engine: str) -> tuple[WorkedOut, Path]:
    """Work a table out on a cluster of its own; the run and its output."""
    home = folder / f"with {workers}"
    home.mkdir()
    warm, out = write_different(home / "warm.csv", WARM, seed=2, engine=engine), home / "out.parquet"
    with cluster(home, workers) as (address, processes):
        ran(command(warm, home / "warm.parquet", "--only", "weigh", "--cluster", address))
        before, own = [processor_s(each) for each in processes], os.times()
        began = time.monotonic()
        ran(command(table, out, "--only", "weigh", "--cluster", address))
        seconds, after = time.monotonic() - began, os.times()
        scheduler_s, *workers_s = (processor_s(each) - there for each, there in zip(processes, before, strict=True))
    program_s = after.children_user + after.children_system - own.children_user - own.children_system
    return WorkedOut(workers, seconds, rows / seconds, sum(workers_s), scheduler_s, program_s), out


def processor_s(pid: int) -> float:
    """Processor seconds of a process so far; 0 where the system does not say."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def report(folder: Path, rows: int, engine: str = "") -> Iterator[str]:
    """Both runs, line by line."""
    table = write_different(folder / "table.csv", rows, engine=engine)
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    yield f"{rows:,} rows{f' of {engine}' if engine else ''}, no two alike; {os.cpu_count()} processors{load}"
    one, first = worked_out(folder, table, rows, 1, engine)
    yield str(one)
    two, second = worked_out(folder, table, rows, 2, engine)
    yield str(two)
    same = first.read_bytes() == second.read_bytes()
    yield f"{'the same file to the byte' if same else 'ANOTHER FILE'}"
    ratio = two.rate / one.rate
    yield f"two workers: {ratio:.2f} times the rate of one ({'at least' if ratio >= ENOUGH else 'below'} {ENOUGH})"


def main() -> None:
    """Print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=30_000)
    parser.add_argument("--engine", default="", help="rows of this engine alone; else of all that ship")
    parser.add_argument("--folder", type=Path, help="where to work; else a temporary one")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=chosen.folder) as name:
        for line in report(Path(name), chosen.rows, chosen.engine):
            print(line, flush=True)


if __name__ == "__main__":
    main()
