"""A Dask cluster by its address gives the same file as the processes of one machine, to the byte."""

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

import pytest

from diag.basics import UsageError
from diag.batch import Run, run_table
from diag.knowledge_base import load_knowledge
from tests.batch.tables import CHUNK, invented, write_csv
from tests.cli.process import ROOT, environment

KNOWLEDGE = load_knowledge()


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[str]:
    """A scheduler and workers as an administrator starts them: programs of their own, found by an address."""
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
        yield str(json.loads(where.read_text(encoding="utf-8"))["address"])
    finally:
        for process in started:
            os.kill(process.pid, signal.SIGKILL)
            process.wait()


def test_a_cluster_gives_the_same_file_as_one_machine(tmp_path: Path) -> None:
    """Two workers, each a program of its own, against one process here; the output is the same to the byte."""
    table = write_csv(tmp_path / "table.csv", invented(40))
    run_table(Run(table, tmp_path / "here.parquet", KNOWLEDGE, only_weigh=True, processes=1, chunk=CHUNK))
    with cluster(tmp_path, 2) as address:
        there = Run(table, tmp_path / "there.parquet", KNOWLEDGE, only_weigh=True, cluster=address, chunk=CHUNK)
        result = run_table(there)
    assert result.rows == 37
    assert (tmp_path / "there.parquet").read_bytes() == (tmp_path / "here.parquet").read_bytes()


def test_no_cluster_at_an_address_is_told(tmp_path: Path) -> None:
    table = write_csv(tmp_path / "table.csv", invented(3))
    with pytest.raises(UsageError, match=r"there is no Dask scheduler at nonsense:"):
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True, cluster="nonsense://x"))
