"""Reads `trim_codes:` of a case file: each code checked for length and alphabet against the engine's own format.

May import: `diag.knowledge_base`, and within the room the records and the notebook.
"""

from __future__ import annotations

from diag.basics import counted
from diag.casebook.cases import TrimCode
from diag.casebook.notebook import Notebook, Path, shown
from diag.knowledge_base import Key, Tree, TrimCodeFormat

__all__ = ["NO_CODE", "TRIM_KEYS", "read_trim_codes"]

TRIM_KEYS = ("part", "unit", "part_before", "unit_before")
NO_CODE = "none"
NOT_READ = ("not read", "not_read", "unreadable")
_EXAMPLE = "trim_codes: {2: {part: '0A1B', unit: '0A1B'}}"
_ALIKE = {"O": "0", "I": "1", "L": "1", "Z": "2", "S": "5", "B": "8", "0": "O", "1": "I", "2": "Z", "5": "S", "8": "B"}


def read_trim_codes(book: Notebook, path: Path, value: Tree) -> tuple[TrimCode, ...]:
    """The ledger, by cylinder, ascending."""
    entries: list[TrimCode] = []
    for key, inside in book.mapping(path, value, _EXAMPLE).items():
        at = (*path, key)
        cylinder = book.place(at, key, "cylinder", f"write '{_EXAMPLE}'", of_key=True)
        if isinstance(cylinder, int):
            entries.append(_entry(book, at, cylinder, inside))
    return tuple(sorted(entries, key=lambda entry: entry.cylinder))


def _entry(book: Notebook, path: Path, cylinder: int, value: Tree) -> TrimCode:
    block: dict[Key, Tree] = book.mapping(path, value, "2: {part: '0A1B', unit: '0A1B'}")
    book.unknown_keys(path, block, TRIM_KEYS)
    codes: dict[str, str | None] = {
        key: _code(book, (*path, key), block[key], key.startswith("unit")) for key in TRIM_KEYS if key in block
    }
    return TrimCode(cylinder, **codes)


def _code(book: Notebook, path: Path, value: Tree, in_unit: bool) -> str | None:
    """One code, without spaces and dashes; empty for 'none' in the control unit, none for what could not be read."""
    if not isinstance(value, str):
        if isinstance(value, int | float) and not isinstance(value, bool):
            book.complain(path, f"the trim code {shown(value)} is read as a number here", "put it in quotes")
        else:
            book.complain(path, f"{shown(value)} is no trim code", f"write the code in quotes, or '{NO_CODE}'")
        return None
    word = " ".join(value.lower().split())
    if word in NOT_READ:
        return None
    if word == NO_CODE:
        return "" if in_unit else None
    form = book.engine.trim_code if book.engine is not None else TrimCodeFormat()
    code = value.replace(" ", "").replace("-", "")
    if form.alphabet is None or form.alphabet == form.alphabet.upper():
        code = code.upper()
    fault = _fault(code, form)
    if fault is not None:
        book.complain(path, *fault)
        return None
    return code


def _fault(code: str, form: TrimCodeFormat) -> tuple[str, str] | None:
    """What is wrong with a code, and what would be right."""
    alphabet = form.alphabet
    for place, letter in enumerate(code, start=1):
        if alphabet is not None and letter not in alphabet:
            message = f"'{letter}', character {place} of '{code}', does not occur in this engine's trim codes"
            alike = _ALIKE.get(letter, "")
            hint = f"is it '{alike}'? They" if alike and alike in alphabet else "they"
            return message, f"{hint} are made of {alphabet}"
        if not letter.isalnum():
            return f"'{letter}', character {place} of '{code}', is neither a letter nor a digit", "read it again"
    if not code:
        return "this trim code is empty", f"write '{NO_CODE}' where the control unit holds none"
    if form.length is not None and len(code) != form.length:
        has = f"{counted(len(code)):character|characters}"
        return f"the trim code '{code}' has {has}", f"this engine's have {form.length}"
    return None
