"""Corrections in rpm or per cent, turned by the limits of the engine, since no constant of nature ties them."""

from __future__ import annotations

import pytest

from diag.basics import CaseError
from diag.casebook import read_case
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
