"""Assembles the knowledge from its files: reads them, lays overlays over them, validates, cross-checks.

Imported only where nothing is kept that can be used. May import: `diag.basics`, and within the room all but drawing and
checking.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from diag.basics import KnowledgeError, Problem, listed
from diag.knowledge_base.currency import exchange, exchanging_first
from diag.knowledge_base.loading import files_at
from diag.knowledge_base.merging import LISTED_KINDS, SINGLE_KINDS, basis_of_overlay, gather, overlay
from diag.knowledge_base.placing import place_added
from diag.knowledge_base.reader import Key, PlacedDocument, read_document
from diag.knowledge_base.records import Basis, Knowledge, Record
from diag.knowledge_base.references import check_references
from diag.knowledge_base.register import Register
from diag.knowledge_base.twice import said_twice
from diag.knowledge_base.validation import attempt

__all__ = ["assembled"]


def assembled(base_folder: Path, overlays: Sequence[Path]) -> Knowledge:
    """The knowledge in a folder, with overlays laid over it. Raises KnowledgeError with all problems of all files."""
    problems: list[Problem] = []
    base = _gathered(base_folder, problems)
    for path in overlays:
        documents = _documents(path, problems)
        problems += said_twice(documents)
        for document in exchanging_first(documents):
            _check_basis(document, problems)
            gathered = gather(document.file, [document], problems)
            exchange(base, gathered, problems)
            ordered = {kind: set(inside) for kind, inside in base.data.items() if isinstance(inside, dict)}
            overlay(base, gathered, basis_of_overlay(document))
            place_added(base, ordered)
    register = _validated(base, problems)
    check_references(register)
    if register.problems:
        raise KnowledgeError(_with_whose(register.problems, base_folder, overlays))
    return Knowledge(
        **{kind: getattr(register, kind) for kind in LISTED_KINDS},
        **{kind: getattr(register, kind) for kind in SINGLE_KINDS},
    )


def _with_whose(problems: Iterable[Problem], base_folder: Path, overlays: Sequence[Path]) -> list[Problem]:
    """The problems; one that stands in a file below, which is in order by itself, says that overlays brought it."""
    above = {str(file) for path in overlays for file in files_at(path)}
    below: set[Problem] = set()
    if above:
        try:
            assembled(base_folder, ())
        except KnowledgeError as error:
            below = set(error.problems)
    brought = f"without {listed([path.name for path in overlays], 'and')} this is in order"
    return [
        replace(each, hint=f"{each.hint}; {brought}" if each.hint else brought)
        if above and each.file not in above and each not in below
        else each
        for each in problems
    ]


def _gathered(folder: Path, problems: list[Problem]) -> PlacedDocument:
    documents = _documents(folder, problems)
    for document in documents:
        if "basis" in document.data:
            message = "only an overlay says at the top what its numbers stand on"
            hint = "give every entry its own basis"
            problems.append(document.problem(("basis",), message, hint, of_key=True))
    return gather(str(folder), documents, problems)


def _documents(path: Path, problems: list[Problem]) -> list[PlacedDocument]:
    """What is read of the files of a path."""
    files = files_at(path)
    if not files:
        problems.append(Problem(str(path), 0, 0, "this folder holds no knowledge files (*.yaml)"))
    documents = []
    for file in files:
        try:
            documents.append(read_document(file))
        except KnowledgeError as error:
            problems += error.problems
    return documents


def _check_basis(document: PlacedDocument, problems: list[Problem]) -> None:
    if isinstance(document.data.get("basis"), dict):
        problems += attempt(Basis, document, ("basis",))[1]
    elif "basis" in document.data:
        problems.append(document.problem(("basis",), "a basis is written {source: learned, strength: 20}"))


def _validated(document: PlacedDocument, problems: list[Problem]) -> Register:
    """Every entry on its own, so that one bad entry does not hide what is wrong with the others."""
    register = Register(document, problems=problems)
    for kind, model in LISTED_KINDS.items():
        entries = document.data.get(kind, {})
        assert isinstance(entries, dict)
        setattr(register, kind, _entries(document, kind, model, entries, problems))
    for kind, model in SINGLE_KINDS.items():
        if kind in document.data:
            record, found = attempt(model, document, (kind,))
            problems += found
            setattr(register, kind, record)
        elif not problems:
            problems.append(Problem(document.file, 0, 0, f"no file here holds '{kind}:'"))
    return register


def _entries(
    document: PlacedDocument, kind: str, model: type[Record], entries: Iterable[Key], problems: list[Problem]
) -> dict[str, Record]:
    records: dict[str, Record] = {}
    for key in entries:
        record, found = attempt(model, document, (kind, key))
        problems += found
        if record is not None:
            records[str(key)] = record
    return records
