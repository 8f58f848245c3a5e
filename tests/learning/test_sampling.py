"""Cases that stand for others: what is rare is taken whole, and sums over the sample come to those over all."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pytest

from diag.learning import Sweeper, Trust, figure_numbers, learnables, sweeping
from tests.learning.invented import casebook, small_knowledge


@dataclass(frozen=True)
class Thing:
    """Something with marks, that counts."""

    marks: tuple[str, ...]
    times: float = 1.0


def drawn(count: int) -> list[list[Thing]]:
    random = np.random.default_rng(2)
    words = np.array(["often", "seldom", "once in a while", "hardly ever"])
    things = [Thing(tuple(words[random.random(4) < (0.9, 0.1, 0.3, 0.002)].tolist()) or ("often",))
              for _ in range(count)]  # fmt: skip
    return [things[:2000], things[2000:]]


def taken(batches: list[list[Thing]], enough: int) -> list[Thing]:
    some = sweeping.sampled(batches, lambda t: t.marks, lambda t: t.times, lambda t, n: replace(t, times=n), enough)
    return [thing for batch in some for thing in batch]


def test_what_is_rare_is_taken_whole_and_what_is_common_is_stood_for() -> None:
    batches = drawn(20_000)
    sample = taken(batches, 300)
    assert len(sample) < 2000
    whole = Counter(mark for batch in batches for thing in batch for mark in thing.marks)
    there = Counter(mark for thing in sample for mark in thing.marks)
    assert there["hardly ever"] == whole["hardly ever"] < 100
    for mark, count in whole.items():
        assert there[mark] >= min(count, 250)
        assert sum(thing.times for thing in sample if mark in thing.marks) == pytest.approx(count, rel=0.1)


def test_the_information_of_the_sample_is_that_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Figures that hundreds of cases bear upon, within what so many drawn cases leave open (some 1 / sqrt(150))."""
    knowledge = small_knowledge()
    lessons, index = casebook(knowledge, 700, 3), figure_numbers(learnables(knowledge))

    def found() -> sweeping.Sweep:
        with Sweeper(knowledge, lessons, index, Trust(), 1, 0.1) as sweeper:
            return sweeper.sweep(knowledge, information=True)

    whole = found()
    monkeypatch.setattr(sweeping, "LARGE", 100)
    monkeypatch.setattr(sweeping, "ENOUGH", 100)
    some = found()
    for sums in ("true", "used", "true_before", "used_before", "log_likelihood", "cases"):
        np.testing.assert_allclose(getattr(some, sums), getattr(whole, sums), rtol=1e-9, atol=1e-9)
    assert some.weights == pytest.approx(whole.weights) and some.failures == pytest.approx(whole.failures)
    full, part = np.diag(whole.information), np.diag(some.information)
    told = full > 20
    assert told.sum() >= 5
    np.testing.assert_allclose(part[told], full[told], rtol=0.35)
    assert np.mean(part[told] / full[told]) == pytest.approx(1.0, abs=0.15)
