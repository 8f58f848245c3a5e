"""Has cases reckoned in worker processes: what must be there at once in some, what may take longer in others.

What was worked out is remembered by what the case says, so that undoing, looking again, and a second tablet cost
nothing. May import: `diag.casebook`, `diag.store`, and within the room `reckoning`, `settings`.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import threading
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

from diag.basics import DiagError, let_go, unheard_interrupts
from diag.casebook import Case
from diag.knowledge_base import Knowledge
from diag.store import Draft
from diag.web import reckoning
from diag.web.reckoning_class import CLASS_JOBS, DOUBT_JOBS
from diag.web.settings import Settings
from diag.web.words import PROBLEMS

if TYPE_CHECKING:
    from diag.report import NextSheet, RepairSheet, WeighSheet
    from diag.store import Likeness

__all__ = ["PATIENCE_S", "Busy", "Reckoner", "key_of"]

NICE = {
    "deep": 8,
    "slow": 14,
    "class": 8,
    "doubt": 14,
}  # how far a lane stands back where the processor is wanted by several
EAGER = {"quick": "belief", "deep": "checks"}
"""Lanes whose processes are started once the first screen stands, not when first asked, and the job that each then does
of an invented case."""
REMEMBERED = 600
LANES = {
    "quick": ("belief", "option", "alike"),
    "slide": ("slid", "slide"),
    "slow": ("turns", "drawn"),
    "class": tuple(CLASS_JOBS),
    "doubt": tuple(DOUBT_JOBS),
    "deep": (),
}
"""Which jobs share processes: none of one lane ever waits behind one of another. What is named nowhere is deep."""
PATIENCE_S = 60.0
TRIES = 3


class Busy(DiagError):  # noqa: N818  named by what is the matter
    """What was asked for is still being worked out; asking again in a moment will find it."""


def key_of(case: Case, knowledge: Knowledge) -> str:
    """What the case says, as a short key: equal cases have equal keys."""
    return hashlib.blake2b(repr(Draft.of(case, knowledge)).encode(), digest_size=16).hexdigest()


class Reckoner:
    """The workers, and what they worked out. Close it."""

    def __init__(self, settings: Settings, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self._begin = (settings.knowledge, settings.overlays)
        self._desk = reckoning.Desk(knowledge)
        self._count = settings.workers
        self._lock = threading.RLock()  # what is done at once is counted off while it is being handed in
        self._known: OrderedDict[tuple[object, ...], Future[Any]] = OrderedDict()
        self._waiting: dict[str, Future[Any]] = {}
        self._queued: Counter[str] = Counter()  # jobs by lane that are not done yet
        self._warm = self._closed = False
        several = {"quick": max(self._count, 1), "deep": max(self._count - 1, 1)}
        self._sizes = {lane: several.get(lane, 1) for lane in LANES}
        self._lanes = {
            f"{lane}{number}": self._lane(lane) for lane, size in self._sizes.items() for number in range(size)
        }

    def _lane(self, kind: str) -> Executor:
        """One process of its own, so that what belongs to one case meets what was worked out of it before."""
        if self._count == 0:
            return ThreadPoolExecutor(1)
        return ProcessPoolExecutor(
            1,
            multiprocessing.get_context("spawn"),
            initializer=reckoning.begin,
            initargs=(*self._begin, NICE.get(kind, 0)),
        )

    def warm(self) -> None:
        """Start the processes that the first case will ask, and have each do its job once: reading, importing and
        laying out takes each of them a second. Not done before the first screen stands, which would share the
        processor with all of them."""
        with self._lock:
            if self._warm or self._closed or self._count == 0:
                return
            self._warm = True
            for name, lane in self._lanes.items():
                job = EAGER.get(name.rstrip("0123456789"))
                if job is not None:
                    with unheard_interrupts():
                        lane.submit(reckoning.rehearse, job)

    def close(self) -> None:
        """Let the workers go, whatever they are at."""
        with self._lock:
            self._closed = True
        let_go(*self._lanes.values())

    def begun(self, job: str, case: Case, about: str = "", **told: Any) -> Future[Any]:
        """Have a job done; the same one is done once. `about`: the case that it is of; what waits of an earlier state
        of it is then dropped."""
        key = key_of(case, self.knowledge)
        asked = (job, key, *sorted(told.items()))
        with self._lock:
            future = self._known.get(asked)
            if future is not None and not _lost(future):
                self._known.move_to_end(asked)
                return future
            if about:
                waiting = self._waiting.pop(about, None)
                if waiting is not None:
                    waiting.cancel()
            future = self._submit(job, key, case, told)
            if about:
                self._waiting[about] = future
                while len(self._waiting) > REMEMBERED:
                    self._waiting.pop(next(iter(self._waiting)))
            self._known[asked] = future
            while len(self._known) > REMEMBERED:
                self._known.popitem(last=False)
            return future

    def begin_bay(self, number: int, case: Case) -> Future[Any]:
        """Begin what the bay shows beside the belief; the future is that of the checks. What these need first is what
        the options show: whoever turns to them finds them there."""
        self.begun("options", case, about=f"{number} options")
        self.begun("sliders", case, about=f"{number} sliders")
        return self.begun("checks", case, about=str(number))

    def apart(self, job: str, key: str, **told: Any) -> Future[Any]:
        """Have a job done that is of no case; the same one, by its key, is done once."""
        asked = (job, key)
        with self._lock:
            future = self._known.get(asked)
            if future is None or _lost(future):
                future = self._known[asked] = self._submit(job, hashlib.sha256(key.encode()).hexdigest(), None, told)
            return future

    def known(self, job: str, case: Case, **told: Any) -> Any:
        """A job's result where it is there already; none where it is not, or went wrong. Nothing is begun."""
        with self._lock:
            future = self._known.get((job, key_of(case, self.knowledge), *sorted(told.items())))
        done = future is not None and future.done() and not future.cancelled() and future.exception() is None
        return future.result() if done and future is not None else None

    def worth_waiting_s(self, job: str, case: Case, wait_s: float) -> float:
        """How long to wait for a job: `wait_s` seconds shared out among all that wait for the same process, because
        where many do, it would not be there in time anyway."""
        with self._lock:
            return wait_s / max(1, self._queued[self._name_of(job, key_of(case, self.knowledge))])

    def _name_of(self, job: str, key: str) -> str:
        """The lane of a job; one case always comes to the same one."""
        kind = next((lane for lane, jobs in LANES.items() if job in jobs), "deep")
        return f"{kind}{int(key[:8], 16) % self._sizes[kind]}"

    def _submit(self, job: str, key: str, case: Case | None, told: dict[str, Any]) -> Future[Any]:
        name = self._name_of(job, key)
        future = self._handed_in(name, job, key, case, told)
        self._queued[name] += 1
        future.add_done_callback(lambda _: self._done(name))
        return future

    def _done(self, name: str) -> None:
        with self._lock:
            self._queued[name] -= 1

    def _handed_in(self, name: str, job: str, key: str, case: Case | None, told: dict[str, Any]) -> Future[Any]:
        if self._closed:  # a lane that was let go of is broken, and would be taken for one that was killed
            raise Busy(PROBLEMS["ended"])
        call: tuple[Callable[..., Any], ...] = (reckoning.run,) if self._count else (_here(self._desk),)
        with unheard_interrupts():
            try:
                return self._lanes[name].submit(call[0], job, key, case, told)
            except BrokenExecutor:  # the process was killed from outside: take another one
                self._lanes[name] = self._lane(name.rstrip("0123456789"))
                return self._lanes[name].submit(call[0], job, key, case, told)

    def result(self, job: str, case: Case, **told: Any) -> Any:
        """A job's result, waited for. Raises what the job raised, or Busy where it takes too long."""
        for _ in range(TRIES):
            try:
                return self.begun(job, case, **told).result(PATIENCE_S)
            except (BrokenExecutor, CancelledError):
                continue  # its process was killed, or somebody dropped it: once more
            except TimeoutError:
                break
        raise Busy(PROBLEMS["busy"])

    def belief(self, case: Case) -> WeighSheet:
        """What is believed. Raises ImpossibleEvidence."""
        sheet: WeighSheet = self.result("belief", case)
        return sheet

    def possible(self, case: Case, wait_s: float) -> None:
        """Raise ImpossibleEvidence where the case cannot be; where that is not known in time, nothing is said, and the
        page of the case says it later."""
        try:
            future = self.begun("belief", case)
            future.result(self.worth_waiting_s("belief", case, wait_s))
        except (TimeoutError, BrokenExecutor, CancelledError):
            return

    def options(self, case: Case, told: reckoning.Money = ()) -> RepairSheet:
        """The options side by side, under other money where that is told."""
        sheet: RepairSheet = self.result("slide", case, told=told) if told else self.result("options", case)
        return sheet

    def checks(self, case: Case) -> NextSheet:
        """The checks, ranked; this may take seconds."""
        sheet: NextSheet = self.result("checks", case)
        return sheet

    def alike(self, case: Case) -> Likeness:
        """What the book compares the case by."""
        found: Likeness = self.result("alike", case)
        return found


def _here(desk: reckoning.Desk) -> Callable[..., Any]:
    def run(job: str, key: str, case: Case | None, told: dict[str, Any]) -> Any:
        return reckoning.JOBS[job](desk, key, desk.own(case) if case is not None else None, **told)

    return run


def _lost(future: Future[Any]) -> bool:
    """Whether nothing will come of it: dropped, or its process was killed."""
    if future.cancelled():
        return True
    return future.done() and isinstance(future.exception(), BrokenExecutor)
