"""How often the 90 % intervals hold what is true: truths drawn from the prior that learning starts with.

An interval of a posterior holds the truth as often as it says over truths drawn from its prior (Rubin 1984, Annals of
Statistics 12:1151, from memory), whatever the prior; so the rate is checked against 90 % without any allowance for a
prior that pulls. Truth is known for the opened cylinders alone. May import: `diag` through its doors.
"""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pytest

from diag.knowledge_base import Knowledge
from diag.learning import Learnable, Rules, Trust, learn, learnables, with_values
from tests.learning.invented import casebook, small_knowledge
from tests.support.effort import LONG

SURE = Trust(1 - 1e-9, 1 - 1e-9, 0.8, 1 - 1e-9)
BOOKS, CASES = (40, 2000) if LONG else (2, 300)


def drawn_truth(knowledge: Knowledge, random: np.random.Generator) -> dict[tuple[str, ...], float]:
    """Every figure that is learned, drawn from its prior."""
    rows: dict[tuple[str, ...], list[Learnable]] = defaultdict(list)
    values: dict[tuple[str, ...], float] = {}
    known = {each.path: each for each in learnables(knowledge)}
    for each in known.values():
        if each.kind in ("chance", "share", "finding", "contribution"):
            alone = each.kind == "finding"
            rows[each.path if alone else each.path[:-1]].append(each)
        elif each.kind == "shape":
            values[each.path] = each.value * math.exp(random.standard_normal() * math.sqrt(0.608 / each.strength))
        elif each.kind == "scale":
            far = math.sqrt(1.109 / each.strength) / known[*each.path[:-1], "shape"].value
            values[each.path] = each.value * math.exp(random.standard_normal() * far)
        else:
            values[each.path] = each.value
    for row in rows.values():
        rest = 1.0 - math.fsum(each.value for each in row)
        counts = [each.strength * each.value for each in row] + ([row[0].strength * rest] if rest > 1e-9 else [])
        for each, share in zip(row, random.dirichlet(counts), strict=False):
            values[each.path] = min(max(float(share), 1e-4), 1.0 - 1e-4)
    return values


def prior_of(strength: float) -> Knowledge:
    """The small knowledge with more faults, every figure as if seen in so many cases."""
    small = small_knowledge()

    def stronger(entry):  # type: ignore[no-untyped-def]
        return entry.model_copy(update={"basis": entry.basis.model_copy(update={"strength": strength})})

    known = with_values(
        small,
        {
            ("components", "clamp", "chance", "loose"): 0.06,
            ("components", "air_path", "chance", "leaking"): 0.08,
            ("findings", "tar", "chance", "none"): 0.06,
        },
    )
    return known.model_copy(
        update={
            kind: {name: stronger(entry) for name, entry in getattr(known, kind).items()}
            for kind in ("components", "severities", "findings")
        }
    )


@pytest.fixture(scope="module")
def held() -> dict[str, list[bool]]:
    """For each kind of figure that enough cases bear upon: whether its interval held the truth."""
    prior, found = prior_of(60.0), defaultdict(list)
    for book in range(BOOKS):
        truth = drawn_truth(prior, np.random.default_rng(1000 + book))
        learned = learn(prior, casebook(with_values(prior, truth), CASES, 50 + book), Rules(turns=15, trust=SURE))
        for figure in learned.figures:
            if figure.kind in ("middle", "width") or figure.path not in truth:
                continue
            found[figure.kind].append(figure.low <= truth[figure.path] <= figure.high)
    return found


def test_the_intervals_hold_what_is_true_as_often_as_they_say(held: dict[str, list[bool]]) -> None:
    """Over all figures and books, and for each kind, within three binomial errors. Figures of one book hang together,
    so books are counted as the independent draws: the error is that of as many draws as there are books, and of the
    figures of a kind in one book."""
    everything = [each for some in held.values() for each in some]
    rates = {kind: (float(np.mean(some)), len(some)) for kind, some in held.items()}
    print("coverage of 90 % intervals:", f"{np.mean(everything):.3f} of {len(everything)}", rates)
    assert {"chance", "finding", "contribution", "scale", "shape"} <= set(held)
    assert abs(np.mean(everything) - 0.9) <= 3 * math.sqrt(0.09 / len(everything)) + 0.02
    for kind, (rate, count) in rates.items():
        assert abs(rate - 0.9) <= 3 * math.sqrt(0.09 / count) + 0.04, kind
