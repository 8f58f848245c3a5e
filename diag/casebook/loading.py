"""Reads a case file: YAML that is written by hand in a minute, checked against the knowledge, all problems at once.

May import: `diag.basics`, `diag.knowledge_base`, and everything within the room but writing.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path as FilePath

from diag.basics import CaseError, KnowledgeError, UsageError, did_you_mean
from diag.casebook.cases import Case, Epoch
from diag.casebook.codes_read import read_codes
from diag.casebook.engine_choice import read_engine_choice
from diag.casebook.found import read_answers, read_measured
from diag.casebook.ledger import ledger_answers
from diag.casebook.notebook import Notebook, Path, shown
from diag.casebook.numbering import read_numbering
from diag.casebook.quantities import in_unit, read_quantity, refuse_thousands
from diag.casebook.trim_codes import read_trim_codes
from diag.casebook.worked import Vehicle, read_history, read_tried
from diag.knowledge_base import Key, Knowledge, PlacedDocument, Tree, read_document

__all__ = ["TOP_KEYS", "case_of", "load_case", "read_age", "read_case", "read_distance"]

TOP_KEYS = (
    "title", "engine", "distance", "age", "history", "codes", "other_codes", "findings", "readings", "numbering",
    "trim_codes", "tried", "open", "cannot", "note",
)  # fmt: skip
_MOST_KM = 5_000_000.0
_MOST_YEARS = 100.0


def load_case(path: FilePath | str, knowledge: Knowledge) -> Case:
    """Read the case file at `path`.

    Raises CaseError with every problem, each with file, line and column; KnowledgeError where they all stand in the
    engine's own file.
    """
    return read_case(path, knowledge)


def read_case(
    path: FilePath | str, knowledge: Knowledge, text: str | None = None, beside: tuple[str, ...] = ()
) -> Case:
    """As `load_case`; `text` replaces what is on disk, `path` then only names it (and finds an engine beside it).
    `beside`: outermost keys that are no part of the case and are left to others."""
    return case_of(read_document(path, text, CaseError), knowledge, beside)


def case_of(document: PlacedDocument, knowledge: Knowledge, beside: tuple[str, ...] = ()) -> Case:
    """The case that a document tells, wherever it was read (a row of a table is such a document, too)."""
    book = Notebook(document, knowledge)
    case = _case(book, {key: value for key, value in document.data.items() if key not in beside})
    if case is None or book.problems:
        own = any(problem.file == document.file for problem in book.problems)
        raise (CaseError if own else KnowledgeError)(book.problems)
    return case


def _case(book: Notebook, data: dict[Key, Tree]) -> Case | None:
    """The case; none where there is no engine to have it on (then there is a problem, too)."""
    book.unknown_keys((), data, TOP_KEYS)
    engine_id, engine = read_engine_choice(book, data)
    book.engine = engine
    vehicle = Vehicle(read_distance(book, data.get("distance")), read_age(book, data.get("age")))
    codes = read_codes(book, ("codes",), data.get("codes"))
    first = Epoch((), read_answers(book, (), data), read_measured(book, ("readings",), data.get("readings")), codes)
    history = read_history(book, ("history",), data.get("history"), vehicle)
    epochs = read_tried(book, ("tried",), data.get("tried"), first, vehicle)
    open_access = _open(book, ("open",), data.get("open"))
    cannot = _cannot(book, ("cannot",), data.get("cannot"))
    numbering = read_numbering(book, ("numbering",), data.get("numbering"))
    trim_codes = read_trim_codes(book, ("trim_codes",), data.get("trim_codes"))
    title, note = book.text(("title",), data.get("title")), book.text(("note",), data.get("note"))
    if engine is None:
        return None
    case = Case(
        title=title,
        engine=engine,
        engine_id=engine_id,
        distance_km=vehicle.distance_km,
        age_years=vehicle.age_years,
        history=history,
        epochs=epochs,
        open_access=open_access,
        cannot=cannot,
        note="\n".join(part for part in (note, *_new_notes(note, book.notes)) if part),
        trim_codes=trim_codes,
        numbering=numbering,
    )
    return _with_ledger(case, book.knowledge)


def _new_notes(note: str, notes: list[str]) -> list[str]:
    """Notes, each once, that the case does not hold already (from when it was written)."""
    known = note.splitlines()
    return [each for each in dict.fromkeys(notes) if each not in known]


def _with_ledger(case: Case, knowledge: Knowledge) -> Case:
    """The case with what its trim codes say among its latest answers; what was told by hand stands."""
    latest = case.epochs[-1]
    told = {(answer.item, answer.place) for answer in latest.answers}
    added = [answer for answer in ledger_answers(case, knowledge) if (answer.item, answer.place) not in told]
    return replace(case, epochs=(*case.epochs[:-1], replace(latest, answers=(*latest.answers, *added))))


def read_distance(book: Notebook, value: Tree) -> float | None:
    """`187000 km`; none, and a problem where something else stands there."""
    return _amount(book, "distance", value, "km", "187000 km", _MOST_KM)


def read_age(book: Notebook, value: Tree) -> float | None:
    """`11 years`, in the same way."""
    return _amount(book, "age", value, "years", "11 years", _MOST_YEARS)


def _amount(book: Notebook, key: str, value: Tree, unit: str, example: str, most: float) -> float | None:
    """One number of the vehicle that must carry its unit."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        book.complain((key,), f"the {key} is not {shown(value)}", f"write for example '{example}'")
        return None
    try:
        if unit == "km":
            refuse_thousands(str(value))
        amount = _sum(str(value), unit, example)
    except UsageError as error:
        message, _, hint = error.message.partition("; ")
        book.complain((key,), message, hint)
        return None
    if not 0 <= amount <= most:
        book.complain(
            (key,), f"{shown(value)} is not plausible for the {key}", f"it lies between 0 and {most:.0f} {unit}"
        )
        return None
    return amount


