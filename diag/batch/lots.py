"""Which distinct cases are worked out together: lots of one sort, filled in the order in which cases first appear.

Lots depend on the table alone, not on who works them out or when, so that what comes out is the same to the bit.
May import: the modules of this room below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from diag.batch.working import ALONE, Lot, ReadChunk

__all__ = ["Lots"]

TOGETHER, SINGLY = 256, 16  # cases of a lot: weighed at once (what inference takes at once), or one by one
MOST_WAITING = 40_000  # cases that wait for their lot to fill; then the fullest goes as it is


@dataclass
class Lots:
    """Lays distinct cases into lots. `where[digest]`: lot and place within it, as one number (lot * 256 + place)."""

    where: dict[bytes, int] = field(default_factory=dict)
    waiting: dict[str, list[tuple[bytes, str]]] = field(default_factory=dict)
    count: int = 0
    held: int = 0

    def of(self, chunks: Iterable[ReadChunk]) -> Iterator[Lot]:
        """The lots, one after the other; each case of the chunks is in exactly one."""
        for chunk in chunks:
            for digest, (sort, text) in chunk.cases.items():
                name = bytes.fromhex(digest)
                if name in self.where:
                    continue
                self.where[name] = -1
                lot = self.waiting.setdefault(sort, [])
                lot.append((name, text))
                self.held += 1
                if len(lot) == (SINGLY if sort == ALONE else TOGETHER):
                    yield self._closed(sort)
                elif self.held >= MOST_WAITING:
                    yield self._closed(max(self.waiting, key=lambda each: len(self.waiting[each])))
        for sort in list(self.waiting):
            yield self._closed(sort)

    def _closed(self, sort: str) -> Lot:
        cases = self.waiting.pop(sort)
        self.held -= len(cases)
        number, self.count = self.count, self.count + 1
        for place, (name, _) in enumerate(cases):
            self.where[name] = number * TOGETHER + place
        return Lot(number, sort, tuple(text for _, text in cases))

    def place(self, digest: str) -> tuple[int, int]:
        """The lot of a case, and its place there."""
        return divmod(self.where[bytes.fromhex(digest)], TOGETHER)
