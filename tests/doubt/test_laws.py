"""How numbers are drawn: means and spreads of the laws, and their limits."""

from __future__ import annotations

import numpy as np
import pytest

from diag.doubt import Number, draw, draw_row, spread_of
from diag.doubt.laws import law_of
from diag.knowledge_base import load_knowledge, walk_figures, with_values

MANY = 20_000


def test_a_row_that_was_seen_is_drawn_from_the_dirichlet_law() -> None:
    """Variance of a Dirichlet share: p (1 - p) / (n + 1) (Johnson & Kotz 1972)."""
    random, chances = np.random.default_rng(1), [0.5, 0.3, 0.2]
    drawn = np.array([draw_row(chances, 10.0, random) for _ in range(MANY)])
    assert drawn.sum(axis=1) == pytest.approx(np.ones(MANY))
    assert drawn.mean(axis=0) == pytest.approx(chances, abs=0.004)
    assert drawn.var(axis=0) == pytest.approx([p * (1.0 - p) / 11.0 for p in chances], rel=0.05)


def test_a_rare_chance_is_as_if_seen_once_and_keeps_its_mean() -> None:
    random = np.random.default_rng(2)
    drawn = np.array([draw_row([0.999, 0.001], 10.0, random)[1] for _ in range(MANY)])
    assert drawn.mean() == pytest.approx(0.001, rel=0.2)
    assert np.median(drawn) == pytest.approx(0.001 * np.log(2.0), rel=0.1)


def test_what_cannot_be_stays_impossible() -> None:
    assert draw_row([0.7, 0.0, 0.3], 5.0, np.random.default_rng(3))[1] == 0.0


@pytest.mark.parametrize("kind", ["chance", "shape", "scale", "stretch", "money", "time", "middle", "width", "amount"])
def test_infinite_strength_changes_nothing(kind: str) -> None:
    number = Number(("findings", "x", kind), 0.4, kind, 1e14, True)  # type: ignore[arg-type]
    assert draw([number], np.random.default_rng(4))[number.path] == pytest.approx(0.4, rel=1e-5)
    assert spread_of(number) < 1e-6


def test_a_life_is_drawn_as_widely_as_so_many_failures_leave_it() -> None:
    """ln scale: sqrt(1.109 / n) / shape; ln shape: sqrt(0.608 / n): standard errors of the estimates of a Weibull life
    (from the inverse of Fisher's information; from memory of Meeker & Escobar 1998)."""
    path = ("components", "x", "life")
    numbers = [Number((*path, "shape"), 2.0, "shape", 10.0, True), Number((*path, "scale"), 5e5, "scale", 10.0, True)]
    random = np.random.default_rng(5)
    drawn = [draw(numbers, random) for _ in range(4000)]
    assert np.std(np.log([each[*path, "shape"] for each in drawn])) == pytest.approx(0.2466, rel=0.05)
    assert np.std(np.log([each[*path, "scale"] for each in drawn])) == pytest.approx(0.1665, rel=0.05)


def test_numbers_drawn_together_are_those_drawn_one_after_the_other() -> None:
    """The same stream of a generator: first what stands alone in its order, then row after row; and many generators at
    once as each by itself."""
    row = ("severities", "s", "causes", "c", "bad")
    numbers = [
        Number(("prices", "a"), 50.0, "money", 8.0, True),
        Number(("findings", "x", "chance", "some"), 0.2, "chance", 12.0, True),
        Number((*row, "slight"), 0.3, "chance", 20.0, True),
        Number(("prices", "b"), 4.0, "time", 8.0, True),
        Number(("readings", "r", "middle"), 3.0, "middle", 5.0, True),
        Number((*row, "strong"), 0.6, "chance", 20.0, True),
        Number(("findings", "x", "chance", "none"), 0.0, "chance", 12.0, True),
    ]
    random = np.random.default_rng(7)
    money = 50.0 * np.exp((step := spread_of(numbers[0]) / 50.0) * random.standard_normal() - step**2 / 2)
    chance = draw_row([0.8, 0.2], 12.0, random)[1]
    time = 4.0 * np.exp((step := spread_of(numbers[3]) / 4.0) * random.standard_normal() - step**2 / 2)
    middle = 3.0 + random.standard_normal() * spread_of(numbers[4], 0.0)
    none = draw_row([1.0, 0.0], 12.0, random)[1]
    slight, strong = draw_row([0.1, 0.3, 0.6], 20.0, random)[1:]
    wanted = [money, chance, slight, time, middle, strong, none]
    found = draw(numbers, np.random.default_rng(7))
    assert [found[number.path] for number in numbers] == pytest.approx(wanted, rel=1e-12)
    many = law_of(tuple(numbers)).draws([np.random.default_rng(seed) for seed in (6, 7, 8)])
    assert many[1] == found
    assert many[0] != found


def test_a_number_of_the_knowledge_can_be_put_in_the_place_of_another() -> None:
    known = load_knowledge()
    path = ("repairs", "reseal", "risks", 0, "chance", "none")
    changed = with_values(known, {path: 0.25, ("prices", "labour_per_hour"): 150.0})
    values = {each.path: each.figure.value for each in walk_figures(changed)}
    before = {each.path: each.figure.value for each in walk_figures(known)}
    differing = {at for at in before if before[at] != values[at]}
    assert differing == {path, ("prices", "labour_per_hour")}
    assert values[path] == 0.25


def test_a_path_that_leads_nowhere_is_an_error() -> None:
    with pytest.raises(KeyError, match="labor_per_hour"):
        with_values(load_knowledge(), {("prices", "labor_per_hour"): 1.0})
