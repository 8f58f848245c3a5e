"""Units turn into one another as published, and refuse what makes no sense."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.basics import UsageError
from diag.casebook import Quantity, read_quantity
from diag.knowledge_base import Knowledge, convert, known_units, same_unit, units_like

PUBLISHED = [
    # value, unit, to, result, relative tolerance; NIST SP 811 (2008) unless marked
    (1, "bar", "psi", 14.504, 2e-5),
    (1, "N·m", "lbf·ft", 0.73756, 1e-5),
    (1, "mile", "km", 1.609344, 1e-12),
    (212, "°F", "°C", 100, 1e-12),
    (-40, "°C", "°F", -40, 1e-12),
    (0, "°C", "K", 273.15, 1e-12),
    (160_000, "kPa", "bar", 1600, 1e-12),  # SAE J1979, PID 23 hex: 0x3E80
    (20, "MPa", "bar", 200, 1e-12),
    (1, "kohm", "ohm", 1000, 1e-12),
    (0.2, "Mohm", "kΩ", 200, 1e-12),
    (3900, "nF", "µF", 3.9, 1e-12),
    (3, "L/h", "mL/min", 50, 1e-12),
    (1, "mL/s", "mL/min", 60, 1e-12),
    (0.4, "per cent", "ppm", 4000, 1e-12),
    (2, "minutes", "seconds", 120, 1e-12),
    (187, "thousand km", "km", 187_000, 1e-12),
    (2, "years", "months", 24, 1e-12),
    # from here on (but for fuel per stroke) NIST SP 811 (2008), written from memory
    (1, "kg/cm2", "bar", 0.980665, 1e-12),
    (28, "kgf/cm²", "MPa", 2.745862, 1e-9),
    (1, "atm", "kPa", 101.325, 1e-12),
    (1, "inHg", "Pa", 3386.389, 1e-12),
    (6, '"Hg', "mbar", 203.18334, 1e-9),
    (1, "mmHg", "Pa", 133.3224, 1e-12),
    (1, "inH2O", "Pa", 249.0889, 1e-12),
    (1, "mmH2O", "Pa", 9.80665, 1e-12),
    (1, "US gal/h", "L/h", 3.785412, 1e-9),
    (1, "imp gal/h", "L/h", 4.54609, 1e-9),
    (1, "mm3/stroke", "mg/stroke", 0.8325, 1e-12),  # EN 590: 820 to 845 kg/m3, the middle
    (15, "mm³/stroke", "mg/stroke", 12.4875, 1e-12),
]


@pytest.mark.parametrize(("value", "unit", "to_unit", "result", "tolerance"), PUBLISHED)
def test_published_values(value: float, unit: str, to_unit: str, result: float, tolerance: float) -> None:
    """Check 22 and its neighbours."""
    assert convert(value, unit, to_unit) == pytest.approx(result, rel=tolerance)


@pytest.mark.parametrize(("density", "milligrams"), [(820.0, 0.82), (845.0, 0.845)])
def test_fuel_is_as_dense_as_en_590_allows(density: float, milligrams: float) -> None:
    """One cubic millimetre of diesel is 0.820 to 0.845 mg at 15 °C (EN 590)."""
    assert convert(1, "mm3/stroke", "mg/stroke", density) == pytest.approx(milligrams)
    assert convert(milligrams, "mg/stroke", "mm3/stroke", density) == pytest.approx(1)


@given(st.sampled_from(known_units()), st.floats(-1e6, 1e6), st.data())
def test_there_and_back_is_the_same(unit: str, value: float, data: st.DataObject) -> None:
    """Any unit into any other of its kind and back; into itself not one digit changes."""
    other = data.draw(st.sampled_from(units_like(unit)))
    assert convert(convert(value, unit, other), other, unit) == pytest.approx(value, rel=1e-9, abs=1e-6)
    assert convert(value, unit, unit) == value


@pytest.mark.parametrize(
    ("unit", "to_unit", "message"),
    [
        ("barr", "bar", "unknown unit 'barr'; did you mean 'bar'?"),
        ("V", "kV/s", "'V' cannot be turned into 'kV/s'; it can be kV/s"),
        ("A", "V", "'A' cannot be turned into 'V'; it can be V, mV or kV"),
        ("psi", "mg/stroke", "'psi' cannot be turned into 'mg/stroke'; it can be mg/stroke or mm3/stroke"),
        ("furlong", "uF", "unknown unit 'furlong'; it can be µF or nF"),
    ],
)
def test_wrong_units_are_told_what_would_do(unit: str, to_unit: str, message: str) -> None:
    """The message names the units that are known for this."""
    with pytest.raises(UsageError) as error:
        convert(1, unit, to_unit)
    assert str(error.value) == message


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [("BAR", "bar", True), ("mohm", "Mohm", False), ("uF", "μF", True), ("Ω", "\u2126", True), ("odd", "odd", True)],
)
def test_spellings(first: str, second: str, same: bool) -> None:
    """Capitals count only where they tell two units apart: milliohm and megohm."""
    assert same_unit(first, second) is same


def test_every_reading_of_the_knowledge_has_a_known_unit(knowledge: Knowledge) -> None:
    """So that whoever has another instrument can write its unit; limits of engines likewise fit their readings."""
    for name, reading in knowledge.readings.items():
        assert len(units_like(reading.unit)) > 1 or reading.unit in known_units(), name
        for engine in knowledge.engines.values():
            limit = engine.limits.get(reading.relative_to or "")
            if limit is not None and limit.value is not None:
                assert convert(limit.value, limit.unit, reading.unit) > 0, name


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("180 bar", Quantity(180, "bar")),
        ("-0.4 mg/stroke", Quantity(-0.4, "mg/stroke")),
        ("−0.4 mg/stroke", Quantity(-0.4, "mg/stroke")),
        ("+2.9mg/stroke", Quantity(2.9, "mg/stroke")),
        ("above 60 mL/min", Quantity(60, "mL/min", "above")),
        ("> 60 mL/min", Quantity(60, "mL/min", "above")),
        ("At least 60 mL/min", Quantity(60, "mL/min", "above")),
        ("≥60 mL/min", Quantity(60, "mL/min", "above")),
        ("less than 5 bar", Quantity(5, "bar", "below")),
        ("<= 5 bar", Quantity(5, "bar", "below")),
        ("under .5 per cent", Quantity(0.5, "per cent", "below")),
        ("187 thousand km", Quantity(187, "thousand km")),
        ("12", Quantity(12, "")),
        ("1e3 bar", Quantity(1000, "bar")),
    ],
)
def test_numbers_as_people_write_them(text: str, quantity: Quantity) -> None:
    """A side, a sign, a number, a unit."""
    assert read_quantity(text) == quantity


@pytest.mark.parametrize(
    "text", ["", "bar", "many bar", "2,9 mg/stroke", "187 000 km", "187,000 km", "1e999 bar", "nan V"]
)
def test_what_is_no_number(text: str) -> None:
    """Commas and gaps are refused rather than guessed at."""
    with pytest.raises(UsageError, match=r"is not a|is too large"):
        read_quantity(text)


@pytest.mark.parametrize(
    "written", ["230 rpm", "230 1/min", "230 U/min", "230 min-1", "230/min", "230 tr/min", "230 min⁻¹", "230 r.p.m."]
)
def test_every_spelling_of_a_speed_can_be_written(written: str) -> None:
    """Also the one that begins with a figure: it is no thousands."""
    quantity = read_quantity(written)
    assert convert(quantity.value, quantity.unit, "rpm") == 230


@pytest.mark.parametrize("written", ["232 000 km", "232,000 km", "232'000 km", "12 5 bar"])
def test_spaces_commas_and_ticks_within_a_number_are_refused(written: str) -> None:
    with pytest.raises(UsageError, match="nothing between thousands"):
        read_quantity(written)


@pytest.mark.parametrize("written", ["180 +/- 5 bar", "180 bar ± 5 bar", "180 bar +/- 5", "180 ±5 bar"])
def test_the_error_stands_before_the_unit_or_behind_it(written: str) -> None:
    assert read_quantity(written, may_err=True) == Quantity(180, "bar", "", 5)


@pytest.mark.parametrize("written", ["180-200 bar", "180 – 200 bar", "180 to 200 bar", "180 bar - 200 bar"])
def test_a_range_is_refused_for_what_it_is(written: str) -> None:
    """It had been called an unknown unit, '-200 bar'."""
    with pytest.raises(UsageError, match="holds two numbers"):
        read_quantity(written, may_err=True)


@pytest.mark.parametrize("written", ["OL", "open", "∞"])
def test_what_a_meter_shows_beyond_its_range_is_told_as_a_bound(written: str) -> None:
    with pytest.raises(UsageError, match="beyond what the meter reads; write that as a bound"):
        read_quantity(written)
