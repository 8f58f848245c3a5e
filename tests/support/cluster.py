"""A Dask cluster on this machine, for tests and benchmarks.

May import: the standard library, distributed, `tests.cli` for the environment of a process.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from distributed import Client

from tests.cli.process import ROOT, environment

__all__ = ["cluster"]


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[tuple[str, list[int]]]:
    """A scheduler and workers as an administrator starts them: programs of their own, found by an address, with one
    thread each; and their process numbers, the scheduler first. Begins when all workers have come."""
    where = folder / "scheduler.json"
    quiet = environment(
        DASK_DISTRIBUTED__DASHBOARD__LINK="", DASK_LOGGING__DISTRIBUTED="error", OPENBLAS_NUM_THREADS="1"
    )
    commands = [["distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(where)]]
    worker = ["distributed.cli.dask_worker", "--scheduler-file", str(where), "--nthreads", "1", "--no-nanny"]
    commands += [[*worker, "--no-dashboard"]] * workers
    started = []
    try:
        for command in commands:
            started.append(
                subprocess.Popen(
                    [sys.executable, "-m", *command],
                    cwd=ROOT,
                    env=quiet,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            )
            for _ in range(600):
                if where.exists() and where.stat().st_size:
                    break
                time.sleep(0.1)
        address = str(json.loads(where.read_text(encoding="utf-8"))["address"])
        with Client(address, timeout=60) as client:
            client.wait_for_workers(workers, timeout=60)
        yield address, [process.pid for process in started]
    finally:
        for process in started:
            os.kill(process.pid, signal.SIGKILL)
            process.wait()
