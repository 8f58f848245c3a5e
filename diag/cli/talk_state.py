"""The state of a session: the case so far and the steps that led to it. Changing it gives a new one.

May import: `diag.basics`, casebook and knowledge_base.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from diag.basics import Place
from diag.casebook import NOT_LOOKED, Case, scope_of
from diag.knowledge_base import Check, Knowledge

__all__ = ["Question", "Step", "Talk", "check_questions", "is_code", "item_places"]


@dataclass(frozen=True)
class Step:
    """One step back: what was done, and the case as it was before."""

    what: str
    before: Case


@dataclass(frozen=True)
class Talk:
    """A session. `path`: the file that 'save' writes; none for a demo case or a new one. `left_out`: checks that were
    passed over, as (check, place)."""

    knowledge: Knowledge
    case: Case
    path: Path | None = None
    steps: tuple[Step, ...] = ()
    saved: Case | None = None
    left_out: tuple[tuple[str, Place], ...] = ()

    @property
    def unsaved(self) -> bool:
        """Whether there is anything that 'save' would keep."""
        return bool(self.steps) and self.case != self.saved

    def took(self, case: Case, what: str) -> Talk:
        """The session after a step."""
        return replace(self, case=case, steps=(*self.steps, Step(what, self.case)))

    def back(self) -> Talk:
        """The session before its last step; there must be one."""
        return replace(self, case=self.steps[-1].before, steps=self.steps[:-1], left_out=())

    def passing_over(self, check: str, place: Place) -> Talk:
        """The session with a check that is not to be offered for now."""
        return replace(self, left_out=(*self.left_out, (check, place)))


@dataclass(frozen=True)
class Question:
    """One finding or reading at one or more places, under a condition. Codes are asked all at once: then `item` is
    empty and `codes` holds the findings."""

    item: str
    places: tuple[Place, ...]
    condition: str | None = None
    codes: tuple[str, ...] = ()


def item_places(knowledge: Knowledge, item: str, case: Case) -> tuple[Place, ...]:
    """Where a finding or reading can be told: the cylinders, the banks, or the vehicle (none)."""
    scope = scope_of(knowledge, item)
    if scope == "cylinder":
        return case.engine.cylinders
    return tuple(case.engine.banks) if scope == "bank" else (None,)


def check_questions(knowledge: Knowledge, check: Check, place: Place, case: Case) -> tuple[Question, ...]:
    """What one doing of a check asks: codes first, all at once, then item by item; what is answered is left out."""
    codes = tuple(dict.fromkeys(each.item for each in check.yields if is_code(knowledge, each.item)))
    questions = [Question("", (place,), codes=codes)] if codes else []
    for brought in check.yields:
        if brought.item not in codes:
            places = tuple(
                where
                for where in item_places(knowledge, brought.item, case)
                if _covered(where, place, case) and not _answered(case, brought.item, where, brought.under)
            )
            if places:
                questions.append(Question(brought.item, places, brought.under))
    return tuple(questions)


def is_code(knowledge: Knowledge, item: str) -> bool:
    """Whether an item is a fault code."""
    return item in knowledge.findings and knowledge.findings[item].code is not None


def _covered(where: Place, done_at: Place, case: Case) -> bool:
    """Whether doing a check at one place tells about another: the vehicle holds all, a bank its cylinders."""
    if done_at is None or where is None or where == done_at:
        return True
    return isinstance(where, int) and isinstance(done_at, str) and case.engine.bank_of(where) == done_at


def _answered(case: Case, item: str, place: Place, condition: str | None) -> bool:
    """Whether a finding was answered since the last repair; a reading may be taken again."""
    asked = (item, place, condition)
    return any(
        (each.item, each.place, each.condition) == asked and each.answer != NOT_LOOKED
        for each in case.epochs[-1].answers
    )
