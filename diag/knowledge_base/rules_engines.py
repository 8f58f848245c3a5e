"""Cross-checks of engines: cylinders, banks, firing order, access.

May import: `diag.basics`, and within the room `records`, `register` and `units`.
"""

from __future__ import annotations

from diag.basics import UsageError, did_you_mean
from diag.knowledge_base.records import Engine
from diag.knowledge_base.register import Register
from diag.knowledge_base.units import convert

__all__ = ["check_engines"]


def check_engines(register: Register) -> None:
    """Every engine's layout holds together."""
    for name, engine in register.engines.items():
        if not _check_banks(register, name, engine):
            continue
        _check_firing_order(register, name, engine)
        _check_access(register, name, engine)
        for cylinder in engine.awkward_minutes:
            if cylinder not in engine.cylinders:
                path = ("engines", name, "awkward_minutes", cylinder)
                register.complain(path, f"there is no cylinder {cylinder}", _numbering(engine), of_key=True)
        register.all_known(("engines", name, "opposite_sign"), engine.opposite_sign, "reading", "readings")
        for letter in engine.bank_sides.keys() - engine.banks.keys():
            hint = did_you_mean(letter, engine.banks, most=8)
            register.complain(("engines", name, "bank_sides", letter), f"there is no bank {letter}", hint, of_key=True)
        for limit, entry in engine.limits.items():
            if entry.value is None and entry.default:
                message = "a limit that is left blank is not a default"
                register.complain(("engines", name, "limits", limit, "default"), message, "leave 'default' out")
        _check_trim_code(register, name, engine)
        _check_units(register, name, engine)
        _check_measures(register, name, engine)


def _check_trim_code(register: Register, name: str, engine: Engine) -> None:
    """Its alphabet holds every sign by itself; codes are read without spaces and hyphens."""
    alphabet = engine.trim_code.alphabet
    strange = next((sign for sign in alphabet or "" if not sign.isalnum()), None)
    if alphabet == "" or strange is not None:
        path = ("engines", name, "trim_code", "alphabet")
        message = f"'{strange}' is no sign of a trim code" if strange is not None else "no code has no signs at all"
        register.complain(path, message, "write every letter and digit out, such as '0123456789ABCDEF', or null")


def _check_units(register: Register, name: str, engine: Engine) -> None:
    """A limit can be turned into the unit of all that is held against it."""
    named: list[tuple[str | None, str]] = []
    for reading in register.readings.values():
        named += [(limit, reading.unit) for limit in (reading.relative_to, reading.saturates, reading.limit)]
        named += [(limit, unit) for unit, limit in reading.other_units.items()]
        named += [(reading.scaled.by, reading.scaled.unit)] if reading.scaled is not None else []
    for limit, unit in dict.fromkeys(named):
        known = engine.limits.get(limit) if limit is not None else None
        if known is None:
            continue
        try:
            convert(1.0, known.unit, unit)
        except UsageError as error:
            message, _, hint = error.message.partition("; ")
            register.complain(("engines", name, "limits", str(limit), "unit"), message, hint)


def _check_measures(register: Register, name: str, engine: Engine) -> None:
    """What readings are divided by, or bounded by on both sides of zero, is above zero."""
    for reading in register.readings.values():
        scaled = reading.scaled.by if reading.scaled is not None else None
        for limit in dict.fromkeys((reading.relative_to, reading.saturates, scaled, *reading.other_units.values())):
            known = engine.limits.get(limit) if limit is not None else None
            if known is not None and known.value is not None and known.value <= 0:
                message = f"'{reading.name}' is measured by this, so it must be above zero, and is {known.value:g}"
                hint = "write null where it is not known"
                path = ("engines", name, "limits", str(limit), "value")
                register.complain(path, message, hint)


def _numbering(engine: Engine) -> str:
    return f"its cylinders are {engine.cylinders[0]} to {engine.cylinders[-1]}"


def _check_banks(register: Register, name: str, engine: Engine) -> bool:
    """Whether the banks are usable; complains where they are not."""
    path = ("engines", name, "banks")
    before = len(register.problems)
    seen: dict[int, str] = {}
    for letter, cylinders in engine.banks.items():
        if not (len(letter) == 1 and letter.isascii() and letter.isupper()):
            register.complain((*path, letter), f"'{letter}' is no bank", "name banks A, B, ...", of_key=True)
        if not cylinders:
            register.complain((*path, letter), f"bank {letter} has no cylinders")
        for index, cylinder in enumerate(cylinders):
            if cylinder in seen:
                where = "twice" if seen[cylinder] == letter else f"also in bank {seen[cylinder]}"
                register.complain((*path, letter, index), f"cylinder {cylinder} is {where}")
            seen[cylinder] = letter
    if not engine.banks:
        register.complain(path, "an engine has at least one bank", "write 'banks: {A: [1, 2, 3, 4]}'", of_key=True)
    elif engine.layout == "inline" and len(engine.banks) != 1:
        register.complain(path, f"an inline engine has one bank, and this has {len(engine.banks)}", of_key=True)
    elif engine.layout == "V" and len(engine.banks) < 2:
        register.complain(path, "a V engine has two banks, and this has one", of_key=True)
    if len(register.problems) == before and sorted(seen) != list(range(1, len(seen) + 1)):
        message = f"the cylinders are numbered 1 to {len(seen)}, and these are {', '.join(map(str, sorted(seen)))}"
        register.complain(path, message, of_key=True)
    return len(register.problems) == before


def _check_firing_order(register: Register, name: str, engine: Engine) -> None:
    path = ("engines", name, "firing_order")
    order = engine.firing_order
    before = len(register.problems)
    for index, cylinder in enumerate(order):
        if cylinder not in engine.cylinders:
            register.complain((*path, index), f"there is no cylinder {cylinder}", _numbering(engine))
        elif cylinder in order[:index]:
            register.complain((*path, index), f"cylinder {cylinder} fires twice")
    missing = [str(cylinder) for cylinder in engine.cylinders if cylinder not in order]
    if missing and len(register.problems) == before:
        register.complain(path, f"the firing order leaves out {', '.join(missing)}", of_key=True)


def _check_access(register: Register, name: str, engine: Engine) -> None:
    path = ("engines", name, "access_minutes")
    for kind, by_bank in engine.access_minutes.items():
        if register.vocabulary is not None:
            register.knows((*path, kind), kind, "access", "vocabulary.access", of_key=True)
        for letter in by_bank:
            if letter not in engine.banks:
                hint = did_you_mean(letter, engine.banks)
                register.complain((*path, kind, letter), f"there is no bank '{letter}'", hint, of_key=True)
        for letter in engine.banks:
            if letter not in by_bank:
                register.complain((*path, kind), f"the minutes for bank {letter} are missing", of_key=True)
