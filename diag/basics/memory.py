"""How often a process looks for garbage. May import: the standard library only."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["search_seldom", "searched_seldom"]

MANY_OBJECTS = 50_000  # made and not yet let go, before the collector looks; Python's own 700 are made in a moment


def search_seldom() -> None:
    """From now on the collector looks seldom, and never at what is there already: a start makes much that all stays,
    and what reckoning lays out goes by itself. Where it was told not to look at all, that stays."""
    gc.freeze()
    _raise_threshold()


@contextmanager
def searched_seldom() -> Iterator[None]:
    """The same for a while, in somebody else's process."""
    before = gc.get_threshold()
    _raise_threshold()
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _raise_threshold() -> None:
    first, *rest = gc.get_threshold()
    if first:
        gc.set_threshold(max(first, MANY_OBJECTS), *rest)
