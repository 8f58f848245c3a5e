"""How often a process looks for garbage, and what it does with memory that was let go. May import: the standard library
only."""

from __future__ import annotations

import ctypes
import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["keep_freed", "search_seldom", "searched_seldom"]

MANY_OBJECTS = 50_000  # made and not yet let go, before the collector looks; Python's own 700 are made in a moment

_LARGEST_FROM_HEAP, _MOST_FREE = -3, -1  # M_MMAP_THRESHOLD and M_TRIM_THRESHOLD of the C library (mallopt(3))
LARGEST_KEPT, MOST_KEPT = 1 << 26, 1 << 28  # bytes


def keep_freed() -> None:
    """From now on arrays up to 64 MiB come out of memory that the process holds, and up to 256 MiB of it are kept when
    they are let go. Without that, the C library hands large ones back at once, and of every new one the system clears
    each page again: up to a fifth of a ranking. Nothing happens where the C library is not GNU's."""
    mallopt = getattr(ctypes.CDLL(None) if sys.platform == "linux" else None, "mallopt", None)
    if mallopt is not None:
        mallopt(_LARGEST_FROM_HEAP, LARGEST_KEPT)
        mallopt(_MOST_FREE, MOST_KEPT)


def search_seldom(objects: int = MANY_OBJECTS) -> None:
    """From now on the collector looks seldom (once so many `objects` were made and not let go), and never at what is
    there already: a start makes much that all stays, and what reckoning lays out goes by itself. Where it was told not
    to look at all, that stays."""
    gc.freeze()
    _raise_threshold(objects)


@contextmanager
def searched_seldom() -> Iterator[None]:
    """The same for a while, in somebody else's process."""
    before = gc.get_threshold()
    _raise_threshold()
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _raise_threshold(objects: int = MANY_OBJECTS) -> None:
    first, *rest = gc.get_threshold()
    if first:
        gc.set_threshold(max(first, objects), *rest)
