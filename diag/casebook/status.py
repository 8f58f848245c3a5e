"""The states of a fault code, and the status byte of ISO 14229-1 that tells them.

Bits 0 to 7 of the byte: test failed; failed this operation cycle; pending; confirmed; test not completed since the last
clear; failed since the last clear; not completed this operation cycle; warning lamp requested.
May import: `diag.basics`, and within the room the records.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.basics import UsageError, did_you_mean
from diag.casebook.cases import ABSENT, NOT_LOOKED, NOT_SURE, PRESENT, CodeState

__all__ = [
    "ANSWER_OF_STATE",
    "PENDING",
    "STATE_WORDS",
    "StatusByte",
    "says_less",
    "state_of_status",
    "state_told",
    "status_byte",
]

PENDING = "pending"  # the soft answer of a code that is not confirmed yet

STATE_WORDS: dict[str, CodeState] = {
    "present": "present",
    "stored": "stored",
    "confirmed": "stored",
    "intermittent": "intermittent",
    "pending": "pending",
    "passed": "passed",
    "not tested": "not_tested",
}

ANSWER_OF_STATE: dict[CodeState, str] = {
    "present": PRESENT,
    "stored": PRESENT,
    "intermittent": PRESENT,
    "pending": PENDING,
    "passed": ABSENT,
    "not_tested": NOT_LOOKED,
}
"""What a state answers to 'is this code stored?': a confirmed code is, whether or not it fails now; a pending one has
failed but is not confirmed (a soft answer); a test that passed since the last clear says no, one not run nothing."""


def says_less(answer: str) -> int:
    """Of the codes that tell the same, which answer counts: the lowest, as one that is stored is enough."""
    order = (PRESENT, PENDING, NOT_SURE, NOT_LOOKED, ABSENT)
    return order.index(answer) if answer in order else len(order)


@dataclass(frozen=True)
class StatusByte:
    """The eight bits of a status byte, bit 0 first."""

    test_failed: bool
    failed_this_cycle: bool
    pending: bool
    confirmed: bool
    not_completed_since_clear: bool
    failed_since_clear: bool
    not_completed_this_cycle: bool
    warning_lamp: bool


def status_byte(value: int) -> StatusByte:
    """A status byte taken apart: 0x50 is 'never tested' (bits 4 and 6). Raises UsageError beyond one byte."""
    if not 0 <= value <= 0xFF:
        raise UsageError(f"the status byte {value:#04x} is out of range; it lies between 0x00 and 0xFF")
    return StatusByte(*(bool(value >> bit & 1) for bit in range(8)))


def state_of_status(value: int) -> CodeState:
    """The state that a status byte tells: 0xAF is present (failing now, confirmed), 0x2E intermittent (confirmed,
    failed in this cycle, not failing now), 0x08 stored, 0x50 not tested, 0x00 passed."""
    bits = status_byte(value)
    if bits.confirmed:
        return "present" if bits.test_failed else "intermittent" if bits.failed_this_cycle else "stored"
    if bits.test_failed or bits.pending or bits.failed_this_cycle or bits.failed_since_clear:
        return "pending"
    return "not_tested" if bits.not_completed_since_clear else "passed"


def state_told(said: object) -> tuple[CodeState, int | None]:
    """A state in words (`pending`, `not tested`) or a status byte (46, or '0x2E'): the state, and the byte where that
    was told. Raises UsageError for what is neither."""
    number = _number(said)
    if number is not None:
        return state_of_status(number), number
    word = " ".join(said.lower().replace("_", " ").split()) if isinstance(said, str) else ""
    if word not in STATE_WORDS:
        hint = did_you_mean(word, STATE_WORDS, most=20)
        shown = f"'{said[:40]}'" if isinstance(said, str) else "this"
        raise UsageError(f"{shown} is no state of a fault code; {hint}, or a status byte such as 0x2E")
    return STATE_WORDS[word], None


def _number(said: object) -> int | None:
    """A status byte as a number, or as text such as '0x2E'."""
    if isinstance(said, int) and not isinstance(said, bool):
        return said
    if isinstance(said, str) and said.lower().startswith("0x"):
        try:
            return int(said, 16)
        except ValueError:
            return None
    return None
