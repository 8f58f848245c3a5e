"""Takes the readings of a log into a case, by the casebook's own edits. May import: `diag.basics`, `diag.casebook`."""

from __future__ import annotations

from collections.abc import Sequence

from diag.basics import UsageError
from diag.casebook import Case, with_measured
from diag.knowledge_base import Knowledge
from diag.logs.result import LogReading

__all__ = ["with_log"]


def with_log(case: Case, knowledge: Knowledge, readings: Sequence[LogReading]) -> Case:
    """The case with every reading that may be taken, in its latest epoch.

    Raises UsageError where there is none, or where these very readings stand there already: a log counts once.
    """
    taken = [reading for reading in readings if not reading.why_not]
    if not taken:
        raise UsageError("the log gives no reading that can be taken into a case; the table of readings says why")
    before = set(case.epochs[-1].measured)
    for reading in taken:
        case = with_measured(case, knowledge, reading.item, reading.place, reading.for_case)
    added = case.epochs[-1].measured[-len(taken) :]
    if all(each in before for each in added):
        raise UsageError("the readings of this log are already in the case; it was left as it is")
    return case
