"""The same question asked of one case many times, in several processes where that pays.

Answers do not depend on the number of processes. May import: basics, casebook, knowledge_base,
threadpoolctl, and `ground`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import TypeVar

from diag.basics import keep_freed, let_go, search_seldom, searched_seldom, unheard_interrupts
from diag.casebook import Case
from diag.doubt.ground import Ground, ground_of
from diag.knowledge_base import Knowledge

__all__ = ["ask_each", "default_workers"]

Question = TypeVar("Question")
Answer = TypeVar("Answer")

FEWEST = 4  # questions from which further processes pay
_HERE: list[Ground] = []


def default_workers() -> int:
    """As many processes as there are processors for this one, at most four."""
    return max(1, min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1))


def ask_each(
    ask: Callable[[Ground, Question], Answer], ground: Ground, questions: Sequence[Question], workers: int
) -> list[Answer]:
    """The answer to each question, in their order. `ask` is a function of a module, so that it can be sent."""
    from threadpoolctl import threadpool_limits

    # matrices are small: threads would wait for each other, and for other processes
    with searched_seldom(), threadpool_limits(1, "blas"):
        return _answers(ask, ground, questions, workers)


def _answers(
    ask: Callable[[Ground, Question], Answer], ground: Ground, questions: Sequence[Question], workers: int
) -> list[Answer]:
    if workers < 2 or len(questions) < FEWEST:
        return [ask(ground, question) for question in questions]
    chunk = max(1, len(questions) // (8 * workers))
    _HERE[:] = [ground]  # a forked process has it at once
    try:
        with ProcessPoolExecutor(workers, initializer=_prepare, initargs=(ground.knowledge, ground.case)) as pool:
            try:
                with unheard_interrupts():
                    answers = pool.map(partial(_asked, ask), questions, chunksize=chunk)
                return list(answers)
            except BaseException:
                let_go(pool)
                raise
    finally:
        _HERE.clear()


def _prepare(knowledge: Knowledge, case: Case) -> None:
    """Make the case ready where the process was not forked with it, and leave what it holds out of the search for
    garbage, which draws would start again and again."""
    if not _HERE:
        from threadpoolctl import threadpool_limits

        threadpool_limits(1, "blas")
        _HERE[:] = [ground_of(knowledge, case)]
    keep_freed()
    search_seldom()


def _asked(ask: Callable[[Ground, Question], Answer], question: Question) -> Answer:
    """A question put to the case of this process."""
    return ask(_HERE[0], question)
