"""Cross-checks of findings and readings: what they show, and a table for every level of it.

May import: within the room `reader`, `records` and `register`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from diag.knowledge_base.reader import Key
from diag.knowledge_base.records import MOST_CYLINDERS, CodePattern, Distribution, Finding, Mixture, Reading
from diag.knowledge_base.register import Register

__all__ = ["check_findings", "check_readings"]

Path = tuple[Key, ...]
_ROUNDING = 1e-6


def check_findings(register: Register) -> None:
    """Every finding shows one thing, with a chance for each of its levels; codes do not share a number."""
    numbers: dict[str, str] = {}
    for name, finding in register.findings.items():
        path = ("findings", name)
        register.all_known((*path, "danger"), finding.danger, "caution", "cautions")
        if register.knows((*path, "shows"), finding.shows, "component or severity", "components", "severities"):
            register.check_every_level((*path, "chance"), finding.chance, finding.shows, "a chance")
            for condition, chances in finding.under.items():
                register.check_every_level((*path, "under", condition), chances, finding.shows, "a chance")
        _check_conditions(register, name, finding)
        _check_code(register, name, finding, numbers)


def _check_conditions(register: Register, name: str, finding: Finding) -> None:
    if register.vocabulary is not None:
        for condition in finding.under:
            path = ("findings", name, "under", condition)
            register.knows(path, condition, "condition", "vocabulary.conditions", of_key=True)
    if finding.lasting.value and not finding.under:
        message = "luck that lasts over conditions needs chances under a condition"
        register.complain(("findings", name, "lasting"), message, "add 'under:', or leave 'lasting' out", of_key=True)


def _check_code(register: Register, name: str, finding: Finding, numbers: dict[str, str]) -> None:
    path = ("findings", name, "code")
    if finding.code is None:
        if finding.kind == "code":
            register.complain(path[:2], f"the code '{name}' has no number", "add 'code: {first: P0201}'", of_key=True)
        return
    if finding.kind != "code":
        message = f"only a finding of kind 'code' has a number, and this is of kind '{finding.kind}'"
        register.complain(path, message, of_key=True)
    per = register.per(finding.shows)
    if per == "cylinder" and finding.code.step <= 0:
        message = "a code of each cylinder needs a 'step' from one cylinder's number to the next"
        register.complain(path, message, "add 'step: 1'", of_key=True)
    count = MOST_CYLINDERS if per == "cylinder" else 1
    base = 16 if finding.code.hexadecimal else 10
    if base == 10 and not finding.code.first[1:].isdecimal():
        register.complain((*path, "first"), "this number counts in hexadecimal", "add 'hexadecimal: true'")
        return
    for index in range(count):
        value = int(finding.code.first[1:], base) + index * finding.code.step
        number = f"{finding.code.first[0]}{value:04X}" if base == 16 else f"{finding.code.first[0]}{value:04d}"
        other = numbers.setdefault(number, name)
        if other != name:
            register.complain((*path, "first"), f"the number {number} is also one of '{other}'")
            return
    _check_further(register, path, finding.code, numbers)


def _check_further(register: Register, path: Path, code: CodePattern, numbers: dict[str, str]) -> None:
    """Further numbers belong to a code of the whole vehicle, and each to one code alone."""
    if code.also and code.step:
        message = "further numbers can only be given of a code of the whole vehicle, and this has a 'step'"
        register.complain((*path, "also"), message, "write a finding of its own for them", of_key=True)
    for index, number in enumerate(code.also):
        other = numbers.get(number)
        if other is not None:
            twice = "here already" if other == path[1] else f"also one of '{other}'"
            register.complain((*path, "also", index), f"the number {number} is {twice}", "leave it out")
        numbers.setdefault(number, str(path[1]))


def check_readings(register: Register) -> None:
    """Every reading shows one thing, with a spread for each of its levels, in a range that makes sense."""
    for name, reading in register.readings.items():
        path = ("readings", name)
        if register.knows((*path, "shows"), reading.shows, "component or severity", "components", "severities"):
            register.check_every_level((*path, "spread"), reading.spread, reading.shows, "a spread")
        if reading.lowest >= reading.highest:
            register.complain((*path, "highest"), f"the highest must be above the lowest, {reading.lowest:g}")
        _check_spread(register, name, reading)
        _check_shift(register, name, reading)
        register.all_known((*path, "danger"), reading.danger, "caution", "cautions")
        if bool(reading.danger) != (reading.danger_above is not None):
            message = "'danger' and 'danger_above' go together: which cautions, and above which value"
            register.complain((*path, "danger" if reading.danger else "danger_above"), message)
        if reading.scaled is not None and reading.scaled.power.value <= 0:
            register.complain((*path, "scaled", "power"), "a reading grows by a power above zero")


def _check_spread(register: Register, name: str, reading: Reading) -> None:
    for level, spread in reading.spread.items():
        if isinstance(spread, Mixture):
            _check_weights(register, ("readings", name, "spread", level, "parts"), spread)
        for path, law in _laws(name, level, spread):
            if law.width.value <= 0:
                register.complain((*path, "width"), "a width must be above zero")
            if law.shape == "log-normal" and law.middle.value <= 0:
                register.complain((*path, "middle"), "the middle of a log-normal spread must be above zero")


def _laws(name: str, level: str, spread: Distribution | Mixture) -> Iterator[tuple[Path, Distribution]]:
    """The laws of a spread, each with the path at which it stands."""
    path: Path = ("readings", name, "spread", level)
    if isinstance(spread, Mixture):
        yield from (((*path, "parts", number), law) for number, law in enumerate(spread.parts))
    else:
        yield path, spread


def _check_weights(register: Register, path: Path, spread: Mixture) -> None:
    """A mixture has several parts, each with a weight, and these sum to 1."""
    if len(spread.parts) < 2:
        message = f"a mixture has at least two parts, and this has {len(spread.parts)}"
        register.complain(path, message, "write the one law without 'parts'", of_key=True)
        return
    for number, part in enumerate(spread.parts):
        if part.weight.value == 0:
            register.complain((*path, number, "weight"), "a weight must be above zero", "leave this part out")
    total = math.fsum(part.weight.value for part in spread.parts)
    if abs(total - 1.0) > _ROUNDING:
        message = f"the weights of the parts add up to {total:g}, and must to 1 (100 %)"
        register.complain(path, message, of_key=True)


def _check_shift(register: Register, name: str, reading: Reading) -> None:
    """A shift belongs to readings of each cylinder, and fits the shapes of their spreads."""
    path, shift = ("readings", name, "shift"), reading.shift
    if shift is None:
        return
    if register.per(reading.shows) not in ("cylinder", ""):
        register.complain(path, "only readings of each cylinder share a shift", of_key=True)
    for at, spread in (law for level, each in reading.spread.items() for law in _laws(name, level, each)):
        if shift.kind == "sum zero" and spread.shape == "log-normal":
            register.complain(at, "readings that sum to zero are not log-normal", "write 'shape: normal'")
        if shift.kind == "common factor":
            if spread.shape != "log-normal":
                register.complain(at, "readings with a common factor are log-normal", "write 'shape: log-normal'")
            elif spread.width.value <= shift.width.value:
                message = (
                    f"the width must be above {shift.width.value:g}, that of the common factor, which is part of it"
                )
                register.complain((*at, "width"), message)
    if shift.kind == "common factor" and shift.width.value <= 0:
        register.complain(path, "a common factor has a width", "add 'width: 0.3'", of_key=True)
