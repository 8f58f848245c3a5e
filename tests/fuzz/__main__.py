"""The long run: `python -m tests.fuzz --executions N [--reader NAME ...] [--seed S] [--crashes FOLDER]`.

N executions of each reader; the inputs that broke one are kept in the folder, and the exit code is 1 if there are any.
May import: this folder.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.fuzz.readers import READERS
from tests.fuzz.running import fuzz


def main() -> int:
    """Run, and print a line a reader."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--executions", type=int, default=2000, help="of each reader")
    parser.add_argument("--reader", action="append", choices=list(READERS), help="this one (may be given again)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=float("inf"), help="at most, for each reader")
    parser.add_argument("--crashes", type=Path, help="folder for the inputs that broke a reader")
    chosen = parser.parse_args()
    total = crashed = 0
    for name in chosen.reader or READERS:
        found = fuzz(name, chosen.executions, chosen.seed, chosen.seconds)
        print(found, flush=True)
        total, crashed = total + sum(found.became.values()), crashed + found.became["crash"]
        for crash in found.crashes.values():
            print(f"  input {crash.number}: {crash.what}\n{crash.trace}", flush=True)
            if chosen.crashes is not None:
                chosen.crashes.mkdir(parents=True, exist_ok=True)
                (chosen.crashes / f"{name.replace(' ', '_')}-{chosen.seed}-{crash.number}").write_bytes(crash.content)
    print(f"{total} executions, {crashed} crashes")
    return 1 if crashed else 0


if __name__ == "__main__":
    sys.exit(main())
