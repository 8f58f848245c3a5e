"""A reading's own error, and what it was read at: return flow at another rail pressure."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from diag.basics import CaseError
from diag.casebook import Measured, dump_case, read_case
from diag.evidence import reading_likelihood, taken
from diag.knowledge_base import load_knowledge

KNOWLEDGE = load_knowledge()
ENGINE = KNOWLEDGE.engines["ostrel_4"]
LEVELS = tuple(KNOWLEDGE.readings["compression_pressure"].spread)


def logs(item: str, *measured: Measured) -> np.ndarray:
    reading = KNOWLEDGE.readings[item]
    return reading_likelihood(reading, ENGINE, measured, list(reading.spread)).log_likelihood


def test_the_error_told_takes_the_place_of_the_instruments() -> None:
    """Against scipy.stats: a true value normal between engines, read with the error told (by numerical integration)."""
    reading, limit = KNOWLEDGE.readings["compression_pressure"], 20.0
    found = logs("compression_pressure", Measured("compression_pressure", 1, 24.3, "bar", error=1.4))
    for level, log in zip(LEVELS, found, strict=True):
        law = reading.spread[level]
        truth = stats.norm(law.middle.value * limit, law.width.value * limit)
        middle, width = truth.mean(), truth.std()
        by_hand, _ = integrate.quad(
            lambda x, truth=truth: truth.pdf(x) * stats.norm(x, 1.4).pdf(24.3), middle - 12 * width, middle + 12 * width
        )
        assert log == pytest.approx(np.log(by_hand), abs=1e-8)


def test_a_finer_reading_says_more_but_never_more_than_the_truth() -> None:
    """The spread between engines stays: an error of next to nothing is no better than the law of true values."""

    def tells(error: float | None) -> float:
        found = logs("compression_pressure", Measured("compression_pressure", 1, 17.0, "bar", error=error))
        return float(np.ptp(found))

    assert tells(6.0) < tells(3.0) < tells(1.0)
    reading = KNOWLEDGE.readings["compression_pressure"]
    laws = [
        stats.norm(20 * reading.spread[each].middle.value, 20 * reading.spread[each].width.value) for each in LEVELS
    ]
    assert tells(1e-6) == pytest.approx(float(np.ptp([law.logpdf(17.0) for law in laws])), rel=1e-3)


def test_cold_readings_with_errors_of_their_own_are_weighted_by_them() -> None:
    """Mean of 18 (error 1) and 21 (error 2), weights 1 and 1/4: 18.6, error sqrt(0.8) (textbook: inverse variances)."""
    reading = KNOWLEDGE.readings["compression_pressure"]
    told = [Measured("compression_pressure", 1, v, "bar", "", "cold", e) for v, e in ((18.0, 1.0), (21.0, 2.0))]
    (one,) = taken(reading, ENGINE, told)
    cold = next(each for each in reading.adjust if each.under == "cold")
    assert one.value == pytest.approx(18.6 / cold.factor.value)
    widened = 20 * cold.widens.value
    assert one.error == pytest.approx(np.hypot(np.sqrt(0.8) / cold.factor.value, widened))


def test_return_flow_is_held_against_what_is_usual_at_its_pressure() -> None:
    """Twice the usual 270 bar lets flow back 2 to the power told: the same flow then says what less said before."""
    power = KNOWLEDGE.readings["return_flow"].scaled
    assert power is not None
    grows = 2.0**power.power.value
    at_twice = Measured("return_flow", 2, 60.0, "mL/min", at=540.0, at_unit="bar", error=3.0)
    as_usual = Measured("return_flow", 2, 60.0 / grows, "mL/min", error=3.0 / grows)
    np.testing.assert_allclose(logs("return_flow", at_twice), logs("return_flow", as_usual), atol=1e-9)
    bad = list(KNOWLEDGE.readings["return_flow"].spread).index("excess_return")
    plain = logs("return_flow", Measured("return_flow", 2, 60.0, "mL/min"))
    scaled = logs("return_flow", at_twice)
    assert scaled[bad] - scaled[0] < plain[bad] - plain[0]


TEXTS = {
    "3.12 +/- 0.05 mg/stroke": (3.12, 0.05),
    "3.12 +- 0.05 mg/stroke": (3.12, 0.05),
    "3.12 ± 0.05 mg/stroke": (3.12, 0.05),
    "-3.12±5e-2mg/stroke": (-3.12, 0.05),
    "4 +/- 1 mm3/stroke": (4 * 0.8325, 0.8325),
}


@pytest.mark.parametrize("text", TEXTS)
def test_an_error_is_read_converted_and_written_back(text: str) -> None:
    case = read_case("case.yaml", KNOWLEDGE, f"engine: ostrel_4\nreadings: {{correction: {{2: {text}}}}}\n")
    (measured,) = case.epochs[0].measured
    assert (measured.value, measured.error) == (pytest.approx(TEXTS[text][0]), pytest.approx(TEXTS[text][1]))
    assert read_case("again.yaml", KNOWLEDGE, dump_case(case)) == case


def test_what_it_was_read_at_is_read_converted_and_written_back() -> None:
    text = "engine: ostrel_4\nreadings: {return_flow: {2: [above 60 mL/min at 40 MPa, 55 +/- 2 mL/min at 300 bar]}}\n"
    case = read_case("case.yaml", KNOWLEDGE, text)
    first, second = case.epochs[0].measured
    assert (first.at, first.at_unit, first.censored) == (pytest.approx(400.0), "bar", "above")
    assert (second.at, second.error) == (300.0, 2.0)
    assert read_case("again.yaml", KNOWLEDGE, dump_case(case)) == case


BAD = {
    "correction: {2: 3.1 +/- 0 mg/stroke}": "is no standard deviation; it is a number above 0",
    "correction: {2: 3.1 +/- mg/stroke}": r"unknown unit '\+/- mg/stroke'",
    "correction: {2: 3.1 mg/stroke at 400 bar}": "makes no difference here; leave out 'at 400 bar'",
    "return_flow: {2: 60 mL/min at 400}": "has no unit; write for example 'at 400 bar'",
    "return_flow: {2: 60 mL/min at 0 bar}": "is not above 0",
    "return_flow: {2: 60 mL/min at 400 rpm}": "cannot be turned into 'bar'",
}


@pytest.mark.parametrize("text", BAD)
def test_what_makes_no_sense_is_told_with_its_place(text: str) -> None:
    with pytest.raises(CaseError, match=r"case\.yaml:2:\d+: .*" + BAD[text]):
        read_case("case.yaml", KNOWLEDGE, f"engine: ostrel_4\nreadings: {{{text}}}\n")
