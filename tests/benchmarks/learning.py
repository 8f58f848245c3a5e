"""How fast closed cases are gone through: cases of the shipped knowledge, drawn from it, one process.

Run `python -m tests.benchmarks.learning [--cases 200]`. Printed: processor seconds of one pass (expected counts given
all, and given the complaint) and cases a second, with and without ages rounded, and what 100,000 would take on
two cores at that rate. May import: `diag` through its doors, `tests.support`.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import replace

import numpy as np

from diag.casebook import ABSENT, PRESENT, Answer, Case, Epoch
from diag.knowledge_base import Knowledge, load_knowledge
from diag.learning import Lesson, Sweeper, Trust, learnables
from diag.network import build, chance_by_level
from diag.store import Fitted, Found, Outcome
from tests.support.simulate import simulate

__all__ = ["drawn_cases", "main"]

ASKED = ("fumes", "rough_idle", "hard_start")


def drawn_cases(
    knowledge: Knowledge, wanted: int, seed: int = 1, engine: str = "ostrel_4", one_age: bool = False
) -> list[Lesson]:
    """Cases with three symptoms of the vehicle and tar asked of each cylinder; where there is tar the seal was seen."""
    random, found = np.random.default_rng(seed), list[Lesson]()
    while len(found) < wanted:
        km = 180_000.0 if one_age else float(random.integers(60, 320)) * 1000
        case = Case("drawn", knowledge.engines[engine], engine, km, km / 18_000)
        network = build(knowledge, case)
        drawn = simulate(network.model, 300, int(random.integers(1 << 31)))
        kept = 0
        for draw in range(300):
            answers = []
            for item in ASKED:
                number = network.targets.chain.nodes[knowledge.findings[item].shows].shared
                level = int(drawn["shared", number, 0][draw])
                chance = chance_by_level(knowledge, item, None)[level]
                answers.append(Answer(item, None, PRESENT if random.random() < chance else ABSENT))
            if all(answer.answer == ABSENT for answer in answers) or kept >= (300 if one_age else 3):
                continue
            kept += 1
            outcome = _outcome(knowledge, network, case, drawn, draw, random, answers)
            told = replace(case, epochs=(Epoch((), tuple(answers)),))
            found.append(Lesson(len(found) + 1, "", told, outcome, ""))
    return found[:wanted]


def _outcome(knowledge, network, case, drawn, draw, random, answers):  # type: ignore[no-untyped-def]
    told, fitted = [], []
    tar = chance_by_level(knowledge, "tar", None)
    for cylinder in case.engine.cylinders:
        plate, axes = network.targets.axes["blow_by", cylinder]
        stands = random.random() < tar[int(drawn["axis", plate, axes[0]][draw])]
        answers.append(Answer("tar", cylinder, PRESENT if stands else ABSENT))
        if stands:
            fitted.append(Fitted("reseal", cylinder))
            for name in ("seal", "clamp"):
                plate, index = network.targets.components[name, cylinder]
                state = list(knowledge.components[name].states)[int(drawn["component", plate, index[0]][draw])]
                told += [Found(name, state, cylinder, "seen")] if state != "sound" else []
    return Outcome("no", tuple(told), tuple(fitted))


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=200)
    chosen = parser.parse_args()
    knowledge = load_knowledge()
    index = {each.path: number for number, each in enumerate(learnables(knowledge))}
    lessons = drawn_cases(knowledge, chosen.cases)
    ages = int(np.ceil(np.log(320 / 60) / 0.05))
    print(f"a book whose ages are rounded to 5 % has some {ages} of them; the last line is one of these, alone")
    alone = drawn_cases(knowledge, chosen.cases, one_age=True)
    for step, some in ((0.0, lessons[:40]), (0.05, lessons), (0.05, alone)):
        start = time.process_time()
        with Sweeper(knowledge, some, index, Trust(), 1, step) as sweeper:
            ready = time.process_time()
            sweep = sweeper.sweep(knowledge)
            taken = time.process_time() - ready
        hours = taken / sweep.cases * 100_000 / 2 / 3600
        print(
            f"ages rounded by {step:.0%}: {sweep.cases} cases made ready in {ready - start:.2f} s, gone through in "
            f"{taken:.2f} processor seconds ({sweep.cases / taken:.1f} a second); 100,000 on two cores: {hours:.2f} h"
        )


if __name__ == "__main__":
    main()
