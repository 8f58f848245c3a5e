"""A mixture is a law of the true value: two batches of a part, or a thin share that lies elsewhere for a known reason.

The references are scipy's laws, weighted and summed here, and its adaptive quadrature over the hidden true value.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from diag.evidence import (
    Frame,
    Share,
    Spread,
    Taken,
    beyond,
    cumulative,
    density,
    draw_together,
    log_density,
    mixed,
    quantile,
    reading_likelihood,
    reading_outcomes,
    unshifted_spreads,
)
from diag.knowledge_base import Mixture, Reading, Shift
from tests.evidence.examples import engine, read, reading
from tests.evidence.test_shifts import ERROR, FINE, levels_by_grid, told
from tests.evidence.test_shifts import engine as engine_of

BATCHES = (Share(0.7, Spread("normal", 20.0, 2.0)), Share(0.3, Spread("normal", 35.0, 3.0)))
OUTLIERS = (Share(0.95, Spread("log-normal", 20.0, 0.3)), Share(0.05, Spread("student t", 60.0, 9.0, 3.0)))
THREE = (*(Share(0.8 * each.weight, each.law) for each in BATCHES), Share(0.2, Spread("student t", 27.0, 1.0, 5.0)))
MIXTURES = {"two batches": BATCHES, "a thin share of outliers": OUTLIERS, "three": THREE}
JUDGED = {"source": "elicited"}


def reference(law: Spread) -> stats.distributions.rv_frozen:
    """scipy's law."""
    if law.shape == "log-normal":
        return stats.lognorm(law.width, scale=law.middle)
    return stats.norm(law.middle, law.width) if law.shape == "normal" else stats.t(law.freedom, law.middle, law.width)


def as_knowledge(shares: tuple[Share, ...]) -> dict[str, object]:
    """The same in the words of the knowledge."""
    return {
        "parts": [
            {"weight": w, "shape": law.shape, "middle": law.middle, "width": law.width, "freedom": law.freedom}
            for w, law in shares
        ]
    }


def reading_of(error: float, **by_level: tuple[Share, ...]) -> Reading:
    """A reading with a mixture for each level."""
    plain = reading({"level": ("normal", 0.0, 1.0, 4.0)}, error, decimals=12)
    raw = plain.model_dump(exclude_unset=True) | {"spread": {k: as_knowledge(v) for k, v in by_level.items()}}
    made = Reading.model_validate(raw)
    assert all(isinstance(each, Mixture) for each in made.spread.values())
    return made


@pytest.mark.parametrize("shares", MIXTURES.values(), ids=MIXTURES)
def test_a_mixture_has_the_laws_of_scipy_weighted(shares: tuple[Share, ...]) -> None:
    """Density, both tails and quantiles, 1e-11 relative or better, also where only the far law reaches."""
    law = mixed(shares)
    x = np.concatenate([np.linspace(-40, 150, 300), [-400.0, 0.0, 1e-3, 1e3]])
    pdf, cdf, sf = (
        np.sum([w * getattr(reference(each), name)(x) for w, each in shares], axis=0) for name in ("pdf", "cdf", "sf")
    )
    np.testing.assert_allclose(density(law, x), pdf, rtol=1e-10)
    np.testing.assert_allclose(np.exp(log_density(law, x[pdf > 0])), pdf[pdf > 0], rtol=1e-10)
    np.testing.assert_allclose(cumulative(law, x), cdf, rtol=2e-11, atol=1e-300)
    np.testing.assert_allclose(beyond(law, x), sf, rtol=2e-11, atol=1e-300)
    p = np.array([1e-12, 1e-6, 0.01, 0.3, 0.5, 0.6999, 0.7, 0.7001, 0.94, 0.95, 0.99, 1 - 1e-9])
    reached = np.sum([w * reference(each).cdf(quantile(law, p)) for w, each in shares], axis=0)
    np.testing.assert_allclose(reached, p, rtol=1e-10)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.01, 0.99), st.floats(0.05, 8), st.lists(st.floats(5, 50), min_size=1, max_size=5))
