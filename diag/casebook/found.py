"""Reads the findings, fault codes and readings of one epoch of a case file.

May import: `diag.basics`, `diag.knowledge_base`, and within the room the records, words and the
codes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from diag.basics import Place, UsageError, did_you_mean, listed
from diag.casebook.cases import Answer, Measured, Written
from diag.casebook.codes_read import code_answers, no_other_codes
from diag.casebook.notebook import Notebook, Path, shown
from diag.casebook.reading_units import ReadingText, read_reading
from diag.casebook.words import CONDITIONS, answer_id, answer_words, place_words, scope_of, split_condition
from diag.knowledge_base import Key, Reading, Scope, Tree, same_unit

__all__ = ["CODELESS", "read_answers", "read_measured"]

CODELESS = ("", "1", "ratio", "count")  # units that need not be written
_Asked = tuple[str, Place, str | None]


def read_answers(book: Notebook, path: Path, block: dict[Key, Tree]) -> tuple[Answer, ...]:
    """The answers of `findings:` and `codes:` in one block, each question once, in the order of the file."""
    answers: dict[_Asked, tuple[Answer, Path]] = {}
    for answer, at in (
        *_answers(book, (*path, "findings"), block.get("findings")),
        *code_answers(book, (*path, "codes"), block.get("codes")),
    ):
        asked = (answer.item, answer.place, answer.condition)
        first = answers.setdefault(asked, (answer, at))
        if first[0].answer != answer.answer:
            line, column = book.document.place(first[1])
            under = f" under {answer.condition}" if answer.condition else ""
            what = f"'{answer.item}{under}' of {place_words(answer.place)}"
            message = (
                f"two answers to one question: {what} is {_told(answer)} here and {_told(first[0])} at line {line}"
            )
            book.complain(at, f"{message}, column {column}", "keep the one that is true, or write 'not sure'")
    told = tuple(replace(answer, at=_written(book, at)) for answer, at in answers.values())
    return (*told, *no_other_codes(book, (*path, "other_codes"), block.get("other_codes"), told))


def read_measured(book: Notebook, path: Path, value: Tree) -> tuple[Measured, ...]:
    """The readings of a `readings:` mapping (or list of such), in the order of the file."""
    return tuple(
        measured
        for item, condition, at, inside in _items(book, path, value, "readings", "rail_pressure_cranking: 180 bar")
        for place, where, number in _by_place(book, at, inside, item)
        for measured in _repeats(book, where, number, item, place, condition)
    )


def _written(book: Notebook, path: Path) -> Written:
    line, column = book.document.place(path)
    return Written(book.document.file, line, column)


def _told(answer: Answer) -> str:
    return f"'{answer.answer.replace('_', ' ')}'"


def _items(
    book: Notebook, path: Path, value: Tree, kind: str, example: str
) -> Iterator[tuple[str, str | None, Path, Tree]]:
    """Each known item with its condition, the path of its value, and the value. A list of mappings is one after
    another."""
    blocks = enumerate(value) if isinstance(value, list) else [(None, value)]
    known = {"findings": list(book.knowledge.findings), "readings": list(book.knowledge.readings)}
    other = "readings" if kind == "findings" else "findings"
    for index, block in blocks:
        around = path if index is None else (*path, index)
        for key, inside in book.mapping(around, block, example).items():
            at = (*around, key)
            item, condition = split_condition(str(key))
            if item in known[other]:
                book.complain(at, f"'{item}' does not belong here", f"write it under '{other}:'", of_key=True)
            elif book.known(at, item, kind.rstrip("s"), known[kind], of_key=True) and _fits(book, at, condition):
                yield item, condition, at, inside


def _fits(book: Notebook, path: Path, condition: str | None) -> bool:
    if condition is None or condition in CONDITIONS:
        return True
    hint = did_you_mean(condition, CONDITIONS)
    book.complain(path, f"there is no condition '{condition}'", hint, of_key=True)
    return False


# ---- findings -------------------------------------------------------------------------------------------------


def _answers(book: Notebook, path: Path, value: Tree) -> Iterator[tuple[Answer, Path]]:
    for item, condition, at, inside in _items(book, path, value, "findings", "rough_idle: present"):
        for place, where, word in _spread_out(book, at, inside, item):
            answer = _answer(book, where, word)
            if answer is not None:
                yield Answer(item, place, answer, condition), where


def _answer(book: Notebook, path: Path, word: Tree) -> str | None:
    answer = answer_id(word, book.knowledge) if isinstance(word, str) else None
    if answer is None:
        words = answer_words(book.knowledge)
        hint = did_you_mean(word, words, most=20) if isinstance(word, str) else f"it can be {listed(words)}"
        book.complain(path, f"{shown(word)} is no answer", hint)
    return answer


def _spread_out(book: Notebook, path: Path, value: Tree, item: str) -> Iterator[tuple[Place, Path, Tree]]:
    """Place, path and word of every answer; `{present: [2, 5], absent: [1]}` is turned round."""
    if not isinstance(value, dict) or scope_of(book.knowledge, item) == "vehicle":
        yield from _by_place(book, path, value, item)
        return
    for key, inside in value.items():
        if not _is_answer(book, key):
            yield from _by_place(book, path, {key: inside}, item)
            continue
        at = (*path, key)
        every: list[Tree] = [*book.every_place(scope_of(book.knowledge, item))]
        places: list[Tree] = every if inside == "all" else inside if isinstance(inside, list) else [inside]
        for index, written in enumerate(places):
            where = (*at, index) if isinstance(inside, list) else at
            place = _place(book, where, written, item, of_key=False)
            if place is not None and places.index(written) < index:
                book.complain(where, f"{shown(written)} stands twice in this list", "name each place once")
            elif place is not None:
                yield place, where, key


def _is_answer(book: Notebook, key: Key) -> bool:
    """Whether a key is an answer; the letter of a bank and the number of a cylinder are places."""
    is_bank = book.engine is not None and key in book.engine.banks
    return isinstance(key, str) and not is_bank and answer_id(key, book.knowledge) is not None


def _by_place(book: Notebook, path: Path, value: Tree, item: str) -> Iterator[tuple[Place, Path, Tree]]:
    """Place, path and value of everything that is said of one item."""
    scope = scope_of(book.knowledge, item)
    if scope == "vehicle":
        if isinstance(value, dict):
            message = f"'{item}' is of the whole vehicle, and has no places"
            book.complain(path, message, f"write '{_example(book, item, scope)}'")
        else:
            yield None, path, value
    elif not isinstance(value, dict):
        message = f"'{item}' is of each {scope}, and says of which"
        book.complain(path, message, f"write '{_example(book, item, scope)}'")
    else:
        for key, inside in value.items():
            place = _place(book, (*path, key), key, item, of_key=True)
            if place is not None:
                yield place, (*path, key), inside


def _place(book: Notebook, path: Path, written: Tree, item: str, of_key: bool) -> Place:
    """The cylinder or bank that is written, where the item can have it; else none, and a problem."""
    scope = scope_of(book.knowledge, item)
    return book.place(path, written, scope, f"write '{_example(book, item, scope)}'", of_key)


def _example(book: Notebook, item: str, scope: Scope) -> str:
    reading = book.knowledge.readings.get(item)
    value = "present" if reading is None else f"{reading.highest:g} {reading.unit}".strip()
    place = {"cylinder": "2", "bank": "A", "vehicle": ""}[scope]
    return f"{item}: {{{place}: {value}}}" if place else f"{item}: {value}"


# ---- readings -------------------------------------------------------------------------------------------------


def _repeats(
    book: Notebook, path: Path, value: Tree, item: str, place: Place, condition: str | None
) -> Iterator[Measured]:
    """One reading, or a list of several of the same thing."""
    numbers = enumerate(value) if isinstance(value, list) else [(None, value)]
    for index, number in numbers:
        at = path if index is None else (*path, index)
        reading = book.knowledge.readings[item]
        read = _reading(book, at, number, item, reading)
        if read is not None:
            yield Measured(
                item, place, read.value, reading.unit, read.censored, condition, read.error, read.at, read.at_unit
            )


def _reading(book: Notebook, path: Path, number: Tree, item: str, reading: Reading) -> ReadingText | None:
    """A number in the reading's unit and within what is plausible; none, and a problem, where it is not."""
    if isinstance(number, bool) or not isinstance(number, int | float | str):
        hint = f"write a number with its unit, as 'number {reading.unit}'"
        book.complain(path, f"{shown(number)} is not a reading", hint)
        return None
    try:
        read = read_reading(str(number), reading, book.engine)
    except UsageError as error:
        message, _, hint = error.message.partition("; ")
        book.complain(path, message, hint)
        return None
    if not read.unit and reading.unit not in CODELESS:
        units = f"write '{number} {reading.unit}', or another unit where it is one"
        book.complain(path, f"the reading {shown(number)} of '{item}' has no unit", units)
        return None
    if not reading.lowest <= read.value <= reading.highest:
        converted = (
            "" if not read.unit or same_unit(read.unit, reading.unit) else f", which is {read.value:g} {reading.unit},"
        )
        message = f"{shown(number)}{converted} is not plausible for '{item}'"
        lies = f"it lies between {reading.lowest:g} and {reading.highest:g} {reading.unit}"
        book.complain(path, message, f"{lies} ({reading.name})")
        return None
    return read
