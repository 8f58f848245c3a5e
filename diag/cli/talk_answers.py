"""What a typed line means: a word of command, an answer, a reading with its unit.

May import: `diag.basics`, casebook, knowledge_base.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from diag.basics import Place, UsageError, listed
from diag.casebook import (
    PRESENT,
    Case,
    Question,
    answer_id,
    answer_words,
    codes_told,
    read_quantity,
    with_answer,
    with_codes,
    with_measured,
)
from diag.knowledge_base import Knowledge

__all__ = ["Order", "Word", "read_order", "with_told"]


class Word(Enum):
    """The words of command; they work wherever something is asked."""

    HELP = "help"
    SKIP = "skip"
    NEXT = "next"
    WHY = "why"
    FAULTS = "faults"
    REPAIR = "repair"
    TELL = "tell"
    DID = "did"
    CANNOT = "cannot"
    SHUT = "shut"
    UNDO = "undo"
    SAVE = "save"
    DONE = "done"
    QUIT = "quit"


_TAKES_MORE = (Word.SAVE, Word.TELL, Word.DID, Word.WHY)
_SHORT = {"y": "yes", "n": "no", "none": "no", "?": "not sure", "unsure": "not sure", "not done": "not looked at"}


@dataclass(frozen=True)
class Order:
    """A word of command with what follows it."""

    word: Word
    rest: str = ""


def read_order(line: str) -> Order | None:
    """The word of command that a line is, or none."""
    first, _, rest = line.strip().partition(" ")
    word = next((word for word in Word if word.value == first.lower()), None)
    if word is None or (rest and word not in _TAKES_MORE and (word, rest.strip().lower()) != (Word.CANNOT, "do it")):
        return None
    return Order(word, rest.strip())


def with_told(case: Case, knowledge: Knowledge, question: Question, line: str) -> Case:
    """The case with what a line says in answer to a question. Raises UsageError where it says nothing that fits."""
    if question.codes:
        return _with_codes(case, knowledge, question, line)
    if question.item in knowledge.readings:
        for place, text in _values(question, line).items():
            case = with_measured(case, knowledge, question.item, place, text, question.condition)
        return case
    for place, word in _said(question, line, knowledge).items():
        case = with_answer(case, knowledge, question.item, place, word, question.condition)
    return case


def _said(question: Question, line: str, knowledge: Knowledge) -> dict[Place, str]:
    """What a line says of each place: `no`, or for several places `2`, `2, 3 not sure`, `2 yes, rest not looked`.

    Places that are only named are meant as 'yes', and then those that are not named as 'no'.
    """
    if len(question.places) == 1:
        return {question.places[0]: _whole_word(line, knowledge)}
    if _all_places(line.replace(",", " ").split(), question):
        named = {_place(word, question) for word in line.replace(",", " ").split()}
        return {place: "yes" if place in named else "no" for place in question.places}
    said: dict[Place, str] = {}
    rest: str | None = None
    for token in line.split(","):
        first, _, answer = token.strip().replace(":", " ", 1).partition(" ")
        if first.lower() == "rest" and answer:
            rest = _whole_word(answer, knowledge)
        elif _place(first, question) is not None:
            said[_place(first, question)] = _whole_word(answer, knowledge) if answer.strip() else "yes"
        elif token == line:
            rest = _whole_of_all(line, question, knowledge)
        else:
            raise UsageError(f"'{token.strip()}' names no place; write for example '2 yes, rest no'")
    unsaid = {place: rest for place in question.places if place not in said and rest is not None}
    return {**said, **unsaid}


def _whole_of_all(line: str, question: Question, knowledge: Knowledge) -> str:
    """One word about all places: `none`, `all`, `not sure`. A bare 'yes' does not say which."""
    word = {"none": "no", "all": "yes"}.get(line.strip().lower(), "")
    if word:
        return word
    answer = _whole_word(line, knowledge)
    if answer_id(answer, knowledge) == PRESENT:
        places = listed([str(place) for place in question.places], "and")
        raise UsageError(f"which of {places}? write for example '{question.places[-1]}', or 'all'")
    return answer


def _values(question: Question, line: str) -> dict[Place, str]:
    """The number of each place: `2.9 mg/stroke`; for several places `-0.3, 2.9, 0.1 mg/stroke` in their order, or by
    place as in `2: 2.9 mg/stroke`. One unit, wherever it stands, holds for the numbers without one; where there are
    several, each number needs its own. Raises UsageError."""
    tokens = [token.strip() for token in line.replace(";", ",").split(",") if token.strip()]
    if len(question.places) == 1 or not tokens:
        return {question.places[0]: line}
    by_place = [token.partition(":") for token in tokens]
    if all(colon and _place(place, question) is not None for place, colon, _ in by_place):
        named = [(_place(place, question), text.strip()) for place, _, text in by_place]
    elif len(tokens) == len(question.places):
        named = list(zip(question.places, tokens, strict=True))
    else:
        places = listed([str(place) for place in question.places], "and")
        raise UsageError(
            f"{len(question.places)} numbers are needed, of {places}, and here are {len(tokens)}; "
            f"or write for example '{question.places[-1]}: {tokens[-1]}'"
        )
    units = {text: read_quantity(text).unit for _, text in named}
    known = list(dict.fromkeys(filter(None, units.values())))
    bare = next((text for text, unit in units.items() if not unit), None)
    if bare is not None and len(known) > 1:
        raise UsageError(f"'{bare}' stands beside {listed(known, 'and')}; write each number with its unit")
    return {place: text if units[text] else f"{text} {''.join(known)}".strip() for place, text in named}


def _with_codes(case: Case, knowledge: Knowledge, question: Question, line: str) -> Case:
    """The codes that were read are present; those of the question that were not read are absent."""
    word = line.strip().lower()
    if word in ("not looked", "not looked at", "not done"):
        return case
    if not word:
        raise UsageError("write the codes that are stored, such as 'P0263 P0302 pending', or 'none'")
    return with_codes(case, knowledge, question.codes, codes_told(line))


def _all_places(words: list[str], question: Question) -> bool:
    return bool(words) and all(_place(word, question) is not None for word in words)


def _place(word: str, question: Question) -> Place:
    """The place of the question that a word names; none where it names none."""
    return next((place for place in question.places if str(place) == word.strip().upper()), None)


def _whole_word(line: str, knowledge: Knowledge) -> str:
    """The answer that a line means or begins. Raises UsageError where it is none, or where several would fit."""
    text = " ".join(line.lower().split())
    text = _SHORT.get(text, text)
    if answer_id(text, knowledge) is not None:
        return text
    names = [*answer_words(knowledge), *(soft.name.lower() for soft in knowledge.answers.values())]
    fitting = {answer_id(word, knowledge): word for word in names if text and word.startswith(text)}
    if len(fitting) == 1:
        return next(iter(fitting.values()))
    usual = listed(["yes", "no", "not sure", "not looked at", *(name.replace("_", " ") for name in knowledge.answers)])
    raise UsageError(f"'{line.strip()}' is no answer here; it can be {usual}")
