"""Joint answers of a check about several things: the likeliest taken, some of the rest drawn, right on average."""

from __future__ import annotations

import numpy as np
import pytest

from diag.casebook import Answer, Case, Epoch, with_answer
from diag.decision import Tariff
from diag.decision.answers import Heard, Hidden, prospects_of
from diag.decision.ground import Cells
from diag.decision.sampled import Drawn, Hearing, answers_of
from diag.inference import Array
from diag.knowledge_base import load_knowledge
from diag.network import build, foreseen, weigh

THINGS, ANSWERS = 4, 5


def hearings_of(random: np.random.Generator) -> list[Hearing]:
    """Things of three states, each heard by an answer that depends on its state, one answer being usual."""
    found = []
    for thing in range(THINGS):
        table = random.dirichlet([4.0, *[0.3] * (ANSWERS - 1)], size=3).T
        heard = Heard(Hidden("axes", thing, (0,), (), (3,)), table, ())
        cells = Cells(heard.hidden, None, thing, np.zeros(0))  # type: ignore[arg-type]  answers need no ground
        found.append(Hearing(heard, cells, random.dirichlet([5.0, 1.0, 0.5])))
    return found


def likelihoods(hearings: list[Hearing], taken: Drawn) -> list[Array]:
    """Of each hearing `[joint answer, state]`: the chance of what is answered there."""
    return [hearing.heard.table[mine] for hearing, mine in zip(hearings, taken.answers.T, strict=True)]


def gain_and_chance(hearings: list[Hearing], taken: Drawn) -> tuple[Array, Array]:
    """A gain that rare answers bring most of, jointly with each answer; the things are not independent."""
    likelihood = likelihoods(hearings, taken)
    either = 0.0
    for worse in (0.6, 1.4):  # two kinds of engine, equally likely, that shift the chances of all things alike
        chance = 0.5
        for hearing, mine in zip(hearings, likelihood, strict=True):
            tilted = hearing.chance * np.array([1.0, worse, worse**2])
            chance = chance * (mine @ (tilted / tilted.sum()))
        either = either + chance
    odd = sum(mine[:, 2] / mine.max(axis=1) for mine in likelihood)
    return np.asarray(either * np.maximum(odd - 1.0, 0.0)), np.asarray(either)


@pytest.mark.parametrize("told", [(), (Answer("chuff", 2, "present", "idle"), Answer("chuff", 3, "absent"))])
def test_answers_under_several_conditions_are_as_likely_as_one_told_after_the_other(told: tuple[Answer, ...]) -> None:
    """A check that listens cold and under load: one luck may be behind both, so its answers are not independent."""
    known = load_knowledge()
    epoch = Epoch((), (Answer("fumes", None, "present"), *told))
    case = Case("luck", known.engines["ostrel_4"], "ostrel_4", 187_000.0, 11.0, (), (epoch,))
    weighed = weigh(known, case)
    (prospect,) = prospects_of(Tariff(known, case.engine), weighed.network, "listen_cold_and_loaded", (None,), {})
    for cylinder in (2, 3, 4):
        plate, axis = weighed.network.severity_at("blow_by", cylinder)
        (heard,) = (each for each in prospect.heard if each.hidden.plate == plate and each.hidden.local == (axis,))
        chances = dict(zip(heard.names, heard.table @ weighed.posterior.axes[plate][axis][0], strict=True))
        assert sum(chances.values()) == pytest.approx(1.0)
        for first in ("present", "absent"):
            once = {each.outcome: each.chance for each in foreseen(weighed.network, "chuff", cylinder, "cold")}[first]
            after = build(known, with_answer(case, known, "chuff", cylinder, first, "cold"))
            for then in foreseen(after, "chuff", cylinder, "load"):
                assert chances[f"{first}; {then.outcome}"] == pytest.approx(once * then.chance, abs=1e-9)


def test_all_answers_are_taken_where_they_are_few() -> None:
    hearings = hearings_of(np.random.default_rng(1))
    taken = answers_of(hearings, ANSWERS**THINGS, seed=1)
    gain, chance = gain_and_chance(hearings, taken)
    assert (taken.certain, taken.draws, len(gain)) == (ANSWERS**THINGS, 0, ANSWERS**THINGS)
    assert chance.sum() == pytest.approx(1.0, abs=1e-12)
    assert taken.mean(gain, chance) == (pytest.approx(gain.sum()), 0.0)


def test_the_likeliest_are_taken_and_none_twice() -> None:
    hearings = hearings_of(np.random.default_rng(2))
    every = answers_of(hearings, ANSWERS**THINGS, seed=1)
    some = answers_of(hearings, 80, seed=1)
    alone = [
        np.prod([hearing.chance @ row for hearing, row in zip(hearings, rows, strict=True)])
        for rows in zip(*likelihoods(hearings, every), strict=True)
    ]
    mine = [
        np.prod([hearing.chance @ row for hearing, row in zip(hearings, rows, strict=True)])
        for rows in zip(*likelihoods(hearings, some), strict=True)
    ]
    assert mine[: some.certain] == pytest.approx(sorted(alone, reverse=True)[: some.certain])
    answers = {tuple(np.concatenate(rows)) for rows in zip(*likelihoods(hearings, some), strict=True)}
    assert len(answers) >= some.certain
    assert max(mine[some.certain :]) <= mine[some.certain - 1] * (1 + 1e-12)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_the_sum_is_right_on_average_and_the_stated_error_is_its_own(seed: int) -> None:
    """Over 400 seeds of drawing: no bias beyond four standard errors, and the spread is what is stated (a half to
    double: each statement rests on 20 draws)."""
    hearings = hearings_of(np.random.default_rng(seed))
    every = answers_of(hearings, ANSWERS**THINGS, seed=1)
    wanted = gain_and_chance(hearings, every)[0].sum()
    estimates, errors = [], []
    for drawing in range(400):
        taken = answers_of(hearings, 80, seed=drawing)
        estimate, error = taken.mean(*gain_and_chance(hearings, taken))
        estimates.append(estimate)
        errors.append(error)
    spread = np.std(estimates)
    assert spread > 0.0
    assert (
        abs(np.mean(estimates) - wanted) < 4 * spread / np.sqrt(400) + 0.02 * spread
    )  # a ratio is off by order 1/draws
    assert 0.5 < np.mean(errors) / spread < 2.0
