"""The last stretch: expectation-maximisation creeps where little is seen, so the end is reached by scoring.

With the products of the cases' scores as information H (Berndt, Hall, Hall & Hausman 1974) and g the score of the most
probable values under the prior, a step is H^-1 g, in log-odds of chances (against what is left of their row) and in
logarithms of lives. g' H^-1 g, about the sum of squared standard deviations that are still to go, must fall with each
step, else the step is taken back. Middles and widths of readings, which are seen, are left where they are. May import:
`diag.network`, `diag.inference` for its arrays, numpy, and figures, sweeping, weibull.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from diag.inference import Array
from diag.learning.figures import CHANCES, Learnable
from diag.learning.sweeping import Sweep
from diag.learning.weibull import SCALE_VARIANCE, SHAPE_VARIANCE
from diag.network import FigurePath

__all__ = ["Values", "deviations_of", "finished", "precision_of", "tight"]

Values = Mapping[FigurePath, float]
STEPS = 4
NEAR = 5e-3  # of g' H^-1 g: no figure is then further than some 7 % of its standard deviation away
ROOM = 1e-4
FARTHEST = 0.7  # in one step, of log-odds and logarithms


def precision_of(prior: Sequence[Learnable], values: Values, sweep: Sweep) -> Array:
    """`[figure, figure]`: the empirical information (Louis 1982) with that of the prior. A chance stands for the
    logarithm of its ratio to what is left of its row; shares, of which nothing is left, are held by one more term,
    which no ratio of shares feels."""
    information = sweep.information[: len(prior), : len(prior)].copy()
    shapes = {each.path[:-1]: each.value for each in prior if each.kind == "shape"}
    for number, each in enumerate(prior):
        held = {
            "scale": tight(each.strength, shapes.get(each.path[:-1], 1.0)),
            "shape": each.strength / SHAPE_VARIANCE,
            "middle": each.strength,
            "width": 2.0 * each.strength,
        }
        information[number, number] += held.get(each.kind, 0.0)
    for row in _rows(prior):
        strength, chances = prior[row[0]].strength, np.array([values[prior[number].path] for number in row])
        together = np.outer(chances, chances)
        whole = max(strength, 1.0) if prior[row[0]].kind == "share" else 0.0
        information[np.ix_(row, row)] += strength * (np.diag(chances) - together) + whole * together
    return information


def deviations_of(prior: Sequence[Learnable], values: Values, precision: Array) -> Array:
    """Standard deviations of log-odds of chances and of logarithms: a chance's log-odds, against all else, fall with
    the others of its row."""
    slope = np.eye(len(prior))
    for row in _rows(prior):
        chances = np.array([values[prior[number].path] for number in row])
        for place, number in enumerate(row):
            slope[number, row] = -chances / (1.0 - chances[place])
            slope[number, number] = 1.0
    return np.asarray(np.sqrt(np.einsum("ij,ji->i", slope, np.linalg.solve(precision, slope.T))))


def _rows(prior: Sequence[Learnable]) -> list[list[int]]:
    """The places of chances that stand in one row of a table."""
    rows: dict[FigurePath, list[int]] = {}
    for number, each in enumerate(prior):
        if each.kind in CHANCES:
            rows.setdefault(each.path if each.kind == "finding" else each.path[:-1], []).append(number)
    return list(rows.values())


def tight(strength: float, shape: float) -> float:
    """How tightly complete lives, `strength` of them, hold the logarithm of a scale (see `weibull.LifePrior`)."""
    return shape**2 * strength / SCALE_VARIANCE


def finished(
    prior: Sequence[Learnable], values: Values, sweep: Sweep, precision: Array, sweep_at: Callable[[Values], Sweep]
) -> tuple[Values, Sweep]:
    """The values at the end and the sweep there, from those that `sweep` is of."""
    moving = np.array([each.kind not in ("middle", "width") for each in prior])
    for row in _rows(prior):  # a row of which a chance is all but 0 or 1 has no way to go in log-odds
        moving[row] = all(ROOM < values[prior[number].path] < 1.0 - ROOM for number in row)
    matrix = precision[np.ix_(moving, moving)]
    step, left = _step(prior, values, sweep, matrix, moving)
    for _ in range(STEPS):
        if left < NEAR:
            break
        trial = _moved(prior, values, step)
        there = sweep_at(trial)
        next_step, still = _step(prior, trial, there, matrix, moving)
        if not still < left or there.cases < sweep.cases:
            break
        values, sweep, step, left = trial, there, next_step, still
    return values, sweep


def _step(
    prior: Sequence[Learnable], values: Values, sweep: Sweep, matrix: Array, moving: NDArray[np.bool_]
) -> tuple[Array, float]:
    score = _score(prior, values, sweep)[moving]
    found = np.linalg.solve(matrix, score)
    step = np.zeros(len(prior))
    step[moving] = np.clip(found, -FARTHEST, FARTHEST)
    return step, float(score @ found)


def _score(prior: Sequence[Learnable], values: Values, sweep: Sweep) -> Array:
    """`[figure]`: of the most probable values; 0 for middles and widths."""
    score = np.zeros(len(prior))
    shapes = {each.path[:-1]: each.value for each in prior if each.kind == "shape"}
    for number, each in enumerate(prior):
        value = values[each.path]
        true = sweep.true[number] - sweep.true_before[number]
        if each.kind in CHANCES:
            used = sweep.used[number] - sweep.used_before[number]
            score[number] = true - value * used + each.strength * (each.value - value)
        elif each.kind in ("scale", "shape"):
            known = each.strength / SHAPE_VARIANCE
            held = known if each.kind == "shape" else tight(each.strength, shapes[each.path[:-1]])
            score[number] = true - held * math.log(value / each.value)
    return score


def _moved(prior: Sequence[Learnable], values: Values, step: Array) -> Values:
    """Each row of chances moves in log-odds against what is left of it, or against the whole where nothing is."""
    new = dict(values)
    for each, move in zip(prior, step.tolist(), strict=True):
        if each.kind in ("scale", "shape"):
            new[each.path] = values[each.path] * math.exp(move)
    for row in _rows(prior):
        paths = [prior[number].path for number in row]
        whole = math.fsum(values[path] for path in paths)
        rest = 0.0 if prior[row[0]].kind == "share" else max(1.0 - whole, 0.0)
        raised = [values[path] * math.exp(step[number]) for path, number in zip(paths, row, strict=True)]
        scale = (whole + rest) / (rest + math.fsum(raised))
        for path, value in zip(paths, raised, strict=True):
            new[path] = float(value * scale)
    return new
