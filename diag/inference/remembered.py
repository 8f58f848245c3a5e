"""What was worked out lately, by what it was made from. May import: the standard library only."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

__all__ = ["LARGEST_HELD", "Hashed", "Remembered"]

LARGEST_HELD = 1 << 20  # bytes of a result that is remembered; on a case with many configurations it may be 100 MB
MOST_HELD = 1 << 26  # bytes of all results of one kind
Thing = TypeVar("Thing")


class Hashed:
    """A key of many parts that is looked up often: its hash is worked out once."""

    __slots__ = ("_hash", "parts")

    def __init__(self, *parts: object) -> None:
        self.parts, self._hash = parts, hash(parts)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, Hashed) and self._hash == other._hash and self.parts == other.parts)


_BY_VALUE = (int, str, bytes, tuple, frozenset, Hashed)  # all else by its identity


class Remembered(Generic[Thing]):
    """The latest results by what they were made from: by its value, or by its identity, and it is kept alive with them.
    So many at most, no more than `MOST_HELD` bytes with what they were made from, and none that is so large (so many
    `times` as usual) that making it anew costs less than holding it."""

    def __init__(self, size: int, bytes_of: Callable[[Thing], int], times: int = 1) -> None:
        self.size, self.bytes_of, self.times = size, bytes_of, times
        self.held: OrderedDict[tuple[object, ...], tuple[tuple[object, ...], Thing, int]] = OrderedDict()
        self.bytes = 0

    def get(self, made_from: tuple[object, ...]) -> Thing | None:
        """The result made from exactly these objects, if it is still held."""
        key = _identity(made_from)
        if key not in self.held:
            return None
        self.held.move_to_end(key)
        return self.held[key][1]

    def put(self, made_from: tuple[object, ...], result: Thing) -> Thing:
        """Hold a result, and let those go that were not asked for longest."""
        size, key = self.bytes_of(result), _identity(made_from)
        if size > LARGEST_HELD * self.times:
            return result
        size += sum(map(_bytes_in, made_from))
        if key in self.held:
            self.bytes -= self.held.pop(key)[2]
        self.held[key] = made_from, result, size
        self.bytes += size
        while len(self.held) > self.size or (self.bytes > MOST_HELD and len(self.held) > 1):
            self.bytes -= self.held.popitem(last=False)[1][2]
        return result

    def forget(self) -> None:
        """Hold nothing any more."""
        self.held.clear()
        self.bytes = 0


def _bytes_in(made_from: object) -> int:
    found = getattr(made_from, "nbytes", 0)  # of an array, or a record that holds some
    return found if isinstance(found, int) else 0


def _identity(made_from: tuple[object, ...]) -> tuple[object, ...]:
    return tuple([each if isinstance(each, _BY_VALUE) else id(each) for each in made_from])
