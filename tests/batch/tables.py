"""Invented tables of cases, and a run of one in its own process: `python -m tests.batch.tables TABLE OUT PROCESSES`.

May import: `diag` through its doors, the standard library.
"""

from __future__ import annotations

import csv
import random
import sys
from collections.abc import Sequence
from pathlib import Path

from diag.batch import Run, run_table
from diag.knowledge_base import load_knowledge

__all__ = ["HEADS", "invented", "write_csv"]

HEADS = (
    "case",
    "engine",
    "distance_km",
    "age_years",
    "hard_start",
    "rough_idle",
    "tar 1",
    "tar 2",
    "rail_pressure_cranking",
    "codes",
)
CHUNK = 7


def invented(rows: int, seed: int = 1, kinds: int = 12) -> list[list[str]]:
    """Rows, many of them alike: `kinds` vehicles over and over; every eleventh cannot be read."""
    draw = random.Random(seed)
    vehicles = [
        [
            draw.choice(["ostrel_3", "ostrel_4"]),
            str(draw.randrange(40_000, 300_000, 1_000)),
            str(draw.randint(2, 16)),
            "present",
            draw.choice(["", "present", "absent"]),
            draw.choice(["", "present", "absent"]),
            draw.choice(["", "absent", "not sure"]),
            draw.choice(["", "150", "180 bar", "above 250"]),
            draw.choice(["", "P0087", "P0263 pending; P0087"]),
        ]
        for _ in range(kinds)
    ]
    found = [[f"V{number}", *draw.choice(vehicles)] for number in range(1, rows + 1)]
    for number in range(10, rows, 11):
        found[number][4] = "hm"
    return found


def write_csv(path: Path, rows: Sequence[Sequence[str]], heads: Sequence[str] = HEADS, delimiter: str = ",") -> Path:
    """Write a table."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        lines = csv.writer(stream, delimiter=delimiter, lineterminator="\n")
        lines.writerow(heads)
        lines.writerows(rows)
    return path


def main(arguments: Sequence[str]) -> None:
    """Run a table, a few rows at a time."""
    table, out, processes = arguments
    run_table(Run(Path(table), Path(out), load_knowledge(), only_weigh=True, processes=int(processes), chunk=CHUNK))


if __name__ == "__main__":
    main(sys.argv[1:])
