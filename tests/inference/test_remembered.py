"""Keys of what is remembered."""

from __future__ import annotations

from diag.inference.remembered import Hashed, Remembered


def test_keys_of_equal_parts_are_equal_and_of_others_not() -> None:
    one, same, other = Hashed("plate", (1, 2), b"x"), Hashed("plate", (1, 2), b"x"), Hashed("plate", (1, 2), b"y")
    assert one == same
    assert hash(one) == hash(same)
    assert one != other
    assert one != ("plate", (1, 2), b"x")
    assert {one: "held"}[same] == "held"


def test_what_was_made_from_an_equal_key_is_known_again() -> None:
    held = Remembered[str](2, len)
    held.put((Hashed("plate", 1), 7), "made")
    assert held.get((Hashed("plate", 1), 7)) == "made"
    assert held.get((Hashed("plate", 2), 7)) is None
