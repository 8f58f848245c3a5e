"""Keys of what is remembered."""

from __future__ import annotations

import numpy as np
import pytest

from diag.inference import remembered, terms
from diag.inference.model import Component, Link
from diag.inference.remembered import Hashed, Remembered
from diag.inference.terms import Terms


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


def test_no_more_bytes_are_held_than_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that were not asked for longest go first; what is put again counts once; and all can be forgotten."""
    monkeypatch.setattr(remembered, "MOST_HELD", 10)
    held = Remembered[str](100, len)
    for name in ("abcd", "efgh", "abcd"):
        held.put((name,), name)
    assert held.bytes == 8
    assert held.get(("efgh",)) == "efgh"
    held.put(("ijkl",), "ijkl")
    assert held.get(("abcd",)) is None
    assert (held.get(("efgh",)), held.get(("ijkl",))) == ("efgh", "ijkl")
    held.put(("a" * 20,), "a" * 20)
    assert list(held.held) == [("a" * 20,)]
    held.forget()
    assert (held.bytes, held.get(("a" * 20,))) == (0, None)


def test_what_a_result_was_made_from_counts_too() -> None:
    """It is kept alive: numbers, and records that hold some; but not a kind of number, which only has such a thing."""
    component = Component("part", np.ones((1, 2)), (Link((0,), np.ones((1, 2, 3))),))
    chosen = Terms((), np.zeros((4, 1), dtype=np.intp), np.ones((2, 4)))
    held = Remembered[str](100, len)
    held.put((np.ones(5), component, chosen, np.float64, "abc"), "made")
    assert held.bytes == 4 + 8 * (5 + (2 + 6) + (4 + 8))


def test_large_terms_are_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """Batches bring terms of their own, with a coefficient for each case: few are held of which others were made."""
    terms._DISTINCT.forget()
    monkeypatch.setattr(remembered, "MOST_HELD", 1 << 16)
    for _ in range(20):
        levels = np.zeros((8, 1), dtype=np.intp)
        terms.distinct_terms((), Terms(((0, 0),), levels, np.ones((256, 8))))
    assert len(terms._DISTINCT.held) <= 4
    terms._DISTINCT.forget()
