"""What a case of the book tells of and the knowledge does not have, as where an overlay was left out.

May import: the records of `diag.casebook` and `diag.knowledge_base`, and within the room the records.
"""

from __future__ import annotations

from collections.abc import Iterator

from diag.casebook import ABSENT, NOT_LOOKED, NOT_SURE, PRESENT, Case
from diag.knowledge_base import Knowledge
from diag.store.records import Outcome

__all__ = ["lacking_of_case", "lacking_of_outcome"]

_PLAIN = frozenset((PRESENT, ABSENT, NOT_SURE, NOT_LOOKED))


def lacking_of_case(case: Case, knowledge: Knowledge) -> Iterator[str]:
    """The ids of findings, answers, readings, work, lapses, checks and accesses that the knowledge does not have."""
    for epoch in case.epochs:
        for answer in epoch.answers:
            if answer.item not in knowledge.findings:
                yield answer.item
            if answer.answer not in _PLAIN and answer.answer not in knowledge.answers:
                yield answer.answer
        yield from (each.item for each in epoch.measured if each.item not in knowledge.readings)
    work = [each for part in (case.history, *(epoch.work for epoch in case.epochs)) for each in part]
    yield from (each.repair for each in work if each.repair not in knowledge.repairs)
    left = {lapse for each in work for lapse in each.but}
    if left:
        yield from sorted(left - {lapse for component in knowledge.components.values() for lapse in component.lapses})
    yield from (check for check in case.cannot if check not in knowledge.checks)
    yield from (kind for kind, _ in case.open_access if kind not in knowledge.vocabulary.access)


def lacking_of_outcome(outcome: Outcome, knowledge: Knowledge) -> Iterator[str]:
    """The ids of faults that were found which the knowledge does not have."""
    for found in outcome.found:
        component = knowledge.components.get(found.component)
        if component is None:
            yield found.component
        elif found.state not in component.states:
            yield f"{found.component}:{found.state}"
