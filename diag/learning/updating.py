"""Learning: expected counts of all closed cases and a new best value of each figure, by turns; then the intervals.

Each turn is an expectation-maximisation step (Dempster, Laird & Rubin 1977) towards the most probable values under the
prior (a figure's strength in cases), of the likelihood conditional on the complaint. For a chance p with d expected
true and n expected uses, given all (e) and given the complaint (c), the step is

    p <- (d_e + a p0) / (d_c / p + n_e - n_c + a)

which leaves p where the score d_e - d_c - p (n_e - n_c) + a (p0 - p) is zero, and is the ordinary step where nothing
was told at first. A life's shape and scale move together by Newton steps. Intervals come from the empirical information
(Louis 1982): the sum over cases of products of their scores, with the prior's; it also leads the last steps (see
`finishing`). May import: `diag.basics`,
`diag.knowledge_base`, `diag.network`, numpy.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diag.knowledge_base import Knowledge, Mixture
from diag.learning.counting import Seen
from diag.learning.figures import CHANCES, Learnable, LearnedFigure, figure_numbers, learnables, with_values
from diag.learning.finishing import Values, deviations_of, finished, precision_of, tight
from diag.learning.lessons import Lesson, Trust, again_of, alike_of, one_sided, other_currency
from diag.learning.practice import repair_minutes, repair_success, slips_of_time
from diag.learning.prices import looks_taxed, part_prices
from diag.learning.scores import beta_interval
from diag.learning.shared_shifts import own_width, width_of
from diag.learning.spreads import Taken, next_spread
from diag.learning.sweeping import Sweep, Sweeper
from diag.learning.weibull import SCALE_VARIANCE, SHAPE_VARIANCE
from diag.network import FigurePath

__all__ = ["Learned", "Rules", "learn"]

NORMAL_90 = 1.6448536269514722
EDGE = 1e-6  # no chance comes nearer to 0 or 1


@dataclass(frozen=True)
class Rules:
    """How it is learned. `least`: figures that fewer expected cases bear upon stay as they are. `turns`: how often the
    cases are gone through. `processes`: how many share the work, or all of the Dask `cluster`
    at an address. `age_step`: ages are rounded to this share of
    themselves, so that cases can be done together; 0 rounds nothing."""

    least: float = 5.0
    turns: int = 12
    processes: int = 1
    age_step: float = 0.0
    trust: Trust = field(default_factory=Trust)
    cluster: str = ""


@dataclass(frozen=True)
class Learned:
    """What came of it: the figures that enough cases bear upon, how many stayed, the knowledge with the new values,
    the cases learned from, those left out (their numbers), the gain in the logarithm of the likelihood, and components
    that were told of only where they were at fault; whether what was spent looks as if told with tax; the numbers of
    each case that was kept `again` and counts once, those told `alike` that count each, and those of which the money
    was told in an `other_currency` and teaches no price, or the time is one of the `slips` and teaches no minutes."""

    figures: tuple[LearnedFigure, ...]
    stayed: int
    knowledge: Knowledge
    cases: int
    left_out: tuple[int, ...]
    log_likelihood_before: float
    log_likelihood_after: float
    readings_left_out: int
    one_sided: tuple[str, ...] = ()
    taxed: bool = False
    again: tuple[tuple[int, ...], ...] = ()
    alike: tuple[tuple[int, ...], ...] = ()
    other_currency: tuple[int, ...] = ()
    slips: tuple[int, ...] = ()


def learn(knowledge: Knowledge, lessons: Sequence[Lesson], rules: Rules = Rules()) -> Learned:
    """Learn from closed cases. Cases that the knowledge calls impossible are left out and named."""
    prior = learnables(knowledge)
    values: Values = {each.path: each.value for each in prior}
    index = figure_numbers(prior)
    first: Sweep | None = None
    with Sweeper(knowledge, lessons, index, rules.trust, rules.processes, rules.age_step, rules.cluster) as sweeper:
        for _ in range(rules.turns):
            sweep = sweeper.sweep(with_values(knowledge, values))
            first = first or sweep
            values = _step(knowledge, prior, values, sweep, index)
        last = sweeper.sweep(with_values(knowledge, values), information=True)
        precision = precision_of(prior, values, last)
        values, end = finished(
            prior, values, last, precision, lambda there: sweeper.sweep(with_values(knowledge, there))
        )
    assert first is not None
    deviations = deviations_of(prior, values, precision)
    made = [
        _figure(knowledge, each, values, last, deviations[number], index)
        for number, each in enumerate(prior)
        if _table_weight(prior, each, last, number) >= rules.least
    ]
    stayed = len(prior) - len(made)
    made += repair_success(knowledge, lessons, rules.trust, rules.least)
    made += repair_minutes(knowledge, lessons, rules.least)
    made += part_prices(knowledge, lessons, rules.least)
    kept = {each.path: each.after for each in made}
    return Learned(
        tuple(made),
        stayed,
        with_values(knowledge, kept),
        last.cases,
        last.left_out,
        first.log_likelihood,
        end.log_likelihood,
        last.readings_left_out,
        one_sided(knowledge, lessons),
        looks_taxed(knowledge, lessons),
        again_of(lessons),
        alike_of(lessons),
        other_currency(knowledge, lessons),
        slips_of_time(knowledge, lessons),
    )


def _step(
    knowledge: Knowledge,
    prior: Sequence[Learnable],
    values: Mapping[FigurePath, float],
    sweep: Sweep,
    index: Mapping[FigurePath, int],
) -> dict[FigurePath, float]:
    new: dict[FigurePath, float] = {}
    strengths = {each.path: each for each in prior}
    for number, each in enumerate(prior):
        value = values[each.path]
        if each.kind in CHANCES:
            up, strength = sweep.true[number] + each.strength * each.value, each.strength
            down = sweep.true_before[number] / value + sweep.used[number] - sweep.used_before[number] + strength
            slower = max(
                0.0, 0.5 * (sweep.used[number] + strength) - down
            )  # adding it to both sides moves no fixed point
            new[each.path] = min(max((up + slower * value) / (down + slower), EDGE), 1.0 - EDGE)
        elif each.kind == "scale":
            new |= _life_step(each, strengths[*each.path[:-1], "shape"], values, sweep, index)
    _normalise(prior, new)
    return {**values, **new, **_spreads(knowledge, prior, values, sweep.seen)}


def _life_step(
    scale: Learnable,
    shape: Learnable,
    values: Mapping[FigurePath, float],
    sweep: Sweep,
    index: Mapping[FigurePath, int],
) -> dict[FigurePath, float]:
    """Logarithms of scale and shape: score over what the failures that the complaint makes one expect tell of both."""
    one, two = index[scale.path], index[shape.path]
    both = index[*scale.path[:-1], "both"]
    held = np.array([tight(scale.strength, shape.value), shape.strength / SHAPE_VARIANCE])
    moved = np.array([math.log(values[each.path] / each.value) for each in (scale, shape)])
    score = (sweep.true - sweep.true_before)[[one, two]] - held * moved
    cross = max(sweep.true_before[both], sweep.true[both], key=abs)
    told = np.maximum(sweep.used_before, sweep.used)
    matrix = np.array([[told[one], cross], [cross, told[two]]])
    if matrix[0, 0] * matrix[1, 1] <= cross**2:
        matrix[0, 1] = matrix[1, 0] = 0.0
    step = np.clip(np.linalg.solve(matrix + np.diag(held), score), -0.3, 0.3)
    return {each.path: values[each.path] * math.exp(move) for each, move in zip((scale, shape), step, strict=True)}


def _normalise(prior: Sequence[Learnable], new: dict[FigurePath, float]) -> None:
    """Shares come to what they came to before; the chances of a table stay below 1 together."""
    tables: dict[FigurePath, list[Learnable]] = {}
    for each in prior:
        if each.kind in ("share", "chance", "contribution"):
            tables.setdefault(each.path[:-1], []).append(each)
    for members in tables.values():
        total = math.fsum(new[each.path] for each in members)
        most = math.fsum(each.value for each in members) if members[0].kind == "share" else 1.0 - EDGE
        if members[0].kind == "share" or total > most:
            for each in members:
                new[each.path] *= most / total


def _spreads(
    knowledge: Knowledge, prior: Sequence[Learnable], values: Mapping[FigurePath, float], seen: Sequence[Seen]
) -> dict[FigurePath, float]:
    """A step for the middles and widths of readings: the hidden true value is expected too (a normal law about the
    middle and the instrument's about the value; a Student t weighs values as in Lange, Little & Taylor 1989)."""
    strength = {each.path: each for each in prior}
    found: dict[FigurePath, float] = {}
    for item in dict.fromkeys(each.item for each in seen):
        reading = knowledge.readings[item]
        some = [each for each in seen if each.item == item]
        value = np.array([each.value for each in some])
        error = np.array([each.error for each in some])
        weights = np.stack([each.weights for each in some])
        for level, name in enumerate(reading.spread):
            path: FigurePath = ("readings", item, "spread", name)
            if (*path, "width") not in strength or (*path, "middle") not in strength:
                continue
            law = reading.spread[name]
            if isinstance(law, Mixture):
                continue
            old = (values[*path, "middle"], own_width(reading, values[*path, "width"]))
            start = (
                strength[*path, "middle"].value,
                own_width(reading, strength[*path, "width"].value),
                strength[*path, "middle"].strength,
            )
            middle, width = next_spread(law, old, start, Taken(value, error, weights[:, level]))
            found[*path, "middle"], found[*path, "width"] = middle, width_of(reading, width)
    return found


def _weight(each: Learnable, sweep: Sweep, number: int) -> float:
    """Cases that bear upon a figure: uses of a finding's chance, readings of a level; of a fault, and of what comes
    about without a cause, the larger of how many there were and how many the complaints would make one expect."""
    if each.kind in ("finding", "contribution") and each.path[2] != "background":
        return float(sweep.used[number])
    if each.kind in ("scale", "shape"):
        return sweep.failures.get(each.path[:-1], 0.0)
    if each.kind in ("middle", "width"):
        return sweep.reading_weight(each.path)
    return float(max(sweep.true[number], sweep.true_before[number]))


def _table_weight(prior: Sequence[Learnable], each: Learnable, sweep: Sweep, number: int) -> float:
    """The same; the shares of a life are learned together or not at all, since they come to one."""
    if each.kind != "share":
        return _weight(each, sweep, number)
    same = (at for at, other in enumerate(prior) if other.path[:-1] == each.path[:-1])
    return math.fsum(_weight(prior[at], sweep, at) for at in same)


def _is_log(knowledge: Knowledge, path: FigurePath) -> bool:
    return all(law.shape == "log-normal" for law in knowledge.readings[path[1]].spread[path[3]].laws)


def _figure(
    knowledge: Knowledge,
    each: Learnable,
    values: Mapping[FigurePath, float],
    sweep: Sweep,
    deviation: float,
    index: Mapping[FigurePath, int],
) -> LearnedFigure:
    after, cases, far = values[each.path], _weight(each, sweep, index[each.path]), NORMAL_90 * deviation
    if each.kind in CHANCES:
        strength = 1.0 / (deviation**2 * after * (1.0 - after))
        low, high = beta_interval(strength * after, strength * (1.0 - after))  # this law's logit deviates as much
        low, high = min(low, after), max(high, after)
    elif each.kind == "scale":
        low, high = after * math.exp(-far), after * math.exp(far)
        strength = SCALE_VARIANCE / (deviation * values[*each.path[:-1], "shape"]) ** 2
    elif each.kind == "shape":
        low, high = after * math.exp(-far), after * math.exp(far)
        strength = SHAPE_VARIANCE / deviation**2
    else:
        strength = (0.5 if each.kind == "width" else 1.0) / deviation**2
        width = values[*each.path[:-1], "width"]
        if each.kind == "width" or _is_log(knowledge, each.path):
            half = far if each.kind == "width" else far * width
            low, high = after * math.exp(-half), after * math.exp(half)
        else:
            low, high = after - far * width, after + far * width
    return LearnedFigure(each.path, each.kind, each.value, after, low, high, cases, max(strength, each.strength))
