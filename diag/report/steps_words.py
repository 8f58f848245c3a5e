"""A step of work in words: what only the engine can say is filled in, or left as a blank. May import: words."""

from __future__ import annotations

from collections.abc import Iterable

from diag.knowledge_base import Engine, Knowledge, WorkStep
from diag.report.words import MAKERS_VALUE
from diag.report.words_work import STEPS

__all__ = ["step_words", "steps_words"]


def step_words(step: WorkStep, engine: Engine | None) -> str:
    """What is done, with the engine's waiting time and form of the trim code; blanks where they are not known."""
    wait = engine.wait_after_stop_minutes if engine is not None else None
    length = engine.trim_code.length if engine is not None else None
    alphabet = engine.trim_code.alphabet if engine is not None else None
    return step.do.format(
        wait=STEPS["wait_blank"] if wait is None else STEPS["wait"].format(minutes=wait),
        code_length=MAKERS_VALUE if length is None else length,
        code_alphabet=alphabet or MAKERS_VALUE,
    )


def steps_words(knowledge: Knowledge, steps: Iterable[str], engine: Engine | None = None) -> tuple[str, ...]:
    """The same for several steps by id."""
    return tuple(step_words(knowledge.steps[name], engine) for name in steps)
