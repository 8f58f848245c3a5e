"""Ctrl-C and the processes that share work. It reaches every process of a terminal; the one that began the others tells
them. May import: the standard library."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from concurrent.futures import Executor

__all__ = ["let_go", "unheard_interrupts"]


@contextmanager
def unheard_interrupts() -> Iterator[None]:
    """Processes that begin within it never hear Ctrl-C, where the system can do that; here it is heard afterwards.

    Each of them would print where it just was, and then take the next job.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def let_go(pool: Executor) -> None:
    """End a pool now, with whatever its processes are at; nobody waits for what they would have found."""
    processes = list((getattr(pool, "_processes", None) or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()
