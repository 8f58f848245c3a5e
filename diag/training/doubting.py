"""Whether a choice was as good as the best within the model's own doubt.

Every number behind a case was judged or counted by somebody, with a strength (as if seen in so many cases). A handful
of times all of them are drawn again by their strengths (`diag.doubt`), and both choices are appraised under the same
draw, one check ahead. Where the choice that was made is at least as good in a share `EVEN` of the draws, nobody who
believes this model can call it a mistake, and it counts as equally good. So does a difference that is smaller than the
error of the worths themselves, or than `PETTY` of the money at stake. A check that tells nothing, with the best one
after it, is dearer by its own cost whatever the best one is worth: of it the error is not taken.
May import: decision, doubt, basics, and `bench`, `judging`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from diag.basics import DiagError
from diag.decision import Reckoning, decide_repair, price, rank_checks
from diag.doubt import draw, drawn_numbers, ground_of
from diag.training.bench import Bench, case_key
from diag.training.judging import Choice, Moment, regret_of

__all__ = ["DRAWS", "EVEN", "PETTY", "as_good", "share_as_good"]

DRAWS, SEED = 8, 29
EVEN = 0.25  # share of the draws in which the choice must be at least as good
PETTY = 0.002  # share of the least expected total below which a difference is none
TWICE = 2.0  # standard errors of the worths


def as_good(bench: Bench, moment: Moment, choice: Choice, draws: int = DRAWS) -> bool:
    """Whether a choice counts as good as the best. `draws` 0: by the errors of the worths alone, which is quick."""
    regret = regret_of(moment, choice)
    if choice.unsafe:
        return False
    if regret <= PETTY * abs(moment.value):
        return True
    if choice.unpostponed - moment.value <= TWICE * float(np.hypot(choice.error, moment.first.error)):
        return True
    return draws > 0 and choice.kind != "trial" and share_as_good(bench, moment, choice, draws) >= EVEN


def share_as_good(bench: Bench, moment: Moment, choice: Choice, draws: int = DRAWS) -> float:
    """In what share of the draws the choice is at least as good as what was best."""
    best = next(each for each in moment.choices if not each.unsafe)
    key = ("doubt", case_key(moment.case), choice.kind, choice.check, choice.place, choice.jobs, draws)
    known = bench.known.get(key)
    if not isinstance(known, float):
        known = _share(bench, moment, choice, best, draws)
        bench.known[key] = known
    return known


def _share(bench: Bench, moment: Moment, choice: Choice, best: Choice, draws: int) -> float:
    ground = ground_of(bench.knowledge, moment.case)
    numbers = drawn_numbers(ground.network)
    also = [each.jobs for each in (choice, best) if each.jobs]
    good = done = 0
    for number in range(draws):
        random = np.random.default_rng([SEED, number])
        try:
            ready = ground.under(draw(numbers, random), also, roughly=True)
            mine, theirs = _values(ready, (choice, best))
        except DiagError:  # numbers that contradict each other, or what was told
            continue
        done += 1
        good += mine <= theirs
    return good / done if done else 0.0


def _values(ready: Reckoning, choices: tuple[Choice, Choice]) -> tuple[float, float]:
    """Both choices under one draw; only the checks that they name are ranked. What another check than the best is held
    against is no worse than to repair at once: where the best is worth nothing under a draw, a cheaper one that tells
    nothing is not as good for that."""
    decision = decide_repair(ready)
    now = decision.best.total.amount
    wanted = {each.check for each in choices if each.check}
    gains: dict[tuple[str, object], tuple[float, float]] = {}
    if wanted:
        others = tuple(name for name in ready.knowledge.checks if name not in wanted)
        ranking = rank_checks(replace(ready, case=replace(ready.case, cannot=others)), decision, ahead=False)
        gains = {(each.check, each.place): (each.net.amount, each.cost.amount) for each in ranking.checks}
    least = min([now, *(now - net for net, _ in gains.values())])
    found = []
    for each in choices:
        if each.kind == "check":
            net, cost = gains.get((each.check, each.place), (-each.cost, each.cost))
            found.append(min(now - net, least + max(cost, 0.0)))
        else:
            same = next((o for o in decision.options if frozenset(o.jobs) == frozenset(each.jobs)), None)
            priced = price(ready, each.jobs) if same is None else None
            total = same.total if same is not None else priced.breakdown.total if priced is not None else None
            found.append(total.amount if total is not None else each.value)
    mine, theirs = found
    return mine, min(theirs, now) if choices[0].kind == "check" and choices[0] != choices[1] else theirs
