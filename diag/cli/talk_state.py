"""The state of a session: the case so far and the steps that led to it. Changing it gives a new one.

May import: `diag.basics`, casebook and knowledge_base, and within the room `pasting`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from diag.basics import Place
from diag.casebook import Case
from diag.cli.pasting import WorkedWith
from diag.knowledge_base import Knowledge

__all__ = ["Step", "Talk"]


@dataclass(frozen=True)
class Step:
    """One step back: what was done, and the case as it was before."""

    what: str
    before: Case


@dataclass(frozen=True)
class Talk:
    """A session. `path`: the file that 'save' writes; none for a demo case or a new one. `left_out`: checks that were
    passed over, as (check, place). `given`: what a command to go on with needs."""

    knowledge: Knowledge
    case: Case
    path: Path | None = None
    steps: tuple[Step, ...] = ()
    saved: Case | None = None
    left_out: tuple[tuple[str, Place], ...] = ()
    given: WorkedWith = field(default_factory=WorkedWith)

    @property
    def onward(self) -> Callable[[str], str]:
        """What makes the command of a word about the case: by its file, where that holds all of it."""
        return self.given.on(str(self.path) if self.path is not None and not self.unsaved else None)

    @property
    def unsaved(self) -> bool:
        """Whether there is anything that 'save' would keep, an 'undo' of what was saved among it."""
        return bool(self.steps) if self.saved is None else self.case != self.saved

    def took(self, case: Case, what: str) -> Talk:
        """The session after a step."""
        return replace(self, case=case, steps=(*self.steps, Step(what, self.case)))

    def back(self) -> Talk:
        """The session before its last step; there must be one."""
        return replace(self, case=self.steps[-1].before, steps=self.steps[:-1], left_out=())

    def passing_over(self, check: str, place: Place) -> Talk:
        """The session with a check that is not to be offered for now."""
        return replace(self, left_out=(*self.left_out, (check, place)))
