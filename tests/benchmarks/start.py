"""From the start of the process to the first screen one can use: `python -m tests.benchmarks.start [times]`.

A stand-in for the browser notes at which address it is opened and asks for it at once; a real browser needs its own
start besides, which runs beside this. First with a new book, then with the one that is there. Wall time and the
processor time of the server, of this machine now. May import: httpx, `tests.web`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import httpx

from tests.web.served import ROOT, opened_at, stand_in_browser

__all__ = ["Start", "main", "report", "started"]

OFTEN = 5


@dataclass(frozen=True)
class Start:
    """Seconds after the process was started: browser opened, first screen whole; and the processor's seconds till
    then (0 where the system does not tell)."""

    opened_s: float
    screen_s: float
    processor_s: float


def started(folder: Path) -> Start:
    """Start the page once on the book in `folder`, and end it again."""
    program, noted = stand_in_browser(folder)
    noted.unlink(missing_ok=True)
    environment = {**os.environ, "DIAG_BOOK": str(folder / "book.sqlite3"), "BROWSER": str(program)}
    command = [sys.executable, "-m", "diag", "serve", "--port", "0"]
    began = time.perf_counter()
    with subprocess.Popen(command, stderr=subprocess.DEVNULL, env=environment, cwd=ROOT) as process:
        try:
            address = opened_at(noted)
            opened = time.perf_counter() - began
            answer = httpx.get(address, follow_redirects=True, timeout=60)
            screen, spent = time.perf_counter() - began, _processor_s(process.pid)
            assert answer.status_code == 200 and "<h1>Cases</h1>" in answer.text, answer.text
        finally:
            process.terminate()
            process.wait(30)
    return Start(opened, screen, spent)


def _processor_s(process: int) -> float:
    stat = Path(f"/proc/{process}/stat")
    if not stat.exists():
        return 0.0
    fields = stat.read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def report(often: int = OFTEN) -> list[str]:
    """The best and the middle of so many starts, with a new book and with one that is there."""
    lines = []
    with tempfile.TemporaryDirectory() as there:
        for kind, first in (("a new book", True), ("a book that is there", False)):
            starts = []
            for _ in range(often):
                with tempfile.TemporaryDirectory() as new:
                    starts.append(started(Path(new if first else there)))
            walls = sorted(each.screen_s for each in starts)
            lines.append(
                f"{kind}: first screen after {walls[0]:.2f} s at best, {walls[len(walls) // 2]:.2f} s in the middle of "
                f"{often} starts; browser opened after {min(each.opened_s for each in starts):.2f} s at best; "
                f"{min(each.processor_s for each in starts):.2f} s of the server's processor time"
            )
    return lines


def main(arguments: list[str]) -> None:
    """Print the figures."""
    for line in report(int(arguments[0]) if arguments else OFTEN):
        print(line)
    print("load average " + ", ".join(f"{each:.1f}" for each in os.getloadavg()) + f" on {os.cpu_count()} cores")


if __name__ == "__main__":
    main(sys.argv[1:])
