"""Loads the knowledge: reads the files of a folder, lays overlays over them, validates, cross-checks.

May import: `diag.basics`, and within the room all but drawing and checking.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path

from diag.basics import KnowledgeError, Problem, fingerprint, keep, recall
from diag.knowledge_base.currency import exchange
from diag.knowledge_base.merging import LISTED_KINDS, SINGLE_KINDS, basis_of_overlay, gather, overlay
from diag.knowledge_base.reader import MOST_BYTES, Key, PlacedDocument, read_document
from diag.knowledge_base.records import Basis, Knowledge, Record
from diag.knowledge_base.references import check_references
from diag.knowledge_base.register import Register
from diag.knowledge_base.validation import attempt

__all__ = ["load_knowledge", "shipped_folder"]

_SUFFIXES = (".yaml", ".yml")


def shipped_folder() -> Path:
    """The folder of the knowledge that ships: within the installed package, else in the source tree."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_data" / "knowledge", package.parent / "knowledge"):
        if folder.is_dir():
            return folder
    message = "the knowledge that ships with diag is not here"
    raise KnowledgeError([Problem(str(package), 0, 0, message, "install it anew")])


def load_knowledge(folder: Path | str | None = None, overlays: Sequence[Path | str] = ()) -> Knowledge:
    """Read the knowledge in `folder` (the shipped one by default) with `overlays` (files or folders) laid over it.

    Later overlays win. What was read is kept for the next start, until a file changes. Raises KnowledgeError with every
    problem of every file.
    """
    base = Path(folder) if folder is not None else shipped_folder()
    others = [Path(path) for path in overlays]
    key = _key(base, others)
    known = recall("knowledge", key) if key else None
    if isinstance(known, Knowledge):
        return known
    knowledge = _read(base, others)
    if key:
        keep("knowledge", key, knowledge)
    return knowledge


def _key(base: Path, overlays: Sequence[Path]) -> str:
    """What the knowledge depends on: which files, and every byte of them; empty where something is no plain file."""
    parts: list[str | bytes] = []
    try:
        for path in (base, *overlays):
            files = _files(path)
            parts.append(f"{path}: {len(files)}")
            for file in files:
                if not file.is_file() or file.stat().st_size > MOST_BYTES:
                    return ""
                parts += [str(file), file.read_bytes()]
    except (OSError, ValueError):
        return ""
    return fingerprint(parts, Path(__file__).parent)


def _read(base_folder: Path, overlays: Sequence[Path]) -> Knowledge:
    problems: list[Problem] = []
    base = _gathered(base_folder, problems)
    for path in overlays:
        for document in _documents(path, problems):
            _check_basis(document, problems)
            gathered = gather(document.file, [document], problems)
            exchange(base, gathered, problems)
            overlay(base, gathered, basis_of_overlay(document))
    register = _validated(base, problems)
    check_references(register)
    if register.problems:
        raise KnowledgeError(register.problems)
    return Knowledge(
        **{kind: getattr(register, kind) for kind in LISTED_KINDS},
        **{kind: getattr(register, kind) for kind in SINGLE_KINDS},
    )


def _gathered(folder: Path, problems: list[Problem]) -> PlacedDocument:
    documents = _documents(folder, problems)
    for document in documents:
        if "basis" in document.data:
            message = "only an overlay says at the top what its numbers stand on"
            hint = "give every entry its own basis"
            problems.append(document.problem(("basis",), message, hint, of_key=True))
    return gather(str(folder), documents, problems)


def _documents(path: Path, problems: list[Problem]) -> list[PlacedDocument]:
    """The file at `path`, or every knowledge file of that folder and its `engines`, by name."""
    files = _files(path)
    if not files:
        problems.append(Problem(str(path), 0, 0, "this folder holds no knowledge files (*.yaml)"))
    documents = []
    for file in files:
        try:
            documents.append(read_document(file))
        except KnowledgeError as error:
            problems += error.problems
    return documents


def _files(path: Path) -> list[Path]:
    if not os.path.isdir(path):  # noqa: PTH112  a name that no file can have is no folder either
        return [path]
    inside = [*path.iterdir(), *((path / "engines").iterdir() if (path / "engines").is_dir() else ())]
    return sorted(file for file in inside if file.suffix in _SUFFIXES and not file.name.startswith("."))


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
