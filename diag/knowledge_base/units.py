"""Units of the workshop, and turning one into another. May import: `diag.basics`.

Factors are those of NIST SP 811 (2008): 1 psi = 6.894757 kPa, 1 lbf·ft = 1.355818 N·m,
1 mile = 1.609344 km. A month is a twelfth of a year of 365.25 days. Milligrams and cubic millimetres of fuel are tied
by the density of diesel, 820 to 845 kg/m3 at 15 degrees Celsius (EN 590); the middle is taken unless one is given.
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

# quantity -> unit -> (factor, other spellings)
_TABLE: dict[str, dict[str, tuple[float, tuple[str, ...]]]] = {
    "pressure": {
        "bar": (1.0, ()),
        "Pa": (1e-5, ()),
        "mbar": (1e-3, ("hPa",)),
        "kPa": (1e-2, ()),
        "MPa": (10.0, ()),
        "psi": (0.06894757, ()),
    },
    "pressure rate": {"bar/s": (1.0, ()), "bar/min": (1 / 60, ()), "MPa/s": (10.0, ()), "kPa/s": (1e-2, ())},
    "flow": {
        "mL/min": (1.0, ("cc/min", "cm3/min")),
        "mL/s": (60.0, ()),
        "L/min": (1000.0, ()),
        "L/h": (1000 / 60, ()),
    },
    "volume": {"mL": (1.0, ("cm3", "cc")), "L": (1000.0, ("litre", "litres")), "mm3": (1e-3, ())},
    "fuel per stroke": {"mg/stroke": (1.0, ("mg/str",))},
    "resistance": {
        "ohm": (1.0, ("Ω", "ohms")),
        "milliohm": (1e-3, ("mΩ", "mohm")),
        "kohm": (1e3, ("kΩ", "kiloohm", "kilohm")),
        "Mohm": (1e6, ("MΩ", "megohm", "megaohm")),
    },
    "capacitance": {"µF": (1.0, ("uF",)), "nF": (1e-3, ())},
    "speed": {"rpm": (1.0, ("1/min", "/min", "r/min", "U/min", "min-1"))},
    "voltage": {"V": (1.0, ("volt", "volts")), "mV": (1e-3, ()), "kV": (1e3, ())},
    "current": {"A": (1.0, ("amp", "amps")), "mA": (1e-3, ())},
    "share": {"%": (1.0, ("per cent", "percent")), "ppm": (1e-4, ())},
    "torque": {"N·m": (1.0, ("Nm", "N m", "N.m")), "lbf·ft": (1.355818, ("lbf ft", "lbf.ft", "lb ft", "ft lb"))},
    "time": {
        "s": (1.0, ("second", "seconds", "sec")),
        "ms": (1e-3, ("milliseconds",)),
        "min": (60.0, ("minute", "minutes")),
        "h": (3600.0, ("hour", "hours")),
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
    "density": {"kg/m3": (1.0, ()), "g/mL": (1e3, ("g/cm3", "kg/L"))},
    "angle": {"degrees": (1.0, ("degree", "deg"))},
}


def _plain(unit: str) -> str:
    """One spelling of look-alike characters and of spaces."""
    text = " ".join(unit.split()).replace("\u2126", "Ω").replace("μ", "µ").replace("³", "3").replace("⋅", "·")
    return text.replace(" / ", "/").replace("\u00b0", "°").replace("degC", "°C").replace("degF", "°F")


def _all_units() -> dict[str, _Unit]:
    found: dict[str, _Unit] = {}
    for quantity, units in _TABLE.items():
        for name, (factor, others) in units.items():
            for spelling in (name, *others):
                found[_plain(spelling)] = _Unit(name, quantity, factor)
    for spelling in ("mm3/stroke", "mm3/str"):
        found[spelling] = _Unit("mm3/stroke", "fuel per stroke", 1e-3, by_density=True)
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
        hint = did_you_mean(unit, units_like(to_unit)) or did_you_mean(unit, known_units())
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
