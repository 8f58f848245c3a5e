"""Time of a call, and calls in a process of their own with a limit on memory and time.

May import: the standard library only.
"""

from __future__ import annotations

import json
import pickle
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Limited", "Timing", "milliseconds", "run_limited", "timed", "timed_together"]


@dataclass(frozen=True)
class Timing:
    """Seconds of one call: the fastest and the middle one by the wall clock, and the fewest processor seconds.

    Processor seconds add up over threads, and are what to compare where other work shares the machine.
    """

    best_s: float
    median_s: float
    processor_s: float
    calls: int

    def __str__(self) -> str:
        return (
            f"{milliseconds(self.best_s)} at best, {milliseconds(self.median_s)} in the middle of {self.calls} calls "
            f"({milliseconds(self.processor_s)} of processor time)"
        )


@dataclass(frozen=True)
class Limited:
    """What a limited process did: `finished`, seconds of its own clocks, its answers, or why it stopped."""

    finished: bool
    seconds: float
    processor_s: float
    answers: dict[str, list[float]]
    trouble: str
    memory_mib: float = 0.0  # the most that the process ever held
    again_s: float = 0.0  # seconds of the fastest further call, where the first was short enough to repeat


def timed(calls: Sequence[Callable[[], object]], least_s: float = 0.5) -> Timing:
    """Call the given functions in turn for `least_s` seconds after a warm-up; see `timed_together`."""
    return timed_together([calls], least_s)[0]


def timed_together(rows: Sequence[Sequence[Callable[[], object]]], least_s: float = 0.5) -> list[Timing]:
    """Time several rows of calls in rounds, a call of each row a round, so that a slow spell hits all rows alike.

    The calls of a row (different evidence) are made in turn, so that no remembered answer is measured. Rounds go on
    until `least_s` seconds a row have passed, and at least one round, after the warm-up.
    """
    for row in rows:
        row[0]()
    walls: list[list[float]] = [[] for _ in rows]
    processors: list[list[float]] = [[] for _ in rows]
    start, number = time.perf_counter(), 0
    while number == 0 or time.perf_counter() - start < least_s * len(rows):
        for row, wall, processor in zip(rows, walls, processors, strict=True):
            call = row[number % len(row)]
            wall_before, processor_before = time.perf_counter(), time.process_time()
            call()
            processor.append(time.process_time() - processor_before)
            wall.append(time.perf_counter() - wall_before)
        number += 1
    return [
        Timing(min(wall), sorted(wall)[len(wall) // 2], min(processor), len(wall))
        for wall, processor in zip(walls, processors, strict=True)
    ]


def milliseconds(seconds: float) -> str:
    """Seconds as milliseconds with three figures."""
    return f"{seconds * 1000:.3g} ms"


def run_limited(module: str, arguments: Sequence[str], job: object, memory_gib: float, limit_s: float) -> Limited:
    """Run `python -m module <job file> <memory> arguments...`, which prints JSON; stop it beyond its limits."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.pickle"
        path.write_bytes(pickle.dumps(job))
        command = [sys.executable, "-W", "ignore", "-m", module, str(path), str(memory_gib), *arguments]
        before = time.perf_counter()
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=limit_s, check=False)
        except subprocess.TimeoutExpired:
            return Limited(False, time.perf_counter() - before, 0.0, {}, f"not done within {limit_s:g} s")
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or [f"ended with code {done.returncode}"])[-1]
        return Limited(False, time.perf_counter() - before, 0.0, {}, f"stopped within {memory_gib:g} GiB: {last[:120]}")
    printed = json.loads(done.stdout.strip().splitlines()[-1])
    more = float(printed["memory_mib"]), float(printed["again"])
    return Limited(True, float(printed["seconds"]), float(printed["processor"]), printed["answers"], "", *more)