def test_all_readings_of_one_thing_belong_to_one_part(weight: float, error: float, values: list[float]) -> None:
    """Normal parts have a closed form: a mixture of joint normals (scipy's), not a product of mixtures."""
    shares = (Share(weight, BATCHES[0].law), Share(1 - weight, BATCHES[1].law))
    found = reading_likelihood(reading_of(error, one=shares), engine(), [read(v) for v in values], ["one"])
    logs = [
        math.log(w)
        + stats.multivariate_normal.logpdf(
            values, np.full(len(values), law.middle), error**2 * np.eye(len(values)) + law.width**2
        )
        for w, law in shares
    ]
    assert found.log_likelihood[0] == pytest.approx(np.logaddexp(*logs), rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("kinds", list(itertools.product(["", "above", "below"], repeat=2)), ids="-".join)
@pytest.mark.parametrize("shares", MIXTURES.values(), ids=MIXTURES)
def test_the_hidden_true_value_is_integrated_out(shares: tuple[Share, ...], kinds: tuple[str, str]) -> None:
    """Against scipy's quadrature of (weighted pdf) x (what the instrument shows), plain readings and bounds."""
    error, marks = 1.5, (24.0, 33.0)
    measured = [read(mark, kind) for mark, kind in zip(marks, kinds, strict=True)]
    found = reading_likelihood(reading_of(error, one=shares), engine(), measured, ["one"]).log_likelihood[0]
    shows = {"": stats.norm.pdf, "above": stats.norm.sf, "below": stats.norm.cdf}

    def integrand(x: float) -> float:
        seen = [shows[kind](mark, x, error) for mark, kind in zip(marks, kinds, strict=True)]
        return float(sum(w * reference(law).pdf(x) for w, law in shares) * math.prod(seen))

    ends = (-2000.0, -50.0, 0.0, 12.0, 20.0, 27.0, 35.0, 50.0, 90.0, 2000.0)
    expected = math.fsum(
        integrate.quad(integrand, a, b, epsabs=1e-14, epsrel=1e-10, limit=200)[0] for a, b in itertools.pairwise(ends)
    )
    assert found == pytest.approx(math.log(expected), abs=1e-7)


def test_two_readings_that_fit_two_batches_fit_one_engine_badly() -> None:
    """20 and 35 of one injector are no reading of each batch: a fine instrument makes that next to impossible."""
    item = reading_of(0.5, mixed=BATCHES, wide=(Share(0.5, Spread("normal", 27.0, 9.0)), Share(0.5, BATCHES[1].law)))
    apart = reading_likelihood(item, engine(), [read(20.0), read(35.0)], ["mixed"]).log_likelihood[0]
    alone = [reading_likelihood(item, engine(), [read(v)], ["mixed"]).log_likelihood[0] for v in (20.0, 35.0)]
    assert apart < sum(alone) - 100


def test_a_common_scale_turns_every_part() -> None:
    """In multiples of a limit of 20 MPa, 200 bar: as if written in bar; a log-normal part keeps its width."""
    relative = reading_of(6.0, one=(Share(0.6, Spread("normal", 1.4, 0.2)), Share(0.4, Spread("log-normal", 0.7, 0.3))))
    relative = relative.model_copy(update={"relative_to": "start"})
    plain = reading_of(
        6.0, one=(Share(0.6, Spread("normal", 280.0, 40.0)), Share(0.4, Spread("log-normal", 140.0, 0.3)))
    )
    readings = [read(250.0), read(230.0)]
    found = reading_likelihood(relative, engine(start=(20.0, "MPa")), readings, ["one"])
    np.testing.assert_allclose(
        found.log_likelihood, reading_likelihood(plain, engine(), readings, ["one"]).log_likelihood, rtol=1e-12
    )


def test_what_a_check_may_still_show_sums_to_one_and_is_the_mixture() -> None:
    """The chance of each outcome is that of scipy's laws with the instrument's error; given a reading of one batch the
    next is of that batch."""
    item = reading_of(1.0, one=BATCHES)
    found = reading_outcomes(item, engine(), ["one"])
    below = np.cumsum(found.likelihood[:-1, 0])
    expected = sum(w * stats.norm.cdf(found.edges, law.middle, math.hypot(law.width, 1.0)) for w, law in BATCHES)
    np.testing.assert_allclose(below, expected, rtol=1e-10)
    assert found.likelihood.sum() == pytest.approx(1.0, abs=1e-12)
    again = reading_outcomes(item, engine(), ["one"], earlier=[read(36.0)])
    assert again.likelihood[again.values > 28, 0].sum() > 0.999


# ---- readings that share a shift -----------------------------------------------------------------------------------


def _shifting(spread: dict[str, tuple[Share, ...]], kind: str, width: float = 0.0) -> Reading:
    item = reading_of(ERROR, **spread)
    shift = {"kind": kind, "width": width, "basis": JUDGED}
    return item.model_copy(update={"shift": Shift.model_validate(shift), "unit": "mg/stroke"})


@pytest.mark.parametrize("values", [(3.4, -1.0, -2.4), (0.2, -0.3, 0.1)])
def test_corrections_of_a_mixture_are_normal_given_their_sum_and_parts(values: tuple[float, ...]) -> None:
    """The closed form of `test_shifts`, summed over the part that each cylinder belongs to (2 x 2 x 2 of each joint
    level): contrasts against the last cylinder are free of the shift, and jointly normal."""
    even = (Share(0.85, Spread("normal", 0.0, 0.5)), Share(0.15, Spread("normal", 1.2, 0.6)))
    under = (Share(0.6, Spread("normal", 3.5, 0.8)), Share(0.4, Spread("normal", 6.0, 1.2)))
    spread, prior = {"even": even, "under": under}, np.array([0.9, 0.1])
    item, of = _shifting(spread, "sum zero"), engine_of(3)
    found = levels_by_grid(item, of, told(dict(enumerate(values, start=1))), prior, FINE)
    contrasts = np.array(values[:-1]) - values[-1]
    expected = np.zeros((2,) * 3)
    for levels in itertools.product(range(2), repeat=3):
        for parts in itertools.product(*(list(spread.values())[level] for level in levels)):
            means = np.array([part.law.middle for part in parts])
            variances = np.array([part.law.width**2 + ERROR**2 for part in parts])
            law = stats.multivariate_normal(means[:-1] - means[-1], np.diag(variances[:-1]) + variances[-1])
            expected[levels] += law.pdf(contrasts) * math.prod(part.weight for part in parts)
        expected[levels] *= np.prod(prior[list(levels)])
    np.testing.assert_allclose(found, expected / expected.sum(), atol=1e-7)


def test_a_common_factor_is_part_of_every_part() -> None:
    """What is left of each width when the factor is taken out, and the same weights."""
    shares = (Share(0.8, Spread("log-normal", 10.0, 0.5)), Share(0.2, Spread("log-normal", 20.0, 0.4)))
    item = _shifting({"sound": shares}, "common factor", 0.3)
    (law,) = unshifted_spreads(item, engine_of(3), ["sound"])
    assert [each.width for each in law.laws] == pytest.approx([0.4, math.sqrt(0.07)])
    assert [share.weight for share in law.shares] == [0.8, 0.2]


def test_drawn_readings_are_of_the_mixture() -> None:
    """Returns drawn of a sound engine follow scipy's mixture, the factor's width counted in (Kolmogorov-Smirnov)."""
    shares = (Share(0.8, Spread("log-normal", 100.0, 0.3)), Share(0.2, Spread("log-normal", 400.0, 0.25)))
    item = _shifting({"sound": shares}, "common factor", 0.1)
    of = engine_of(4)
    drawn = draw_together(item, of, ["sound"], np.zeros((1500, 4), dtype=int), np.random.default_rng(5))[:, 0]
    law = stats.kstest(drawn, lambda x: sum(w * reference(each).cdf(x) for w, each in shares))
    assert law.pvalue > 0.01


def test_levels_come_back_from_readings_drawn_of_them() -> None:
    """Of 1,000 readings drawn by scipy's laws the belief is right as often as it says (Brier score, 3 sigma)."""
    other = (Share(0.5, Spread("normal", 27.0, 3.0)), Share(0.5, Spread("normal", 50.0, 4.0)))
    item, random = reading_of(1.0, one=BATCHES, other=other), np.random.default_rng(11)
    right, said = [], []
    for _ in range(1000):
        level = int(random.random() < 0.5)
        shares = (BATCHES, other)[level]
        law = shares[int(random.random() >= shares[0].weight)].law
        value = float(law.middle + law.width * random.standard_normal() + random.standard_normal())
        chance = reading_likelihood(item, engine(), [read(value)], ["one", "other"]).scaled
        said.append(chance[1] / chance.sum())
        right.append(level)
    off = np.array(right) - np.array(said)
    expected = np.array(said) * (1 - np.array(said))
    assert np.mean(off**2) == pytest.approx(np.mean(expected), abs=3 * np.std(off**2) / math.sqrt(len(off)))
    assert abs(off.sum()) < 3 * math.sqrt(expected.sum())
    assert np.mean((np.array(said) > 0.5) == np.array(right)) > 0.85


def test_a_frame_turns_what_is_shown_into_what_the_parts_speak_of() -> None:
    """A scale of 2 halves the density per unit shown, for a mixture as for one law."""
    from diag.evidence import shifted_likelihood

    one = Taken(10.0, "", 0.5)
    scaled = shifted_likelihood([mixed(BATCHES)], [[(one, Frame(2.0, 0.0))]])[0, 0]
    plain = shifted_likelihood([mixed(BATCHES)], [[(Taken(20.0, "", 1.0), Frame())]])[0, 0]
    assert scaled == pytest.approx(plain + math.log(2.0), abs=1e-10)
