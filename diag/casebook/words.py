"""The words of a case file, and where on the vehicle a finding, reading or repair belongs.

May import: `diag.basics` and the records of `diag.knowledge_base`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import get_args

from diag.basics import Place, UsageError, did_you_mean
from diag.casebook.cases import ABSENT, NOT_LOOKED, NOT_SURE, PRESENT, Fault, Helped
from diag.knowledge_base import Condition, Engine, Knowledge, Repair, Scope

__all__ = [
    "CONDITIONS",
    "FAULTS",
    "HELPED",
    "HELPED_ANSWERS",
    "PLAIN_ANSWERS",
    "access_without_minutes",
    "answer_id",
    "answer_words",
    "lapses_at",
    "lapses_named",
    "other_fault",
    "place_fault",
    "place_words",
    "scope_of",
    "split_condition",
]

CONDITIONS: tuple[str, ...] = get_args(Condition)
HELPED: dict[str, Helped] = {
    "no": "no",
    "not at all": "no",
    "same": "no",
    "partly": "partly",
    "better": "partly",
    "yes": "yes",
    "gone": "yes",
    "for a while": "for_a_while",
    "for_a_while": "for_a_while",
    "for a week": "for_a_while",
    "worse": "worse",
    "other": "other",
}
HELPED_ANSWERS: dict[Helped, str] = {
    "no": PRESENT,
    "worse": PRESENT,
    "yes": ABSENT,
    "partly": "better",
    "other": "something_else",
}
"""What each word says of the symptoms that were there before: a plain answer, or a soft one of the knowledge."""
FAULTS: dict[str, Fault] = {
    "moved": "moved",
    "moved along": "moved",
    "stayed": "stayed",
    "did not move": "stayed",
    "gone": "gone",
}
PLAIN_ANSWERS: dict[str, str] = {
    "present": PRESENT,
    "yes": PRESENT,
    "absent": ABSENT,
    "no": ABSENT,
    "not sure": NOT_SURE,
    "not looked at": NOT_LOOKED,
    "not looked": NOT_LOOKED,
}


def scope_of(knowledge: Knowledge, item: str) -> Scope:
    """Whether a finding or reading is asked of each cylinder, each bank or the vehicle: as what it shows is."""
    entry = knowledge.findings[item] if item in knowledge.findings else knowledge.readings[item]
    if entry.shows in knowledge.severities:
        return knowledge.severities[entry.shows].per
    return knowledge.components[entry.shows].per


def answer_id(word: str, knowledge: Knowledge) -> str | None:
    """The answer that a word means, as it is stored: plain answers, ids and names of soft ones; none if unknown.

    Capitals, and spaces or dashes for underlines, make no difference.
    """
    spaced = _spaced(word)
    if spaced in PLAIN_ANSWERS:
        return PLAIN_ANSWERS[spaced]
    soft = (name for name, answer in knowledge.answers.items() if spaced in (_spaced(name), _spaced(answer.name)))
    return next(soft, None)


def answer_words(knowledge: Knowledge) -> tuple[str, ...]:
    """All words that may stand as an answer, one for each answer, in the order in which people use them."""
    plain = ("present", "absent", "not sure", "not looked at", "yes", "no")
    return (*plain, *(spaced for name in knowledge.answers if (spaced := _spaced(name)) not in PLAIN_ANSWERS))


def _spaced(word: str) -> str:
    return " ".join(word.lower().replace("_", " ").replace("-", " ").split())


def split_condition(key: str) -> tuple[str, str | None]:
    """`chuff under load` is the finding 'chuff' under the condition 'load'."""
    item, under, condition = key.partition(" under ")
    return item.strip(), condition.strip() if under else None


def place_words(place: Place) -> str:
    """A place for a sentence: 'cylinder 2', 'bank A', 'the vehicle'."""
    if place is None:
        return "the vehicle"
    return f"cylinder {place}" if isinstance(place, int) else f"bank {place}"


def place_fault(engine: Engine, scope: Scope, place: Place) -> tuple[str, str] | None:
    """What is wrong with a place for something of this scope, and what would be right; none where it fits."""
    if scope == "vehicle":
        return None if place is None else (f"it is of the whole vehicle, not of {place_words(place)}", "leave that out")
    if scope == "cylinder":
        numbers = engine.cylinders
        if isinstance(place, int) and not isinstance(place, bool):
            if place in numbers:
                return None
            return f"there is no cylinder {place} in this engine", f"it has cylinders {numbers[0]} to {numbers[-1]}"
        return "it needs a cylinder's number", f"the engine has cylinders {numbers[0]} to {numbers[-1]}"
    if isinstance(place, str):
        if place in engine.banks:
            return None
        return f"there is no bank '{place}' in this engine", did_you_mean(place, engine.banks)
    return "it needs a bank's letter", did_you_mean("", engine.banks)


def other_fault(engine: Engine, repair: Repair, place: Place, other: int | None) -> tuple[str, str] | None:
    """What is wrong with the second cylinder of work, and what would be right; none where it fits."""
    if not repair.moves:
        return None if other is None else (f"'{repair.name}' moves nothing to another cylinder", "leave that out")
    numbers = engine.cylinders
    if len(numbers) == 1:
        return "there is no other cylinder to exchange with", "this engine has only one"
    example = next(each for each in numbers if each != place)
    if other is None:
        return "it does not say with which cylinder the exchange was made", f"write 'with: {example}'"
    if other not in numbers:
        return f"there is no cylinder {other} in this engine", f"it has cylinders {numbers[0]} to {numbers[-1]}"
    if other == place:
        return f"cylinder {other} cannot be exchanged with itself", f"write for example 'with: {example}'"
    return None


def access_without_minutes(knowledge: Knowledge, engine: Engine, accesses: Iterable[str]) -> tuple[str, ...]:
    """Kinds of access that these open, with all that they include, and of which the engine's file has no minutes, so
    that neither time nor money is reckoned for opening them."""
    kinds, needed, waiting = knowledge.vocabulary.access, set[str](), [*accesses]
    while waiting:
        kind = waiting.pop()
        if kind in kinds and kind not in needed:
            needed.add(kind)
            waiting += kinds[kind].includes
    return tuple(kind for kind in kinds if kind in needed and kind not in engine.access_minutes)


def lapses_at(knowledge: Knowledge, repairs: Iterable[str]) -> dict[str, str]:
    """What can be left undone at these repairs: ids of lapses and their names."""
    touched = {
        component
        for repair in repairs
        for component in (
            *knowledge.repairs[repair].renews,
            *knowledge.repairs[repair].disturbs,
            *knowledge.repairs[repair].moves,
        )
    }
    return {
        lapse: known.name
        for name, component in knowledge.components.items()
        if name in touched
        for lapse, known in component.lapses.items()
    }


def lapses_named(knowledge: Knowledge, repair: str, text: str) -> tuple[str, ...]:
    """The lapses at a repair that a text names, by id or name or how these begin, several by commas.

    Raises UsageError for what is none, or could be several.
    """
    fitting, found = lapses_at(knowledge, [repair]), list[str]()
    words = {spaced: lapse for lapse, name in fitting.items() for spaced in (lapse.replace("_", " "), name.lower())}
    for part in filter(str.strip, text.split(",")):
        word = _spaced(part)
        meant = {words[word]} if word in words else {lapse for known, lapse in words.items() if known.startswith(word)}
        if len(meant) != 1:
            hint = did_you_mean(word, [name.lower() for name in fitting.values()], most=8)
            raise UsageError(f"'{part.strip()}' is nothing that can be left undone at this work; {hint}")
        found += meant
    return tuple(dict.fromkeys(found))
