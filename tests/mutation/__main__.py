"""How many faults the tests notice: `python -m tests.mutation --sample N [--seed S] [--room inference|decision]`.

All places of the fixed list of changes in `diag/inference` and `diag/decision` are counted, N of them drawn, and each
is shown to the nearest tests that call the function (`TESTS`), quickest first. Prints the score and every survivor.
May import: this folder.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("inference", "decision")
TESTS = {
    "inference": (
        "tests/inference",
        "tests/published",
        "tests/learning/test_counting.py",
        "tests/network/test_many.py",
        "tests/decision/test_objective.py",
        "tests/decision/test_joint_answers.py",
    ),
    "decision": ("tests/decision", "tests/published/test_sensitivity.py"),
}


def main() -> int:
    """Draw, run, tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=50, help="of each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    parser.add_argument("--tests-s", type=float, default=30.0, help="seconds of tests for each fault, at most")
    parser.add_argument(
        "--pick", type=int, action="append", help="of the sample, this number alone (may be given again)"
    )
    parser.add_argument("--file", action="append", help="only files of this name")
    chosen = parser.parse_args()
    os.environ["DIAG_CACHE"] = "none"  # what was planned without the fault must not hide it
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    from tests.mutation.operators import mutants_of
    from tests.mutation.running import reached_by, tried

    os.chdir(ROOT)
    noticed = shown = 0
    for room in chosen.room or ROOMS:
        paths = sorted((ROOT / "diag" / room).glob("*.py"))
        paths = [path for path in paths if path.name != "__init__.py" and (not chosen.file or path.name in chosen.file)]
        every = [mutant for path in paths for mutant in mutants_of(path)]
        some = random.Random(chosen.seed).sample(every, min(chosen.sample, len(every)))
        some = [mutant for number, mutant in enumerate(some, start=1) if not chosen.pick or number in chosen.pick]
        reaching = reached_by([ROOT / "diag" / room], TESTS[room])
        print(f"{room}: {len(every)} faults possible, {len(some)} drawn, {len(reaching.took)} tests", flush=True)
        for mutant in some:
            verdict = tried(mutant, reaching, chosen.tests_s)
            noticed, shown = noticed + verdict.noticed, shown + 1
            what = f"{verdict.became} ({verdict.tests} tests, {verdict.seconds:.0f} s)"
            print(f"{shown:4} {what:32} {str(mutant).removeprefix(str(ROOT) + os.sep)}", flush=True)
    print(f"{noticed} of {shown} noticed: {100 * noticed / max(shown, 1):.0f} %")
    return 0


if __name__ == "__main__":
    sys.exit(main())
