"""How often somebody may ask: a bucket that fills steadily and is emptied by asking.

May import: the standard library."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

__all__ = ["Limit"]

MOST_BUCKETS = 10_000


@dataclass
class Limit:
    """At most `at_once` at one go and `per_second` in the long run, for each key."""

    per_second: float
    at_once: float
    clock: Callable[[], float] = time.monotonic
    _buckets: dict[str, tuple[float, float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, key: str) -> float:
        """Take one; 0 where that was allowed, else the seconds to wait for the next."""
        with self._lock:
            now = self.clock()
            if len(self._buckets) > MOST_BUCKETS:
                self._forget(now)
            held, since = self._buckets.get(key, (self.at_once, now))
            held = min(self.at_once, held + (now - since) * self.per_second)
            if held < 1.0:
                self._buckets[key] = (held, now)
                return (1.0 - held) / self.per_second
            self._buckets[key] = (held - 1.0, now)
            return 0.0

    def _forget(self, now: float) -> None:
        """Forget who has not asked for so long that the bucket is full again; where that is nobody, everybody."""
        full = self.at_once / self.per_second
        kept = {key: bucket for key, bucket in self._buckets.items() if now - bucket[1] < full}
        self._buckets = kept if len(kept) < MOST_BUCKETS else {}
