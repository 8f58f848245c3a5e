"""What was told of a case and stands now; of it, what is dangerous.

What was told stays until it is told to be gone: 'better' or 'not looked at' takes nothing back.
May import: `diag.knowledge_base`, and the records of this room.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from diag.basics import Place
from diag.casebook.cases import ABSENT, PRESENT, Case, Measured
from diag.knowledge_base import Engine, Knowledge, Reading, convert

__all__ = ["DangerTold", "dangers_told", "still_there"]

_AS_GOOD_AS_ABSENT = 0.05  # a soft answer that is given so much less often where it is there; 'clearly not' is one


@dataclass(frozen=True)
class DangerTold:
    """A finding of danger that was told to be there, be it softly, or a reading beyond what is safe.

    `answer`: as it was told; empty for a reading, for which `above` says what it is beyond, in the reading's unit.
    `places`: where it was told.
    """

    item: str
    answer: str = ""
    above: float = 0.0
    places: tuple[Place, ...] = (None,)

    def cautions(self, knowledge: Knowledge) -> tuple[str, ...]:
        """Ids of the cautions that it brings."""
        return (knowledge.findings.get(self.item) or knowledge.readings[self.item]).danger


def dangers_told(knowledge: Knowledge, case: Case) -> tuple[DangerTold, ...]:
    """What is dangerous now by what was told, each finding and reading once; findings first."""
    found: dict[str, DangerTold] = {}
    for each in (*_found(knowledge, case), *_measured(knowledge, case)):
        before = found[each.item].places if each.item in found else ()
        found[each.item] = replace(each, places=tuple(dict.fromkeys((*before, *each.places))))
    return tuple(found.values())


def still_there(knowledge: Knowledge, case: Case) -> dict[tuple[str, Place, str | None], str]:
    """What was told to be there, be it softly, and not to be gone since: (finding, place, condition) and the answer."""
    there: dict[tuple[str, Place, str | None], str] = {}
    for answer in (answer for epoch in case.epochs for answer in epoch.answers):
        if answer.item in knowledge.findings:
            where = (answer.item, answer.place, answer.condition)
            if answer.answer == PRESENT or _ratio(knowledge, answer.answer) > 1:
                there[where] = answer.answer
            elif answer.answer == ABSENT or _ratio(knowledge, answer.answer) <= _AS_GOOD_AS_ABSENT:
                there.pop(where, None)
    return there


def _found(knowledge: Knowledge, case: Case) -> Iterator[DangerTold]:
    for (item, place, _), said in still_there(knowledge, case).items():
        if knowledge.findings[item].danger:
            yield DangerTold(item, said, places=(place,))


def _ratio(knowledge: Knowledge, answer: str) -> float:
    soft = knowledge.answers.get(answer)
    return soft.ratio.value if soft is not None else 1.0


def _measured(knowledge: Knowledge, case: Case) -> Iterator[DangerTold]:
    last: dict[tuple[str, Place, str | None], Measured] = {}
    for measured in (measured for epoch in case.epochs for measured in epoch.measured):
        last[measured.item, measured.place, measured.condition] = measured
    for (item, place, _), measured in last.items():
        most = _most(knowledge.readings[item], case.engine) if item in knowledge.readings else None
        if most is not None and _is_above(measured, most):
            yield DangerTold(item, above=most, places=(place,))


def _is_above(measured: Measured, most: float) -> bool:
    if measured.censored == "":
        return measured.value > most
    return measured.censored == "above" and measured.value >= most


def _most(reading: Reading, engine: Engine) -> float | None:
    """The most that is safe: the engine's limit, else what the knowledge says; none where no value is a danger."""
    if not reading.danger:
        return None
    limit = engine.limits.get(reading.limit or "")
    if limit is None or limit.value is None:
        return reading.danger_above
    return convert(limit.value, limit.unit, reading.unit)
