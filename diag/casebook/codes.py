"""Generic fault codes: which cylinder a code names, and the other way round.

Numbering of SAE J2012 / ISO 15031-6: a code for cylinder 1 and a step for each further cylinder, counted in decimal
digits or (P268C and on) in hexadecimal ones. A code names the monitor that failed, never the part.
May import: the records of `diag.knowledge_base`.
"""

from __future__ import annotations

import re

from diag.knowledge_base import MOST_CYLINDERS, CodePattern

__all__ = ["MOST_CYLINDERS", "code_of_cylinder", "cylinder_of_code", "looks_like_code", "plain_code"]

_CODE = re.compile(r"^[PCBU][0-3][0-9A-F]{3}$")
_TWO_BYTES = re.compile(r"^0X[0-9A-F]{4}$")


def plain_code(text: str) -> str:
    """A code in its usual form: capitals, no spaces; the two-byte form 0x0143 becomes P0143, 0x9234 becomes B1234."""
    code = text.strip().upper().replace(" ", "").replace("-", "")
    if not _TWO_BYTES.match(code):
        return code
    number = int(code, 16)
    return f"{'PCBU'[number >> 14]}{number >> 12 & 3}{number & 0xFFF:03X}"


def looks_like_code(text: str) -> bool:
    """Whether a text has the form of a generic or maker's fault code, such as P0263."""
    return bool(_CODE.match(plain_code(text)))


def code_of_cylinder(pattern: CodePattern, cylinder: int) -> str:
    """The code that a pattern gives to a cylinder (1 to 12): contribution P0263 and step 3 give cylinder 10 P0290."""
    if not pattern.step:
        return pattern.first
    letter, digits = pattern.first[0], pattern.first[1:]
    if pattern.hexadecimal or not digits.isdecimal():
        return f"{letter}{int(digits, 16) + pattern.step * (cylinder - 1):04X}"
    return f"{letter}{int(digits) + pattern.step * (cylinder - 1):04d}"


def cylinder_of_code(pattern: CodePattern, code: str) -> int | None:
    """The cylinder (1 to 12) that a code names under a pattern, or none where the code is not of this pattern.

    A pattern without step is one code for the whole vehicle, and counts as cylinder 1, as its further numbers do.
    """
    wanted = plain_code(code)
    if wanted in pattern.also:
        return 1
    last = MOST_CYLINDERS if pattern.step else 1
    return next((number for number in range(1, last + 1) if code_of_cylinder(pattern, number) == wanted), None)
