"""Status byte of ISO 14229-1 (check 21).

0x50: never tested; 0xAF: failing now, confirmed, lamp; 0x2E: confirmed, not failing now.
"""

from __future__ import annotations

import pytest

from diag.basics import UsageError
from diag.casebook import StatusByte, state_of_status, status_byte

NAMES = (
    "test_failed",
    "failed_this_cycle",
    "pending",
    "confirmed",
    "not_completed_since_clear",
    "failed_since_clear",
    "not_completed_this_cycle",
    "warning_lamp",
)


@pytest.mark.parametrize(("bit", "name"), list(enumerate(NAMES)))
def test_the_bits_stand_in_the_order_of_the_standard(bit: int, name: str) -> None:
    bits = status_byte(1 << bit)
    assert [field for field in NAMES if getattr(bits, field)] == [name]


def test_the_bytes_of_the_standard() -> None:
    """0x50: not completed since clear, nor in this cycle; 0xAF: all of failed, pending, confirmed, lamp; 0x2E."""
    assert status_byte(0x50) == StatusByte(False, False, False, False, True, False, True, False)
    assert status_byte(0xAF) == StatusByte(True, True, True, True, False, True, False, True)
    assert status_byte(0x2E) == StatusByte(False, True, True, True, False, True, False, False)


@pytest.mark.parametrize(
    ("value", "state"),
    [
        (0x50, "not_tested"),
        (0xAF, "present"),
        (0x2E, "intermittent"),
        (0x08, "stored"),
        (0x28, "stored"),
        (0x00, "passed"),
        (0x40, "passed"),  # passed since the clear, not run again in this cycle
        (0x04, "pending"),
        (0x07, "pending"),  # fails now for the first time, not confirmed
        (0x20, "pending"),
    ],
)
def test_the_state_that_a_byte_tells(value: int, state: str) -> None:
    """Confirmed or not, failing now or not; the words are the project's, the bits the standard's."""
    assert state_of_status(value) == state


@pytest.mark.parametrize("value", [-1, 0x100, 0x1FF])
def test_what_is_more_than_a_byte_is_refused(value: int) -> None:
    with pytest.raises(UsageError, match="out of range; it lies between 0x00 and 0xFF"):
        status_byte(value)
