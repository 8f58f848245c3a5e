"""A Dask cluster by its address gives what one machine does, to the bit: tables, learning, the laboratory."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from diag.basics import UsageError
from diag.batch import Run, run_table
from diag.knowledge_base import load_knowledge
from diag.laboratory import Plan, starts_of, study
from diag.learning import Rules, Sweeper, Trust, figure_numbers, learn, learnables
from tests.batch.tables import CHUNK, invented, write_csv
from tests.cli.process import run_in
from tests.support.cluster import cluster
from tests.support.mixed_book import mixed_book

KNOWLEDGE = load_knowledge()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where two workers are to be had, each a program of its own."""
    with cluster(tmp_path_factory.mktemp("cluster"), 2) as (there, _):
        yield there


def test_a_cluster_gives_the_same_file_as_one_machine(tmp_path: Path, address: str) -> None:
    """Two workers against one process here; the output is the same to the byte."""
    table = write_csv(tmp_path / "table.csv", invented(40))
    run_table(Run(table, tmp_path / "here.parquet", KNOWLEDGE, only_weigh=True, processes=1, chunk=CHUNK))
    there = Run(table, tmp_path / "there.parquet", KNOWLEDGE, only_weigh=True, cluster=address, chunk=CHUNK)
    result = run_table(there)
    assert result.rows == 37
    assert (tmp_path / "there.parquet").read_bytes() == (tmp_path / "here.parquet").read_bytes()


def test_a_cluster_goes_through_a_book_as_one_machine_does(address: str) -> None:
    """Counts and likelihood, of cases in several batches, to the bit; products of scores to 1e-12 of the largest, for
    a matrix product may round otherwise where its numbers stand otherwise in memory."""
    lessons = mixed_book(KNOWLEDGE, 16, 1, ("ostrel_3",))
    index = figure_numbers(learnables(KNOWLEDGE))
    found = []
    for there in ("", address):
        with Sweeper(KNOWLEDGE, lessons, index, Trust(), 1, 0.0, there) as sweeper:
            found.append([sweeper.sweep(KNOWLEDGE, information) for information in (False, True)])
    for here, away in zip(*found, strict=True):
        assert here.cases > 0 and away.cases == here.cases and away.left_out == here.left_out
        assert away.log_likelihood == here.log_likelihood and away.weights == here.weights
        for name in ("true", "used", "true_before", "used_before"):
            assert np.array_equal(getattr(away, name), getattr(here, name)), name
        most = 1e-12 * float(np.abs(here.information).max())
        np.testing.assert_allclose(away.information, here.information, rtol=1e-9, atol=most)


def test_a_cluster_runs_the_same_study_as_one_machine(address: str) -> None:
    """Simulated cases under rules of thumb: the same runs, in the same order."""
    starts = starts_of(KNOWLEDGE, "ostrel_3", ["hard_start"])[:2]
    plan = Plan(
        KNOWLEDGE,
        KNOWLEDGE,
        starts,
        2,
        1,
        (
            "change everything",
            "cheapest first",
        ),
    )
    told: list[tuple[int, int]] = []
    there = study(plan, told=lambda done, of: told.append((done, of)), cluster=address)
    assert there == study(plan)
    assert told[-1] == (2, 2)


def test_no_cluster_at_an_address_is_told(tmp_path: Path) -> None:
    table = write_csv(tmp_path / "table.csv", invented(3))
    with pytest.raises(UsageError, match=r"there is no Dask scheduler at nonsense:"):
        run_table(Run(table, tmp_path / "out.csv", KNOWLEDGE, only_weigh=True, cluster="nonsense://x"))
    with pytest.raises(UsageError, match=r"there is no Dask scheduler at nonsense:"):
        learn(KNOWLEDGE, mixed_book(KNOWLEDGE, 2, 1, ("ostrel_3",)), Rules(cluster="nonsense://x"))
    done = run_in(tmp_path, "laboratory", "ostrel_3", "--cases", "2", "--cluster", "nonsense://x")
    assert done.returncode != 0
    assert "there is no Dask scheduler at nonsense:" in done.stderr
