"""Units of the workshop, and turning one into another. May import: `diag.basics`.

Factors are those of NIST SP 811 (2008): 1 psi = 6.894757 kPa, 1 kgf/cm2 = 98.0665 kPa, 1 atm = 101.325 kPa,
1 inHg = 3.386389 kPa, 1 mmHg = 133.3224 Pa, 1 inH2O = 249.0889 Pa, 1 mmH2O = 9.80665 Pa, 1 lbf·ft = 1.355818 N·m,
1 mile = 1.609344 km, 1 gallon = 3.785412 L in the United States and 4.54609 L in Britain; those of columns,
atmospheres, kgf and gallons were written from memory. Pressures are above that of the air wherever the workshop
measures them, so 'barg' is bar. A month is a twelfth of a year of 365.25 days. Milligrams and cubic
millimetres of fuel are tied by the density of diesel, 820 to 845 kg/m3 at 15 degrees Celsius (EN 590); the middle is
taken unless one is given.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import UsageError, did_you_mean

__all__ = ["DIESEL_DENSITY", "convert", "known_units", "same_unit", "units_like"]

DIESEL_DENSITY = 832.5  # kg/m3, middle of what EN 590 allows at 15 degrees Celsius


@dataclass(frozen=True)
class _Unit:
    """A unit: `value * factor + offset` is the amount in the base of its quantity."""

    name: str
    quantity: str
    factor: float
    offset: float = 0.0
    by_density: bool = False  # factor is per kg/m3 of fuel density


_DAY = 86400.0
_YEAR = 365.25 * _DAY
_KELVIN = 273.15
_MILE = 1.609344
# the words for a stroke, and for turns, in the languages that workshops are spoken to in
_STROKES = ("str", "st", "stk", "strk", "cycle", "inj", "injection", "hub", "coup", "cp", "carrera", "corsa", "zdvih")
_TURNS = ("U/min", "tr/min", "giri/min", "ot/min")

# quantity -> unit -> (factor, other spellings)
_TABLE: dict[str, dict[str, tuple[float, tuple[str, ...]]]] = {
    "pressure": {
        "bar": (1.0, ("bars", "barg", "bar g")),
        "Pa": (1e-5, ()),
        "mbar": (1e-3, ("hPa",)),
        "kPa": (1e-2, ()),
        "MPa": (10.0, ()),
        "psi": (0.06894757, ("psig", "lbf/in2", "lb/in2")),
        "kg/cm2": (0.980665, ("kgf/cm2", "kp/cm2")),
        "atm": (1.01325, ()),
        "inHg": (0.03386389, ("in Hg", '"Hg', "inches Hg")),
        "mmHg": (1.333224e-3, ("mm Hg", "Torr")),
        "inH2O": (2.490889e-3, ("in H2O", "inWC")),
        "mmH2O": (9.80665e-5, ("mm H2O", "mmWC")),
    },
    "pressure rate": {"bar/s": (1.0, ()), "bar/min": (1 / 60, ()), "MPa/s": (10.0, ()), "kPa/s": (1e-2, ())},
    "flow": {
        "mL/min": (1.0, ("cc/min", "cm3/min", "ccm/min")),
        "mL/s": (60.0, ("cc/s", "cm3/s")),
        "L/min": (1000.0, ()),
        "L/h": (1000 / 60, ()),
        "US gal/h": (3785.412 / 60, ("gal/h", "gph", "US gph")),
        "imp gal/h": (4546.09 / 60, ("UK gal/h", "imp gph")),
    },
    "volume": {"mL": (1.0, ("cm3", "cc", "ccm")), "L": (1000.0, ("litre", "litres")), "mm3": (1e-3, ())},
    "fuel per stroke": {"mg/stroke": (1.0, tuple(f"mg/{stroke}" for stroke in _STROKES))},
    "resistance": {
        "ohm": (1.0, ("Ω", "ohms")),
        "milliohm": (1e-3, ("mΩ", "mohm")),
        "kohm": (1e3, ("kΩ", "kiloohm", "kilohm")),
        "Mohm": (1e6, ("MΩ", "megohm", "megaohm")),
        "Gohm": (1e9, ("GΩ", "gigaohm")),
    },
    "capacitance": {"µF": (1.0, ("uF",)), "nF": (1e-3, ())},
    "speed": {"rpm": (1.0, ("r.p.m.", "1/min", "/min", "min-1", "r/min", "rev/min", *_TURNS))},
    "voltage": {"V": (1.0, ("volt", "volts", "VDC", "V DC")), "mV": (1e-3, ()), "kV": (1e3, ())},
    "current": {"A": (1.0, ("amp", "amps")), "mA": (1e-3, ())},
    "share": {"%": (1.0, ("per cent", "percent", "pct")), "ppm": (1e-4, ())},
    "torque": {"N·m": (1.0, ("Nm", "N m", "N.m")), "lbf·ft": (1.355818, ("lbf ft", "lbf.ft", "lb ft", "ft lb"))},
    "time": {
        "s": (1.0, ("second", "seconds", "sec", "secs")),
        "ms": (1e-3, ("milliseconds",)),
        "µs": (1e-6, ("us", "microseconds")),
        "min": (60.0, ("minute", "minutes", "mins")),
        "h": (3600.0, ("hour", "hours", "hr", "hrs")),
        "days": (_DAY, ("day",)),
        "weeks": (7 * _DAY, ("week",)),
        "months": (_YEAR / 12, ("month",)),
        "years": (_YEAR, ("year",)),
    },
    "length": {
        "km": (1.0, ("kilometres", "kilometers")),
        "m": (1e-3, ("metres",)),
        "mm": (1e-6, ()),
        "miles": (_MILE, ("mile", "mi")),
        "thousand km": (1e3, ("tkm",)),
        "thousand miles": (1e3 * _MILE, ()),
    },
    "density": {"kg/m3": (1.0, ("g/L",)), "g/mL": (1e3, ("g/cm3", "kg/L"))},
    "angle": {"degrees": (1.0, ("degree", "deg"))},
}


_ALIKE = str.maketrans("\u2126μ¹²³⁻\u2212⋅\u2033", 'Ωµ123--·"')


def _plain(unit: str) -> str:
    """One spelling of look-alike characters and of spaces."""
    text = " ".join(unit.split()).translate(_ALIKE).replace(" / ", "/").replace(" per ", "/")
    return text.replace("\u00b0", "°").replace("degC", "°C").replace("degF", "°F")


def _all_units() -> dict[str, _Unit]:
    found: dict[str, _Unit] = {}
    for quantity, units in _TABLE.items():
        for name, (factor, others) in units.items():
            for spelling in (name, *others):
                found[_plain(spelling)] = _Unit(name, quantity, factor)
    for spelling in ("stroke", *_STROKES):
        found[f"mm3/{spelling}"] = _Unit("mm3/stroke", "fuel per stroke", 1e-3, by_density=True)
    found["°C"] = _Unit("°C", "temperature", 1.0, _KELVIN)
    found["°F"] = _Unit("°F", "temperature", 5 / 9, _KELVIN - 32 * 5 / 9)
    found["K"] = _Unit("K", "temperature", 1.0)
    return found


_UNITS = _all_units()
_FOLDED: dict[str, list[_Unit]] = {}
for _spelling, _unit in _UNITS.items():
    _FOLDED.setdefault(_spelling.lower(), []).append(_unit)


def known_units() -> tuple[str, ...]:
    """The names of all units, each once, by quantity."""
    return tuple(dict.fromkeys(unit.name for unit in _UNITS.values()))


def units_like(unit: str) -> tuple[str, ...]:
    """All units that `unit` can be turned into, itself included; itself alone where it is not in the table."""
    found = _find(unit)
    if found is None:
        return (unit,)
    return tuple(dict.fromkeys(other.name for other in _UNITS.values() if other.quantity == found.quantity))


def same_unit(first: str, second: str) -> bool:
    """Whether two spellings are one unit."""
    found, other = _find(first), _find(second)
    return _plain(first) == _plain(second) or (found is not None and found == other)


def convert(value: float, unit: str, to_unit: str, density: float = DIESEL_DENSITY) -> float:
    """`value` of `unit` in `to_unit`; `density` (kg/m3) ties mg and mm3 of fuel. One unit to itself changes no digit.

    `convert(1, "bar", "psi")` is 14.504 (NIST SP 811). Raises UsageError for an unknown unit, or for units of
    different things, and names the units that would do.
    """
    if same_unit(unit, to_unit):
        return value
    source, target = _find(unit), _find(to_unit)
    if source is None:
        hint = did_you_mean(unit, units_like(to_unit), most=16) or did_you_mean(unit, known_units())
        raise UsageError(f"unknown unit '{unit}'" + (f"; {hint}" if hint else ""))
    if target is None or source.quantity != target.quantity:
        raise UsageError(f"'{unit}' cannot be turned into '{to_unit}'; it can be {_listed(to_unit)}")
    base = value * _factor(source, density) + source.offset
    return (base - target.offset) / _factor(target, density)


def _listed(unit: str) -> str:
    names = units_like(unit)
    return ", ".join(names[:-1]) + f" or {names[-1]}" if len(names) > 1 else names[0]


def _factor(unit: _Unit, density: float) -> float:
    return unit.factor * density if unit.by_density else unit.factor


def _find(unit: str) -> _Unit | None:
    """A unit by its spelling; capitals count only where they tell two units apart (mohm, Mohm)."""
    plain = _plain(unit)
    if plain in _UNITS:
        return _UNITS[plain]
    candidates = _FOLDED.get(plain.lower(), [])
    return candidates[0] if candidates and all(unit == candidates[0] for unit in candidates) else None
