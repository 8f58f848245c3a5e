"""A table of a million different cases: rate, memory of all processes, and a kill from which the run goes on.

Run `python -m tests.benchmarks.million [--rows N] [--full N] [--engine E] [--folder F]`. It writes an invented table of
which no two rows tell the same, runs `diag table --only weigh` on it as anybody would, runs it again and kills that at
a random moment, goes on with the same command, and compares the files to the byte. The rate of full triage comes from
the first rows, and so does that of rows that are weighed one by one (`SLOW`). Memory is what all processes of the run
hold together, looked at again and again: shared pages counted once (PSS) and, for comparison, as often as they are
mapped (RSS). Linux alone says both. May import: `tests.cli`, the standard library.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.cli.process import ROOT, environment

__all__ = ["Ran", "different_rows", "killed", "main", "ran", "report", "write_different"]

ENGINES = ("ostrel_3", "ostrel_4", "velm_5", "karrick_v6", "karrick_v8")
HEADS = (
    *("case", "engine", "distance_km", "age_years", "numbering", "hard_start", "rough_idle", "no_power", "white_smoke"),
    *("chuff under cold 1", "chuff under cold 2", "tar 1", "tar 2", "tar 3", "rail_pressure_cranking", "codes"),
)
DISTANCES = 250_000  # different ones; from one round of them to the next the pressure's fraction differs
ANSWERS = ("present", "absent", "absent", "not sure")
CODES = ("", "", "", "P0087", "P0263 pending", "P0087; P0266")
SLOW = ("white_smoke", "fumes")  # with chuffing told, each age has tables of its own (`sort_of` in the network room)
EVERY_S = 0.2  # between two looks at the memory


@dataclass(frozen=True)
class Ran:
    """A run: seconds, what it told of itself, and the most MiB that all its processes held together."""

    seconds: float
    told: dict[str, object]
    pss_mib: float
    rss_mib: float


def different_rows(rows: int, seed: int = 1, engine: str = "") -> Iterator[list[str]]:
    """Rows of vehicles with a complaint, symptoms, what was seen at some cylinders, a reading, codes; no two alike."""
    draw = random.Random(seed)
    for number in range(rows):
        round_of, place = divmod(number, DISTANCES)
        seen = [draw.choice(ANSWERS) for _ in range(4)]
        told = [draw.choice(ANSWERS) if draw.random() < 0.9 else "" for _ in range(4)]
        yield [
            f"V{number + 1}",
            engine or draw.choice(ENGINES),
            str(30_000 + place),
            str(draw.randint(2, 16)),
            "confirmed",
            "present",
            *told[:3],
            *seen,
            told[3],
            f"{draw.randint(90, 320)}.{round_of:03d}",
            draw.choice(CODES),
        ]


def write_different(path: Path, rows: int, seed: int = 1, engine: str = "") -> Path:
    """Write such a table."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        lines = csv.writer(stream, lineterminator="\n")
        lines.writerow(HEADS)
        lines.writerows(different_rows(rows, seed, engine))
    return path


def command(table: Path, out: Path, *more: str) -> list[str]:
    """The command line that works out a table."""
    return [sys.executable, "-m", "diag", "table", str(table), "--out", str(out), "--json", *more]


@contextmanager
def _started(arguments: Sequence[str]) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        arguments, cwd=ROOT, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            os.kill(process.pid, signal.SIGKILL)
        process.communicate()


def ran(arguments: Sequence[str]) -> Ran:
    """Run it to its end and look at its memory meanwhile. RuntimeError where it fails."""
    began, pss, rss = time.monotonic(), 0.0, 0.0
    with _started(arguments) as process:
        while process.poll() is None:
            held = _held(process.pid)
            pss, rss = max(pss, held[0]), max(rss, held[1])
            time.sleep(EVERY_S)
        assert process.stdout is not None
        told = process.stdout.read()
        seconds = time.monotonic() - began
    if process.returncode:
        raise RuntimeError(f"ended with code {process.returncode}: {told}")
    return Ran(seconds, json.loads(told), pss, rss)


def killed(arguments: Sequence[str], out: Path, after_s: float) -> bool:
    """Run it and kill it after so many seconds, or once it is about to be done; whether something was left to do."""
    with _started(arguments) as process:
        until = time.monotonic() + after_s
        while process.poll() is None and time.monotonic() < until and not out.exists():
            time.sleep(0.01)
        alive = process.poll() is None
        if alive:
            os.kill(process.pid, signal.SIGKILL)
    while _family(process.pid):
        time.sleep(0.01)  # its workers leave by themselves
    return alive and (not out.exists() or out.with_name(f"{out.name}.parts").exists())


