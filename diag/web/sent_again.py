"""What stood in a form that may be sent once more, in the words of its screen: after a restart it is looked at first.

May import: the rooms below, and within the room `asking`, `columns_typed`, `questions` and the words.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from diag.basics import UsageError
from diag.casebook import NUMBERING, lapses_at
from diag.knowledge_base import Knowledge
from diag.report import at_place, condition_words, place_words
from diag.web.asking import place_from
from diag.web.columns_typed import channel_words
from diag.web.questions import soft_answers
from diag.web.words import SAY
from diag.web.words_cases import CASES, CURED_SAID, SURE_SAID
from diag.web.words_classroom import CLASSROOM
from diag.web.words_columns import COLUMNS
from diag.web.words_counter import COUNTER
from diag.web.words_vehicle import VEHICLE

__all__ = ["LABELS", "TOGETHER", "UNSAID", "entry_words"]

Fields = Sequence[tuple[str, str]]
UNSAID = frozenset({"on", "here", "to", "language", "token", "kept", "heads"})
"""Fields that nobody filled in: they say where the form stood."""
TOGETHER = frozenset({"item", "place", "under", "answer", "value", "unit", "bound", "clear"})
"""Fields of one answer or reading, which make one line."""


def _short(label: str) -> str:
    """A label without the example that it gives: `Distance` of `Distance, such as 187000 km`."""
    return label.partition(", such as")[0]


LABELS: Mapping[str, str] = MappingProxyType(
    {
        "title": SAY["begin_title"],
        "engine": SAY["engine"],
        "distance": _short(VEHICLE["distance"]),
        "age": _short(VEHICLE["age"]),
        "demo": SAY["demo"],
        "by": SAY["name"],
        "name": CLASSROOM["name"],
        "look": SAY["look"],
        "code": SAY["pair_code"],
        "codes": SAY["codes"],
        "all": SAY["codes_all"],
        "repair": SAY["tried_what"],
        "place": SAY["tried_where"],
        "at": SAY["tried_where"],
        "other": VEHICLE["other"],
        "helped": SAY["tried_helped"],
        "fault": SAY["tried_fault"],
        "but": SAY["tried_but"],
        "check": SAY["next"],
        "again": SAY["can_again"],
        "reading": SAY["log"],
        "channel": COLUMNS["column_is"],
        "column_unit": COLUMNS["column_unit"],
        "warm": COLUMNS["warm"],
        "numbering": VEHICLE["numbering"],
        "earlier": VEHICLE["before_which"],
        "months": _short(VEHICLE["months"]),
        "km": _short(VEHICLE["km"]),
        "note": VEHICLE["note"],
        "which": VEHICLE["change"],
        "remove": VEHICLE["remove"],
        "part": VEHICLE["trim_part"],
        "unit": VEHICLE["trim_unit"],
        "part_before": VEHICLE["trim_part_before"],
        "unit_before": VEHICLE["trim_unit_before"],
        "cured": CASES["cured"],
        "time": _short(CASES["time"]),
        "cost": _short(CASES["cost"]),
        "text": CASES["remark"],
        "found": CASES["was_found"],
        "found_where": CASES["where"],
        "sure": CASES["sure"],
        "fitted": CASES["was_fitted"],
        "fitted_where": CASES["fitted_where"],
        "option": COUNTER["compare"],
        "chosen": COUNTER["choose_what"],
        "study": CLASSROOM["studies"],
        "book": CLASSROOM["closed"],
        "class": CLASSROOM["which_class"],
        "count": CLASSROOM["wish_count"],
        "faults": CLASSROOM["wish_faults"],
        "grade": CLASSROOM["wish_grade"],
        "misleading": CLASSROOM["wish_misleading"],
        "history": CLASSROOM["wish_history"],
        "component": CLASSROOM["component"],
        "chance": CLASSROOM["chance"],
        "job": SAY["tried_what"],
        "told": CLASSROOM["told"],
        "how": "",
    }
)
"""What each field is called where it is filled in; those that stand once for each row hold `{number}`."""
_ACTS: Mapping[str, str] = MappingProxyType(
    {
        "undo": SAY["undo"],
        "shut": SAY["shut"],
        "reopen": CASES["reopen"],
        "cannot": SAY["cannot"],
        "close": CASES["close"],
        "end": CLASSROOM["end"],
        "next": CLASSROOM["next_case"],
    }
)


def entry_words(knowledge: Knowledge, path: str, fields: Fields) -> tuple[str, ...]:
    """One line for each thing that the form of this address says, as its screen words it; what is not known to the
    knowledge stands as it was sent."""
    act = path.rsplit("/", 1)[-1]
    lines = [_ACTS[act]] if act in _ACTS else []
    one = dict(fields)
    if "item" in one and ("answer" in one or "value" in one):
        return (*lines, _told(knowledge, one))
    units = {name.removesuffix(":unit"): value for name, value in fields if name.endswith(":unit")}
    for name, value in fields:
        said = name not in UNSAID and not name.endswith(":unit") and not (act == "undo" and name == "at")
        if said and (value or name == "chosen"):
            lines.append(_line(knowledge, path, name, value, units))
    return tuple(lines)


def _told(knowledge: Knowledge, one: Mapping[str, str]) -> str:
    """One answer or reading: `chuffing, when cold, cylinder 2: there`."""
    asked = _asked(knowledge, one["item"], one.get("place", "vehicle"), one.get("under", ""))
    if one.get("clear"):
        return f"{asked}: {SAY['clear']}"
    if "answer" in one:
        return f"{asked}: {_answer(knowledge, one['answer'])}"
    return f"{asked}: {' '.join(filter(None, (one.get('bound', ''), one['value'], one.get('unit', ''))))}"


def _asked(knowledge: Knowledge, item: str, place: str, under: str) -> str:
    known = knowledge.readings.get(item) or knowledge.findings.get(item)
    name = known.name if known is not None else item
    words = condition_words(knowledge, under or None)
    return _at(f"{name}, {words}" if words else name, place)


def _at(text: str, place: str) -> str:
    """The same with its place, where that is one."""
    try:
        return at_place(text, place_from(place))
    except UsageError:
        return f"{text}, {place}" if place else text


def _answer(knowledge: Knowledge, answer: str) -> str:
    plain = {"present": "there", "absent": "not_there", "not_sure": "not_sure", "not_looked": "not_looked"}
    if answer in plain or answer == "clear":
        return SAY[plain.get(answer, answer)]
    return {each.id: each.words for each in soft_answers(knowledge)}.get(answer, answer)


def _line(knowledge: Knowledge, path: str, name: str, value: str, units: Mapping[str, str]) -> str:
    """One field that was filled in."""
    stem, _, rest = name.partition(":")
    if rest and stem in ("part", "unit", "part_before", "unit_before"):
        return f"{VEHICLE['trim_label'].format(what=LABELS[stem], number=rest)}: {value}"
    if rest:  # a check's own form: item, place and condition
        place, _, under = rest.partition(":")
        said = f"{value} {units[stem]}" if stem in units else _answer(knowledge, value)
        return f"{_asked(knowledge, stem, place, under)}: {said}"
    row = name[len(name.rstrip("0123456789")) :]
    stem = name[: len(name) - len(row)]
    if stem == "fault" and path.startswith("/classroom"):
        stem = "component"
    words = _VALUES[stem](knowledge, value) if stem in _VALUES else value
    label = LABELS.get(stem, stem).format(number=row)
    if value == "yes" and stem in ("all", "again", "history", "warm"):
        return label
    return f"{label}: {words}" if label else words


def _work(knowledge: Knowledge, text: str) -> str:
    """A repair or a check with the place it is done at, as `reseal@2` or `reseal`."""
    name, _, place = text.partition("@")
    known = knowledge.repairs.get(name) or knowledge.checks.get(name)
    return _at(known.name if known is not None else name, place)


def _fault(knowledge: Knowledge, text: str) -> str:
    """A fault as closing a case writes it: `seal weeping 2`."""
    name, _, rest = text.partition(" ")
    state, _, place = rest.partition(" ")
    known = knowledge.components.get(name)
    if known is None:
        return text
    named = known.states.get(state)
    return _at(f"{known.name}: {named.name}" if named is not None else known.name, place)


def _where(_: Knowledge, text: str) -> str:
    try:
        return place_words(place_from(text))
    except UsageError:
        return text


def _reading(knowledge: Knowledge, text: str) -> str:
    """A reading out of a log, as the page sends it back."""
    try:
        item, place, value = json.loads(text)
    except (ValueError, TypeError, RecursionError):
        return text
    return f"{_asked(knowledge, str(item), 'vehicle' if place is None else str(place), '')}: {value}"


def _lapse(knowledge: Knowledge, text: str) -> str:
    return lapses_at(knowledge, knowledge.repairs).get(text, text)


def _numbering(knowledge: Knowledge, text: str) -> str:
    known = knowledge.components.get(NUMBERING)
    return known.states[text].name if known is not None and text in known.states else text


def _engine(knowledge: Knowledge, text: str) -> str:
    return knowledge.engines[text].name if text in knowledge.engines else text


_VALUES: Mapping[str, Callable[[Knowledge, str], str]] = MappingProxyType(
    {
        "repair": _work,
        "fitted": _work,
        "check": _work,
        "job": _work,
        "found": _fault,
        "component": _fault,
        "place": _where,
        "at": _where,
        "other": _where,
        "found_where": _where,
        "fitted_where": _where,
        "reading": _reading,
        "channel": channel_words,
        "but": _lapse,
        "engine": _engine,
        "cured": lambda _, text: CURED_SAID.get(text, text),
        "sure": lambda _, text: SURE_SAID.get(text, text),
        "chosen": lambda _, text: text or COUNTER["choose_none"],
        "how": lambda _, text: CLASSROOM[text] if text in ("fit", "plan") else text,
        "look": lambda _, text: SAY.get(f"look_{text}", text),
        "numbering": _numbering,
        "study": lambda _, text: text.replace("_", " "),
        "demo": lambda _, text: text.replace("_", " "),
    }
)
