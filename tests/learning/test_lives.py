"""Lives learned from the book: every cylinder that was opened says at what age its seal had failed, or still lived."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
import scipy.optimize

from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.learning import Lesson, LifePrior, Rules, Trust, learn, with_values
from diag.store import Fitted, Found, Outcome
from tests.learning.invented import small_knowledge

SURE = Trust(1 - 1e-12, 1 - 1e-12, 0.8, 1 - 1e-12)
SHAPE, SCALE = ("components", "seal", "life", "shape"), ("components", "seal", "life", "scale")


def alone(strength: float, unnoticed: float = 1e9) -> Knowledge:
    """Seals with a life and nothing else: no stress that they share, and judged as if so many lives had been seen."""
    small = small_knowledge()
    seal = small.components["seal"]
    assert seal.life is not None
    life = seal.life.model_copy(update={"scale_under": {}})
    basis = seal.basis.model_copy(update={"strength": strength})
    known = small.model_copy(
        update={"components": {**small.components, "seal": seal.model_copy(update={"life": life, "basis": basis})}}
    )
    return with_values(known, {("components", "seal", "life", "unnoticed"): unnoticed})


def book_of(knowledge: Knowledge, ages: np.ndarray, failed: np.ndarray) -> list[Lesson]:
    """A case for each row `[case, cylinder]` of failures at the age of that case; all cylinders were opened."""
    engine, lessons = knowledge.engines["ostrel_3"], []
    for number, (age, row) in enumerate(zip(ages, failed, strict=True), start=1):
        pairs = list(zip(engine.cylinders, row, strict=True))
        found = tuple(Found("seal", "blown", cylinder, "seen") for cylinder, gone in pairs if gone)
        fitted = tuple(Fitted("reseal", cylinder) for cylinder, _ in pairs)
        case = Case("x", engine, "ostrel_3", float(age), float(age) / 2e4)
        lessons.append(Lesson(number, "", case, Outcome("no", found, fitted), ""))
    return lessons


def drawn(seed: int, cases: int, shape: float, scale: float) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    ages = random.uniform(60e3, 500e3, cases).round()
    return ages, scale * random.weibull(shape, (cases, 3)) <= ages[:, None]


@pytest.mark.parametrize(("seed", "shape", "scale"), [(1, 2.5, 300_000), (2, 1.3, 400_000), (3, 4.0, 250_000)])
def test_lives_agree_with_surpyval_on_the_same_censoring(seed: int, shape: float, scale: float) -> None:
    """What failed is censored from the left at the age of the opening, what lived from the right."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # SurPyval's own, about its dependencies
        import surpyval

        ages, failed = drawn(seed, 150, shape, scale)
        model = surpyval.Weibull.fit(np.repeat(ages, 3), c=np.where(failed.ravel(), -1, 1))
    knowledge = alone(1e-6)
    learned = learn(knowledge, book_of(knowledge, ages, failed), Rules(turns=40, trust=SURE))
    after = {figure.path: figure.after for figure in learned.figures}
    assert (after[SCALE], after[SHAPE]) == pytest.approx(tuple(model.params), rel=1e-3)


def test_a_stretch_in_which_failures_stay_unnoticed_and_a_prior() -> None:
    """Against scipy's maximum of the same function written down: the chance to fail within the last 50,000 km, and the
    normal laws of `LifePrior`."""
    knowledge = alone(12.0, 50_000.0)
    life = knowledge.components["seal"].life
    assert life is not None
    prior = LifePrior(life.shape.value, life.scale.value, 12.0)
    random = np.random.default_rng(4)
    ages = random.uniform(60e3, 400e3, 200).round()
    chance = 1 - np.exp(((ages - 50e3) / 320e3) ** 3 - (ages / 320e3) ** 3)
    failed = random.random((200, 3)) < chance[:, None]

    def lost(logs: np.ndarray) -> float:
        b, c = np.exp(logs)
        hazard = ((ages / c) ** b - ((ages - 50e3) / c) ** b)[:, None]
        told = float(np.where(failed, np.log(-np.expm1(-hazard)), -hazard).sum())
        far = np.log(b / prior.shape) ** 2 / 0.608 + (prior.shape * np.log(c / prior.scale)) ** 2 / 1.109
        return 0.5 * prior.strength * far - told

    best = np.exp(scipy.optimize.minimize(lost, np.log([prior.shape, prior.scale]), tol=1e-12).x)
    learned = learn(knowledge, book_of(knowledge, ages, failed), Rules(turns=40, trust=SURE))
    after = {figure.path: figure for figure in learned.figures}
    assert (after[SHAPE].after, after[SCALE].after) == pytest.approx(tuple(best), rel=1e-3)
    assert after[SHAPE].low < after[SHAPE].after < after[SHAPE].high
    assert after[SCALE].cases == pytest.approx(failed.sum(), rel=0.05)


def test_seals_that_all_live_lengthen_the_life() -> None:
    """Not one failure: what lived on past the scale that was judged speaks for a longer life."""
    knowledge = alone(5.0, 100_000.0)
    life = knowledge.components["seal"].life
    assert life is not None
    ages = np.full(20, 1.2 * life.scale.value)
    learned = learn(
        knowledge, book_of(knowledge, ages, np.zeros((20, 3), bool)), Rules(least=0.0, turns=30, trust=SURE)
    )
    after = {figure.path: figure for figure in learned.figures}
    assert after[SCALE].after > 1.3 * life.scale.value
