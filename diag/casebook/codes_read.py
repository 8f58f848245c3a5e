"""Reads the fault codes of one epoch of a case file: generic codes become answers, a maker's own code leaves a note.

A code stands alone (it is stored), with its state (`P0263 pending`), or with its status byte (`P0263 0x2E`).
May import: `diag.basics`, `diag.knowledge_base`, and within the room the records, codes, status, words and notebook.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diag.basics import Place, UsageError
from diag.casebook.cases import ABSENT, NOT_SURE, PRESENT, Answer, CodeRead, CodeState
from diag.casebook.codes import MOST_CYLINDERS, cylinder_of_code, looks_like_code, plain_code
from diag.casebook.notebook import Notebook, Path, shown
from diag.casebook.status import ANSWER_OF_STATE, says_less, state_told
from diag.casebook.words import place_fault, place_words, scope_of
from diag.knowledge_base import Tree

__all__ = ["code_answers", "no_other_codes", "read_codes"]

_Entry = tuple[str, CodeState | None, int | None]


def code_answers(book: Notebook, path: Path, value: Tree) -> Iterator[tuple[Answer, Path]]:
    """Every finding whose code was told, answered by the code of it that says most; any other code leaves a note."""
    told: dict[tuple[str, Place], dict[str, tuple[Answer, Path]]] = {}
    twice: list[tuple[Answer, Path]] = []
    for index, written in enumerate(book.entries(path, value, "codes: [P0263, P0087]")):
        at = (*path, index)
        entry = _entry(book, at, written)
        if entry is None:
            continue
        code, state, _ = entry
        asked = _asked(book, code)
        if asked is None:
            book.notes.append(f"Fault code {code} is not in this knowledge and has no effect.")
            continue
        item, place = asked
        fault = place_fault(book.engine, scope_of(book.knowledge, item), place) if book.engine else None
        if fault is not None:
            book.complain(at, f"{code} belongs to {place_words(place)}, and {fault[0]}", fault[1])
            continue
        answer = PRESENT if state is None else ANSWER_OF_STATE[state]
        if state == "pending" and answer not in book.knowledge.answers:
            answer = NOT_SURE
        of_finding = told.setdefault(asked, {})
        if code in of_finding:
            twice.append((Answer(item, place, answer), at))
        of_finding.setdefault(code, (Answer(item, place, answer), at))
    for codes in told.values():
        yield min(codes.values(), key=lambda each: says_less(each[0].answer))
    yield from twice


def read_codes(book: Notebook, path: Path, value: Tree) -> tuple[CodeRead, ...]:
    """The codes that were told with a state or status byte, each once; what is wrong is told by `code_answers`."""
    quiet = Notebook(book.document, book.knowledge, book.engine)
    found: dict[str, CodeRead] = {}
    for index, written in enumerate(value if isinstance(value, list) else []):
        entry = _entry(quiet, (*path, index), written)
        if entry is not None and entry[1] is not None:
            found.setdefault(entry[0], CodeRead(entry[0], entry[1], entry[2]))
    return tuple(found.values())


def no_other_codes(book: Notebook, path: Path, value: Tree, told: Sequence[Answer]) -> tuple[Answer, ...]:
    """`other_codes: none`: every other code of the knowledge was looked for and is not stored."""
    if value is None:
        return ()
    if value != "none":
        book.complain(path, f"this is not {shown(value)}", "write 'other_codes: none', or leave it out")
        return ()
    asked = {(answer.item, answer.place) for answer in told}
    return tuple(
        Answer(item, place, ABSENT)
        for item, finding in book.knowledge.findings.items()
        if finding.code is not None
        for place in _places(book, item)
        if (item, place) not in asked
    )


def _places(book: Notebook, item: str) -> list[Place]:
    scope = scope_of(book.knowledge, item)
    return [None] if scope == "vehicle" else [*book.every_place(scope)]


def _entry(book: Notebook, path: Path, written: Tree) -> _Entry | None:
    """Code, state and status byte of one entry; none, and a problem, where it is not a code."""
    if isinstance(written, dict) and len(written) == 1:
        ((key, said),) = written.items()
        return _with_state(book, path, str(key), said)
    words = written.split(maxsplit=1) if isinstance(written, str) else []
    if len(words) == 2 and looks_like_code(words[0]):
        return _with_state(book, path, words[0], words[1])
    if not isinstance(written, str) or not looks_like_code(written):
        book.complain(path, f"{shown(written)} is not a fault code", "write a code such as P0263")
        return None
    return plain_code(written), None, None


def _with_state(book: Notebook, path: Path, code: str, said: Tree) -> _Entry | None:
    if not looks_like_code(code):
        book.complain(path, f"{shown(code)} is not a fault code", "write a code such as P0263")
        return None
    try:
        return plain_code(code), *state_told(said)
    except UsageError as error:
        message, _, hint = error.message.partition("; ")
        book.complain(path, message.replace("this is", f"{shown(said)} is", 1), hint)
        return None


def _asked(book: Notebook, code: str) -> tuple[str, Place] | None:
    """The finding of the knowledge that a code answers, and its place."""
    for item, finding in book.knowledge.findings.items():
        number = cylinder_of_code(finding.code, code) if finding.code is not None else None
        if number is not None:
            scope = scope_of(book.knowledge, item)
            if scope == "cylinder":
                return item, number
            return item, None if scope == "vehicle" else "ABCDEFGHIJKL"[min(number, MOST_CYLINDERS) - 1]
    return None
