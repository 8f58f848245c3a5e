"""Published check 19: numbering of SAE J2012 / ISO 15031-6."""

from __future__ import annotations

import pytest

from diag.casebook import code_of_cylinder, cylinder_of_code, looks_like_code, plain_code
from diag.knowledge_base import CodePattern, Knowledge

CIRCUIT = CodePattern(first="P0201", step=1)
LOW = CodePattern(first="P0261", step=3)
HIGH = CodePattern(first="P0262", step=3)
CONTRIBUTION = CodePattern(first="P0263", step=3)
MISFIRE = CodePattern(first="P0301", step=1)
TRIM_DATA = CodePattern(first="P268C", step=1, hexadecimal=True)  # counting on in hexadecimal: from memory
RANDOM = CodePattern(first="P0300")
TRIM_CODE = CodePattern(first="P268A")


@pytest.mark.parametrize("cylinder", range(1, 13))
def test_decimal_steps(cylinder: int) -> None:
    """Circuit P0200+k; low P0261+3(k-1), high P0262+3(k-1), contribution P0263+3(k-1); misfire P0300+k."""
    assert code_of_cylinder(CIRCUIT, cylinder) == f"P{200 + cylinder:04d}"
    assert code_of_cylinder(LOW, cylinder) == f"P{261 + 3 * (cylinder - 1):04d}"
    assert code_of_cylinder(HIGH, cylinder) == f"P{262 + 3 * (cylinder - 1):04d}"
    assert code_of_cylinder(CONTRIBUTION, cylinder) == f"P{263 + 3 * (cylinder - 1):04d}"
    assert code_of_cylinder(MISFIRE, cylinder) == f"P{300 + cylinder:04d}"


@pytest.mark.parametrize(
    ("pattern", "code", "cylinder"),
    [
        (CONTRIBUTION, "P0290", 10),
        (CONTRIBUTION, "P0264", None),
        (CONTRIBUTION, "P0299", None),
        (LOW, "P0264", 2),
        (TRIM_DATA, "P268C", 1),
        (TRIM_DATA, "P268F", 4),
        (TRIM_DATA, "P2690", 5),
        (TRIM_DATA, "P2697", 12),
        (TRIM_DATA, "P2698", None),
        (RANDOM, "P0300", 1),
        (RANDOM, "P0301", None),
        (TRIM_CODE, "P268A", 1),
        (MISFIRE, "P0313", None),
        (CIRCUIT, "0x0203", 3),
        (CIRCUIT, "p0203", 3),
    ],
)
def test_the_cylinder_of_a_code(pattern: CodePattern, code: str, cylinder: int | None) -> None:
    """Each code to its cylinder, and what is of another pattern to none."""
    assert cylinder_of_code(pattern, code) == cylinder


@pytest.mark.parametrize("pattern", [CIRCUIT, LOW, HIGH, CONTRIBUTION, MISFIRE, TRIM_DATA])
def test_there_and_back(pattern: CodePattern) -> None:
    """Each cylinder has a code of its own, which leads back to it."""
    codes = [code_of_cylinder(pattern, cylinder) for cylinder in range(1, 13)]
    assert len(set(codes)) == 12
    assert [cylinder_of_code(pattern, code) for code in codes] == list(range(1, 13))


@pytest.mark.parametrize(
    ("text", "code"),
    [("0x0143", "P0143"), ("0x9234", "B1234"), ("0x4000", "C0000"), ("0xC100", "U0100"), (" p0263 ", "P0263")],
)
def test_two_bytes(text: str, code: str) -> None:
    """0x0143 is P0143, 0x9234 is B1234 (check 19); the first two bits are the letter, the next two a digit."""
    assert plain_code(text) == code
    assert looks_like_code(text)


@pytest.mark.parametrize("text", ["", "P026", "X0263", "P4263", "0263", "P02633", "noise"])
def test_what_is_no_code(text: str) -> None:
    """Neither four digits nor a fifth, nor another letter."""
    assert not looks_like_code(text)


def test_no_code_of_the_knowledge_has_two_meanings(knowledge: Knowledge) -> None:
    """Over twelve cylinders every code leads to one finding alone."""
    seen: dict[str, str] = {}
    for name, finding in knowledge.findings.items():
        if finding.code is not None:
            for cylinder in range(1, 13 if finding.code.step else 2):
                code = code_of_cylinder(finding.code, cylinder)
                assert seen.setdefault(code, name) == name
            for code in finding.code.also:
                assert seen.setdefault(code, name + ", further") == name + ", further"
