"""The last stretch of learning: where it ends nothing pulls any more, and what a figure's deviation means."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from diag.learning import Learnable, Sweep, Sweeper, Trust, figure_numbers, learnables, with_values
from diag.learning.finishing import Values, _score, deviations_of, finished, precision_of
from diag.learning.updating import _step
from tests.learning.invented import casebook
from tests.learning.test_coverage import drawn_truth, prior_of

ROW = ("severities", "blow_by", "causes", "seal", "blown")
LIFE = ("components", "seal", "life", "fails_as")


def row_of(kind: str, path: tuple[str, ...], chances: Mapping[str, float], strength: float) -> list[Learnable]:
    """Chances of one row."""
    return [Learnable((*path, name), kind, value, strength) for name, value in chances.items()]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("kind", "path", "chances"),
    [
        ("contribution", ROW, {"slight": 0.15, "strong": 0.84}),
        ("contribution", ROW, {"slight": 0.3}),
        ("share", LIFE, {"weeping": 0.6, "blown": 0.4}),
        ("share", LIFE, {"a": 0.5, "b": 0.3, "c": 0.2}),
    ],
)
@pytest.mark.parametrize(("cases", "strength"), [(400, 1e-3), (0, 50.0), (300, 100.0)])
def test_a_chance_of_a_row_deviates_as_a_binomial_one(
    kind: str, path: tuple[str, ...], chances: dict[str, float], cases: int, strength: float
) -> None:
    """Seen n times, all known: the log-odds of one level of a multinomial row have variance 1 / (n p (1 - p)), since
    one level against all others is binomial (Agresti, Categorical Data Analysis, from memory); and a Dirichlet prior
    counts as its strength in cases."""
    prior = row_of(kind, path, chances, strength)
    p = np.array(list(chances.values()))
    sweep = Sweep.empty(len(prior))
    sweep.information = cases * (np.diag(p) - np.outer(p, p))
    values = {each.path: each.value for each in prior}
    found = deviations_of(prior, values, precision_of(prior, values, sweep))
    np.testing.assert_allclose(found, 1.0 / np.sqrt((cases + strength) * p * (1.0 - p)), rtol=1e-6)


def test_the_last_steps_go_most_of_what_is_left() -> None:
    """After few turns the figures that are seen least are still on their way; g' H^-1 g falls to a quarter at most,
    nothing is less likely than before, and shares still come to what they came to."""
    knowledge = prior_of(60.0)
    lessons = casebook(with_values(knowledge, drawn_truth(knowledge, np.random.default_rng(1000))), 500, 50)
    prior = learnables(knowledge)
    index, now = figure_numbers(prior), {each.path: each.value for each in prior}
    with Sweeper(knowledge, lessons, index, Trust(), 1, 0.1) as sweeper:

        def at(there: Values, information: bool = False) -> Sweep:
            return sweeper.sweep(with_values(knowledge, there), information)

        for _ in range(6):
            now = _step(knowledge, prior, now, at(now), index)
        start = at(now, information=True)
        precision = precision_of(prior, now, start)
        there, end = finished(prior, now, start, precision, at)

    def left(where: Values, sweep: Sweep) -> float:
        score = _score(prior, where, sweep)
        return float(score @ np.linalg.solve(precision, score))

    assert left(there, end) < left(now, start) / 4
    assert end.log_likelihood > start.log_likelihood
    shares = [each for each in prior if each.path[:-1] == LIFE]
    assert math.fsum(there[each.path] for each in shares) == pytest.approx(math.fsum(each.value for each in shares))
