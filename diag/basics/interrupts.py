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

LONGEST_S = 5.0  # for a process that does not end when it is told to; it usually takes some hundredths


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


def let_go(*pools: Executor) -> None:
    """End pools now, with whatever their processes are at; nobody waits for what they would have found.

    Their processes are gone, and the threads that kept them, when this returns: one that is still closing what it is
    woken by meets Python's own ending, which wakes it once more, and prints a trace.
    """
    keepers = [keeper for pool in pools if (keeper := getattr(pool, "_executor_manager_thread", None)) is not None]
    processes = [each for pool in pools for each in (getattr(pool, "_processes", None) or {}).values()]
    for pool in pools:
        pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()
    for keeper in keepers:
        keeper.join(LONGEST_S)