def _held(pid: int) -> tuple[float, float]:
    """MiB that a process and all below it hold: PSS and RSS."""
    pss = rss = 0.0
    for each in _family(pid):
        try:
            lines = Path(f"/proc/{each}/smaps_rollup").read_text(encoding="utf-8").splitlines()
        except OSError:
            continue  # it has just ended
        sizes = {line.split(":")[0]: line.split()[1] for line in lines[1:]}
        pss, rss = pss + int(sizes["Pss"]) / 1024, rss + int(sizes["Rss"]) / 1024
    return pss, rss


def _family(pid: int) -> list[int]:
    """A process and all below it that still run."""
    found = []
    waiting = [pid]
    while waiting:
        one = waiting.pop()
        tasks = Path(f"/proc/{one}/task")
        try:
            below = [int(each) for task in tasks.iterdir() for each in (task / "children").read_text().split()]
        except OSError:
            continue
        found.append(one)
        waiting += below
    return found


def report(folder: Path, rows: int, full: int, processes: int, engine: str = "") -> Iterator[str]:
    """Do it all in a folder, line by line."""
    table, whole, again = folder / "table.csv", folder / "whole.parquet", folder / "again.parquet"
    began = time.monotonic()
    write_different(table, rows, engine=engine)
    yield f"{rows:,} rows, no two alike, written in {time.monotonic() - began:.1f} s ({table.stat().st_size:,} bytes)"
    only = ("--only", "weigh", "--processes", str(processes))
    first = ran(command(table, whole, *only))
    told = ", ".join(f"{first.told[name]:,} {words}" for name, words in TOLD.items())
    yield f"diag table --only weigh, {processes} processes: {first.seconds:.1f} s, {rows / first.seconds:,.0f} rows/s"
    yield f"  {told}"
    yield f"  most memory of all processes together: {first.pss_mib:,.0f} MiB (PSS; RSS {first.rss_mib:,.0f} MiB)"
    moment = random.Random().uniform(0.0, first.seconds)
    alive = killed(command(table, again, *only), again, moment)
    left = "something was left to do" if alive else "all was done before"
    yield f"the same again, killed after {moment:.1f} s ({left})"
    if alive:
        rest = ran(command(table, again, *only))
        yield f"  the same command went on and was done after {rest.seconds:.1f} s"
        yield f"  most memory of all processes together: {rest.pss_mib:,.0f} MiB (PSS; RSS {rest.rss_mib:,.0f} MiB)"
    sides = [each.with_name(f"{each.stem}.left_out.csv").read_bytes() for each in (whole, again)]
    same = whole.read_bytes() == again.read_bytes() and sides[0] == sides[1]
    yield f"  {'the same file to the byte' if same else 'ANOTHER FILE'} ({whole.stat().st_size:,} bytes)"
    if full:
        few = write_different(folder / "few.csv", full, engine=engine)
        slow = _slow_rows(few, folder / "slow.csv")
        for words, asked, more in (
            ("full triage of the first", few, ()),
            ("with fumes told as well, weighed one by one, the first", slow, ("--only", "weigh")),
        ):
            found = ran(command(asked, asked.with_suffix(".parquet"), "--processes", str(processes), *more))
            yield (
                f"{words} {full:,} rows, {processes} processes: {found.seconds:.1f} s, "
                f"{full / found.seconds:.2f} rows/s, {found.pss_mib:,.0f} MiB"
            )


def _slow_rows(table: Path, to: Path) -> Path:
    """The same rows, but that fumes are told instead of white smoke."""
    head, rest = table.read_text(encoding="utf-8").split("\n", 1)
    to.write_text(f"{head.replace(*SLOW)}\n{rest}", encoding="utf-8")
    return to


TOLD = {
    "rows": "rows came out",
    "left_out": "left out",
    "distinct": "different cases",
    "contradicting": "contradicting",
}


def main() -> None:
    """Print it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--full", type=int, default=100, help="rows that full triage is tried on; 0: none")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--engine", default="", help="rows of this engine alone; else of all that ship")
    parser.add_argument("--folder", type=Path, help="where to work; else a temporary one")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=chosen.folder) as name:
        for line in report(Path(name), chosen.rows, chosen.full, chosen.processes, chosen.engine):
            print(line, flush=True)


if __name__ == "__main__":
    main()
