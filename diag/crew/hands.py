"""The hands that share the work: processes of this machine, or the workers of a Dask cluster. Both do the same.

May import: basics; distributed inside a function, where a cluster was asked for.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from functools import lru_cache
from importlib import import_module
from multiprocessing import get_context, parent_process
from multiprocessing.process import BaseProcess
from threading import Lock, Thread
from typing import Any, Protocol, TypeVar

from diag.basics import UsageError, keep_freed, let_go, search_seldom, unheard_interrupts

__all__ = ["ONE_AT_A_TIME", "Crew", "crew_of", "default_processes", "unpacked"]

Job = TypeVar("Job")
Result = TypeVar("Result")
AHEAD = 3  # jobs that wait for each hand, so that none stands idle and none piles up
ONE_AT_A_TIME = Lock()  # a worker of a cluster may have several threads; most rooms keep what they made, unguarded


@lru_cache(maxsize=4)  # a hand is given the same again and again
def unpacked(packed: bytes) -> Any:
    """What was packed, as one object however often it is asked for."""
    return pickle.loads(packed)


class Crew(Protocol):
    """Does jobs in any order, a few of them at a time."""

    def each(self, work: Callable[[bytes, Job], Result], jobs: Iterable[Job]) -> Iterator[tuple[Job, Result]]:
        """Every job with its result, as they come in; jobs are taken from the row only as hands are free."""


def default_processes() -> int:
    """As many as there are processors for this one."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def crew_of(setting: bytes, processes: int, cluster: str = "") -> Iterator[Crew]:
    """A crew that knows the packed setting: so many processes here, or all workers of the cluster at an address.

    Raises UsageError where there is no such cluster."""
    if cluster:
        with _dask(setting, cluster) as dask:
            yield dask
        return
    threads = os.environ.get("OPENBLAS_NUM_THREADS")
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # processes share the cores; and sums come out alike everywhere
    pool = ProcessPoolExecutor(processes, get_context("spawn"), initializer=_begin, initargs=(setting,))
    try:
        yield _Processes(pool, processes)
    except BaseException:  # Ctrl-C, too: a job may take minutes, and nobody wants it any more
        let_go(pool)
        raise
    finally:
        pool.shutdown(cancel_futures=True)
        if threads is None:
            del os.environ["OPENBLAS_NUM_THREADS"]
        else:
            os.environ["OPENBLAS_NUM_THREADS"] = threads


_SETTING: list[bytes] = []


def _begin(setting: bytes) -> None:
    keep_freed()
    search_seldom()
    _SETTING[:] = [setting]
    parent = parent_process()
    if parent is not None:
        Thread(target=_leave_with, args=(parent,), daemon=True).start()


def _leave_with(parent: BaseProcess) -> None:
    """End with the process that began this one, however that ended: killed, it cannot tell."""
    parent.join()
    os._exit(1)


def _do(work: Callable[[bytes, Job], Result], job: Job) -> Result:
    return work(_SETTING[0], job)


class _Processes:
    def __init__(self, pool: ProcessPoolExecutor, hands: int) -> None:
        self.pool, self.hands = pool, hands

    def each(self, work: Callable[[bytes, Job], Result], jobs: Iterable[Job]) -> Iterator[tuple[Job, Result]]:
        under_way: dict[Future[Result], Job] = {}
        for job in jobs:
            with unheard_interrupts():
                under_way[self.pool.submit(_do, work, job)] = job
            if len(under_way) >= AHEAD * self.hands:
                yield from _done(under_way)
        while under_way:
            yield from _done(under_way)


def _done(under_way: dict[Future[Result], Job]) -> Iterator[tuple[Job, Result]]:
    finished, _ = wait(under_way, return_when=FIRST_COMPLETED)
    for future in finished:
        yield under_way.pop(future), future.result()


@contextmanager
def _dask(setting: bytes, address: str) -> Iterator[Crew]:
    try:
        distributed = import_module("distributed")
    except ImportError:
        raise UsageError("a cluster needs Dask; install it with: pip install 'diag[cluster]'") from None
    try:
        client = distributed.Client(address, timeout=20)
    except (OSError, ValueError, TimeoutError) as cause:
        raise UsageError(f"there is no Dask scheduler at {address}: {cause}") from None
    try:
        yield _Dask(client, client.scatter(setting, broadcast=True, hash=False), distributed.wait)
    finally:
        client.close()


class _Dask:
    def __init__(self, client: Any, setting: object, wait_for: Callable[..., Any]) -> None:
        self.client, self.setting, self.wait_for = client, setting, wait_for

    def each(self, work: Callable[[bytes, Job], Result], jobs: Iterable[Job]) -> Iterator[tuple[Job, Result]]:
        hands = sum(self.client.nthreads().values()) or 1
        under_way: dict[object, Job] = {}

        def done() -> Iterator[tuple[Job, Result]]:
            finished = self.wait_for(list(under_way), return_when="FIRST_COMPLETED").done
            for future in finished:
                yield under_way.pop(future), future.result()

        for job in jobs:
            under_way[self.client.submit(work, self.setting, job, pure=False)] = job
            if len(under_way) >= AHEAD * hands:
                yield from done()
        while under_way:
            yield from done()
