"""A large log is read in bounded memory and in seconds; both measured in a process of its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.logs.large import measured, write_large
from tests.support.effort import LONG

MOST_MEGABYTES = 200.0  # however long the log is; 70 to 80 were measured for one million and for four million rows
MOST_SECONDS_A_MILLION = 30.0  # of processor time; 3 were measured


@pytest.mark.parametrize("style", ["plain", "comma", "clock", "empty"])
def test_a_large_log_is_read_in_bounded_memory_and_in_seconds(style: str, tmp_path: Path) -> None:
    rows = 1_000_000 if LONG else 150_000
    write_large(tmp_path / "large.csv", rows, style)
    seconds, megabytes, found = measured(tmp_path / "large.csv")
    assert found == rows
    assert megabytes < MOST_MEGABYTES
    assert seconds < MOST_SECONDS_A_MILLION * rows / 1e6 + 1.0


def test_memory_does_not_grow_with_the_log(tmp_path: Path) -> None:
    """Four times the rows, hardly more memory; the file itself grows by far more."""
    small, large = (200_000, 2_000_000) if LONG else (120_000, 480_000)
    write_large(tmp_path / "small.csv", small)
    write_large(tmp_path / "large.csv", large)
    first, second = measured(tmp_path / "small.csv")[1], measured(tmp_path / "large.csv")[1]
    growth = ((tmp_path / "large.csv").stat().st_size - (tmp_path / "small.csv").stat().st_size) / 1e6
    assert second - first < 0.5 * growth + 10.0