def _sum(text: str, unit: str, example: str) -> float:
    """`11 years`, or `11 years 4 months`."""
    words = text.split()
    if len(words) == 4 and all(_is_number(word) for word in words[::2]):
        return sum(in_unit(" ".join(words[k : k + 2]), unit, example) for k in (0, 2))
    return in_unit(text, unit, example)


def _is_number(word: str) -> bool:
    try:
        return not read_quantity(word).unit
    except UsageError:
        return False


def _open(book: Notebook, path: Path, value: Tree) -> tuple[tuple[str, str], ...]:
    """Access that is open now: `injectors B`, or `covers` for every bank."""
    found: list[tuple[str, str]] = []
    for index, entry in enumerate(book.entries(path, value, "open: [covers A]")):
        at = (*path, index)
        kind, bank = _kind_and_bank(entry)
        known = book.known(at, kind, "access", book.knowledge.vocabulary.access)
        if known is None or book.engine is None:
            continue
        if bank and bank not in book.engine.banks:
            hint = did_you_mean(bank, book.engine.banks)
            book.complain(at, f"there is no bank '{bank}' in this engine", hint)
            continue
        found += [(known, letter) for letter in ([bank] if bank else book.engine.banks)]
    return tuple(dict.fromkeys(found))


def _kind_and_bank(entry: Tree) -> tuple[Tree, str]:
    """`injectors B` is the access 'injectors' of bank B."""
    words = entry.split() if isinstance(entry, str) else []
    return (words[0], words[1]) if len(words) == 2 else (entry, "")


def _cannot(book: Notebook, path: Path, value: Tree) -> tuple[str, ...]:
    found = [
        book.known((*path, index), entry, "check", book.knowledge.checks)
        for index, entry in enumerate(book.entries(path, value, "cannot: [compression_test]"))
    ]
    return tuple(dict.fromkeys(check for check in found if check is not None))
