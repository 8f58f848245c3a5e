"""A large log of so many rows, written to a file: a short drive, over and over. Run alone it measures the reading.

`python -m tests.logs.large ROWS [comma|clock|empty]`. May import: `diag` through its doors.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.logs.simulated import State, simulate, written

__all__ = ["measured", "write_large"]


def write_large(path: Path, rows: int, style: str = "plain") -> None:
    """A drive of some 3,000 rows again and again, its clock running on. `style`: 'plain' numbers with points, 'comma'
    decimals between semicolons, a 'clock' in front, or every third temperature 'empty'."""
    table = simulate(State(spikes=0.002))
    delimiter, decimal = (";", ",") if style == "comma" else (",", ".")
    head, *body = written(table, delimiter=delimiter, decimal=decimal, decimals=2)
    tails = [line.split(delimiter, 1)[1] for line in body]
    if style == "empty":
        tails = [_without_second(tail, delimiter) if row % 3 else tail for row, tail in enumerate(tails)]
    stamp: Callable[[int], str] = _clock if style == "clock" else lambda row: f"{row / 10:.1f}".replace(".", decimal)
    with path.open("w", encoding="utf-8") as stream:
        stream.write(head + "\n")
        for start in range(0, rows, len(tails)):
            count = min(len(tails), rows - start)
            lines = (f"{stamp(start + row)}{delimiter}{tails[row]}\n" for row in range(count))
            stream.writelines(lines)


def _without_second(tail: str, delimiter: str) -> str:
    cells = tail.split(delimiter)
    cells[1] = ""
    return delimiter.join(cells)


def _clock(row: int) -> str:
    seconds = row / 10
    return f"{int(seconds // 3600) % 24:02d}:{int(seconds // 60) % 60:02d}:{seconds % 60:04.1f}"


def measured(path: Path) -> tuple[float, float, int]:
    """Seconds of processor time and megabytes (above what the knowledge takes) that reading a log needs, and its rows;
    in a process of its own."""
    program = (
        "import resource, sys, time\n"
        "from diag.knowledge_base import load_knowledge\n"
        "from diag.logs import read_log\n"
        "known = load_knowledge()\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "start = time.process_time()\n"
        "result = read_log(sys.argv[1], known, known.engines['ostrel_4'])\n"
        "taken = time.process_time() - start\n"
        "after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "print(taken, (after - before) / 1024, result.rows)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True)
    seconds, megabytes, rows = done.stdout.split()
    return float(seconds), float(megabytes), int(rows)


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "large.csv"
        started = time.perf_counter()
        write_large(file, int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "plain")
        print(f"written in {time.perf_counter() - started:.1f} s, {file.stat().st_size / 1e6:.0f} MB")
        print("{:.2f} s of processor time, {:.0f} MB more than before, {:,} rows".format(*measured(file)))
        print(f"writer itself: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
