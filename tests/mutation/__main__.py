"""How many faults the tests notice: `python -m tests.mutation --sample N [--seed S] [--room inference|decision]`.

All places of the fixed list of changes in `diag/inference` and `diag/decision` are counted, N of them drawn (a larger
N adds to a smaller one), and each is shown to the tests that reach its statement (`TESTS`), those first that are most
likely to find it for their time, until one fails. Prints every survivor, with the reason where it is known that nothing
can differ (`survivors.yaml`), and the score: found of those that are not equivalent. May import: this folder.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
import time
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
    chosen = _asked()
    os.environ["DIAG_CACHE"] = "none"  # what was planned without the fault must not hide it
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    os.chdir(ROOT)
    for room in chosen.room or ROOMS:
        child = os.fork()  # a room each, so that nothing of one is loaded in the other
        if child == 0:
            _room(room, chosen)
            sys.stdout.flush()
            os._exit(0)
        os.waitpid(child, 0)
    return 0


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=50, help="of each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--room", choices=ROOMS, action="append")
    parser.add_argument("--tests-s", type=float, default=30.0, help="seconds of tests for each fault, at most")
    parser.add_argument("--stop-s", type=float, default=float("inf"), help="seconds for each room, at most")
    parser.add_argument("--first", type=int, default=1, help="of the sample, begin with this number")
    parser.add_argument(
        "--pick", type=int, action="append", help="of the sample, this number alone (may be given again)"
    )
    parser.add_argument("--file", action="append", help="only files of this name")
    parser.add_argument("--test", action="append", help="only these files of tests")
    parser.add_argument("--keep", type=Path, help="file for what tests reach, so that it is not measured again")
    return parser.parse_args()


def _room(room: str, chosen: argparse.Namespace) -> None:
    from tests.mutation.known import Equivalent, equivalents, reason_for, score_of, stale, stated
    from tests.mutation.operators import mutants_of
    from tests.mutation.reaching import reached_by
    from tests.mutation.running import Verdict, paths_of, try_all

    folder = ROOT / "diag" / room
    known = [each for each in equivalents() if each.file.startswith(f"{room}/")]
    every = [mutant for path in paths_of(folder, None) for mutant in mutants_of(path)]
    for each in stale(known, every):
        print(f"stale: {each.file} {each.function}: {each.what or 'all'} in `{each.line}`: no such fault any more")
    drawn = [mutant for mutant in every if not chosen.file or mutant.path.name in chosen.file]
    random.Random(chosen.seed).shuffle(drawn)
    numbers = {mutant: number for number, mutant in enumerate(drawn[: chosen.sample], start=1)}
    some = [each for each, number in numbers.items() if number >= chosen.first]
    some = [each for each in some if not chosen.pick or numbers[each] in chosen.pick]
    reaching = reached_by(folder, chosen.test or TESTS[room], chosen.keep)
    print(f"{room}: {len(every)} faults possible, {len(some)} to try, {len(reaching.able)} tests", flush=True)
    verdicts: list[Verdict] = []
    excused: list[Equivalent] = []
    until = time.monotonic() + chosen.stop_s

    def tell(verdict: Verdict) -> bool:
        verdicts.append(verdict)
        reason = reason_for(verdict.mutant, known)
        what = f"{verdict.became} ({verdict.tests} tests, {verdict.seconds:.0f} s)"
        place = str(verdict.mutant).removeprefix(f"{ROOT}{os.sep}")
        print(f"{numbers[verdict.mutant]:4} {what:32} {place}", flush=True)
        if verdict.found:
            print(f"     by {verdict.test}{'; IS SAID TO BE EQUIVALENT' if reason and reason.line else ''}", flush=True)
        elif reason is not None and verdict.became == "survived":
            excused.append(reason)
            print(f"     {reason.kind}: {reason.why}", flush=True)
        return bool(time.monotonic() < until)

    try_all(folder, some, reaching, chosen.tests_s, tell)
    found = sum(verdict.found for verdict in verdicts)
    for before in stated(room):
        print(f"stated before: {before}")
    print(f"{room}, seed {chosen.seed}, {time.strftime('%Y-%m-%d')}: {score_of(found, excused, len(verdicts))}")


if __name__ == "__main__":
    sys.exit(main())
