"""What a policy knows at one moment of a case, and the step that it takes next.

May import: decision, casebook, basics.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diag.basics import Place
from diag.casebook import Answer, Case, Measured
from diag.decision import Job

__all__ = ["CheckStep", "RepairStep", "Step", "asked_in", "told_key", "with_found"]


@dataclass(frozen=True)
class RepairStep:
    """Repair now: the jobs, the way of acting at later failures (none: the usual), and the total that the policy
    expects from here on (none where it does not reckon)."""

    jobs: tuple[Job, ...]
    later: tuple[str, ...] | None = None
    expected: float | None = None


@dataclass(frozen=True)
class CheckStep:
    """A check to do now: its full cost in the currency, what it opens, and the repair if there were no check."""

    check: str
    place: Place
    cost: float
    opens: tuple[tuple[str, str], ...]
    repair: RepairStep


Step = CheckStep | RepairStep


def asked_in(case: Case) -> set[tuple[str, Place, str | None]]:
    """Every question that was answered: (item, place, condition)."""
    found = {(each.item, each.place, each.condition) for epoch in case.epochs for each in epoch.answers}
    return found | {(each.item, each.place, each.condition) for epoch in case.epochs for each in epoch.measured}


def told_key(case: Case) -> tuple[frozenset[Answer], tuple[Measured, ...], frozenset[tuple[str, str]]]:
    """Equal for cases of one start in which the same was found and the same is open."""
    latest = case.epochs[-1]
    measured = tuple(sorted(latest.measured, key=lambda each: (each.item, str(each.place), each.value)))
    return frozenset(latest.answers), measured, frozenset(case.open_access)


def with_found(case: Case, found: Sequence[Answer | Measured], opens: Sequence[tuple[str, str]]) -> Case:
    """The case with what a check brought, and with what it opened."""
    latest = case.epochs[-1]
    answers = tuple(each for each in found if isinstance(each, Answer))
    measured = tuple(each for each in found if isinstance(each, Measured))
    epoch = replace(latest, answers=(*latest.answers, *answers), measured=(*latest.measured, *measured))
    opened = tuple(dict.fromkeys((*case.open_access, *opens)))
    return replace(case, epochs=(*case.epochs[:-1], epoch), open_access=opened)
