"""What can be told at a place of the vehicle, grouped by the check that brings it, with what was told already.

May import: the rooms below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from diag.basics import Place, UsageError
from diag.casebook import NOT_LOOKED, Case, Question, check_questions, is_code, item_places, scope_of
from diag.knowledge_base import Knowledge, units_like
from diag.report import EvidenceLine, condition_words, evidence_lines
from diag.web.words import SAY

__all__ = ["Asked", "Group", "SoftAnswer", "asked_at", "asked_by_check", "asked_of", "soft_answers", "told_lines"]

_OF_CODES_ALONE = ("pending", "gone_for_a_while")
_OPEN_GROUPS = 2


@dataclass(frozen=True)
class Asked:
    """One question at one place. `answer` is the id of what was answered, `said` the same in words; `values` the
    readings that stand there, in words; `units` those that a reading may be typed in, its own first."""

    item: str
    place: Place
    under: str
    name: str
    ask: str
    reading: bool
    answer: str
    said: str
    values: tuple[str, ...]
    units: tuple[str, ...]
    decimals: int
    danger: tuple[str, ...]

    @property
    def key(self) -> str:
        """Its name among the fields of a form."""
        return f"{self.item}:{'vehicle' if self.place is None else self.place}:{self.under}"

    @property
    def told(self) -> bool:
        """Whether anything was told."""
        return bool(self.values) or self.answer not in ("", NOT_LOOKED)


@dataclass(frozen=True)
class Group:
    """Questions that one check answers; `check` is empty for what the customer tells."""

    check: str
    title: str
    asked: tuple[Asked, ...]
    open: bool

    @property
    def told(self) -> int:
        """How many of them were answered."""
        return sum(each.told for each in self.asked)


@dataclass(frozen=True)
class SoftAnswer:
    """An answer between present and absent: its id and its words."""

    id: str
    words: str


def soft_answers(knowledge: Knowledge) -> tuple[SoftAnswer, ...]:
    """Those that people give, strongest 'for' first."""
    known = {id_: each for id_, each in knowledge.answers.items() if id_ not in _OF_CODES_ALONE}
    strongest = sorted(known, key=lambda id_: -known[id_].ratio.value)
    return tuple(SoftAnswer(id_, known[id_].name) for id_ in strongest)


def asked_at(knowledge: Knowledge, case: Case, place: Place, first: Sequence[str] = ()) -> tuple[Group, ...]:
    """Everything that can be told at a place. `first`: checks that come first, as they are worth most now."""
    groups = []
    lines = told_lines(knowledge, case)
    asked_before: set[tuple[str, str]] = set()
    customers = _of_customers(knowledge, place)
    if customers:
        groups.append(Group("", SAY["told_by_customer"], _asked(knowledge, case, place, customers, lines), True))
        asked_before |= set(customers)
    order = sorted(knowledge.checks, key=lambda check: first.index(check) if check in first else len(first))
    for check_id in order:
        check = knowledge.checks[check_id]
        wanted = [
            (each.item, each.under or "")
            for each in check.yields
            if place in item_places(knowledge, each.item, case) and not is_code(knowledge, each.item)
        ]
        wanted = [each for each in dict.fromkeys(wanted) if each not in asked_before]
        if not wanted or check.only_injector not in (None, case.engine.injector):
            continue
        asked_before |= set(wanted)
        asked = _asked(knowledge, case, place, wanted, lines)
        groups.append(Group(check_id, check.name, asked, any(each.told for each in asked)))
    return tuple(_opened(groups))


def _opened(groups: list[Group]) -> list[Group]:
    """The groups that were begun stand open, and the first ones."""
    return [
        Group(each.check, each.title, each.asked, each.open or number < _OPEN_GROUPS)
        for number, each in enumerate(groups)
    ]


def _of_customers(knowledge: Knowledge, place: Place) -> list[tuple[str, str]]:
    """What people tell of themselves, of a place of that kind."""
    scope = "vehicle" if place is None else "cylinder" if isinstance(place, int) else "bank"
    return [
        (item, "")
        for item, finding in knowledge.findings.items()
        if finding.kind == "symptom" and scope_of(knowledge, item) == scope and place is None
    ]


def asked_by_check(knowledge: Knowledge, case: Case, check: str, place: Place) -> tuple[tuple[Question, ...], bool]:
    """The questions of one doing of a check, those already answered too, and whether it reads codes."""
    questions = check_questions(knowledge, knowledge.checks[check], place, case, answered_too=True)
    return questions, any(question.codes for question in questions)


def _asked(
    knowledge: Knowledge,
    case: Case,
    place: Place,
    wanted: Sequence[tuple[str, str]],
    lines: Sequence[EvidenceLine],
) -> tuple[Asked, ...]:
    return tuple(asked_of(knowledge, case, item, place, under, lines) for item, under in wanted)


def told_lines(knowledge: Knowledge, case: Case) -> tuple[EvidenceLine, ...]:
    """What was told since the last repair, in words."""
    return evidence_lines(knowledge, replace(case, history=(), epochs=case.epochs[-1:]))


def asked_of(
    knowledge: Knowledge,
    case: Case,
    item: str,
    place: Place,
    under: str = "",
    lines: Sequence[EvidenceLine] | None = None,
) -> Asked:
    """One question, with what was told already (`lines`, where known). Raises UsageError where there is none."""
    if item not in knowledge.findings and item not in knowledge.readings:
        raise UsageError("there is no such question at this place")
    if place not in item_places(knowledge, item, case):
        raise UsageError("there is no such question at this place")
    if under and under not in {str(each) for each in knowledge.vocabulary.conditions}:
        raise UsageError(f"there is no condition '{under[:40]}'")
    reading, finding = knowledge.readings.get(item), knowledge.findings.get(item)
    name = reading.name if reading is not None else finding.name if finding is not None else item
    words = condition_words(knowledge, under or None)
    latest = case.epochs[-1]
    answer = next(
        (each for each in latest.answers if (each.item, each.place, each.condition or "") == (item, place, under)), None
    )
    told = lines if lines is not None else told_lines(knowledge, case)
    title = f"{name}, {words}" if words else name
    return Asked(
        item=item,
        place=place,
        under=under,
        name=title,
        ask=(reading or finding).ask if (reading or finding) is not None else "",  # type: ignore[union-attr]
        reading=reading is not None,
        answer=answer.answer if answer is not None else "",
        said=next((line.said for line in told if (line.what, line.place, line.unit) == (title, place, "")), ""),
        values=tuple(line.said for line in told if line.unit and (line.what, line.place) == (title, place)),
        units=_units(reading.unit, tuple(reading.other_units)) if reading is not None else (),
        decimals=reading.decimals if reading is not None else 0,
        danger=finding.danger if finding is not None else (),
    )


def _units(own: str, others: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((own, *others, *units_like(own))))
