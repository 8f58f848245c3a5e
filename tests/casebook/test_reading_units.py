"""Corrections in rpm or per cent, turned by the limits of the engine, since no constant of nature ties them."""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import dump_case, read_case
from diag.knowledge_base import load_knowledge

KNOWLEDGE = load_knowledge()


def correction(engine: str, text: str) -> float:
    """The one correction of a case, in mg/stroke."""
    whole = f"title: a test\nengine: {engine}\nreadings: {{correction: {{2: {text}}}}}\n"
    (measured,) = read_case("case.yaml", KNOWLEDGE, whole).epochs[0].measured
    assert measured.unit == "mg/stroke"
    return measured.value


def test_a_limit_in_another_unit_is_worth_the_limit() -> None:
    """Velm 5: 24 rpm, 30 per cent and the limit in mg/stroke are the same; half of one is half of the other."""
    limit = KNOWLEDGE.engines["velm_5"].limits["correction"].value
    assert limit is not None
    assert correction("velm_5", "24 rpm") == pytest.approx(limit)
    assert correction("velm_5", "-12 rpm") == pytest.approx(-limit / 2)
    assert correction("velm_5", "15 %") == pytest.approx(limit / 2)
    assert correction("velm_5", "2 mm3/stroke") == pytest.approx(2 * 0.8325)  # EN 590: 820 to 845 kg/m3, the middle


def test_without_that_limit_it_is_refused_with_what_would_be_right() -> None:
    """The sentence names the limit and the unit that always does."""
    with pytest.raises(CaseError, match="cannot be turned into mg/stroke on this engine"):
        correction("ostrel_4", "20 rpm")


def reading(item: str, text: str) -> float:
    """The one reading of a case, in its own unit."""
    whole = f"title: a test\nengine: ostrel_4\nreadings: {{{item}: {text}}}\n"
    (measured,) = read_case("case.yaml", KNOWLEDGE, whole).epochs[0].measured
    return measured.value


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("1:35", 95), ("0:13", 13), ("1:35 min", 95), ("0:01:35", 95), ("1 min 35 s", 95), ("1m35s", 95), ("95 s", 95)],
)
def test_a_time_is_read_as_a_stop_watch_shows_it(text: str, seconds: float) -> None:
    assert reading("rail_decay", f"'{text}'") == seconds


def test_a_flow_is_read_as_it_was_caught() -> None:
    """30 mL in half a minute are 60 mL/min, whatever the glass and the watch are marked in."""
    for text in ("30 mL in 30 s", "60 ccm in 1 min", "0.12 L in 2 min", "30 ml in 30 s at 400 bar"):
        assert reading("return_flow", f"{{2: {text}}}") == pytest.approx(60)
    with pytest.raises(CaseError, match="caught in no time"):
        reading("return_flow", "{2: 30 mL in 0 s}")


def test_a_point_that_may_stand_for_thousands_is_refused() -> None:
    """In much of the world 1.800 bar are eighteen hundred: it had been taken for 1.8 bar. Where only one of the two can
    have been read there is nothing to ask."""
    with pytest.raises(CaseError, match=r"may stand for thousands; write '1800 bar' or '1\.8000 bar'"):
        reading("rail_pressure_cranking", "1.800 bar")
    assert reading("rail_pressure_cranking", "1.8000 bar") == 1.8
    assert reading("injector_resistance", "{2: 0.450 ohm}") == 0.45
    assert reading("battery_voltage_cranking", "10.385 V") == 10.385
    whole = "title: a test\nengine: ostrel_4\nreadings: {rail_pressure_cranking: 1.2340 bar}\n"
    case = read_case("case.yaml", KNOWLEDGE, whole)
    assert read_case("again.yaml", KNOWLEDGE, dump_case(case)).epochs[0].measured == case.epochs[0].measured
