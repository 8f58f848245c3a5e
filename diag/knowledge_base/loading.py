"""Loads the knowledge: what was kept of it, where its files are the same, else from the files (see `assembling`).

May import: `diag.basics`, and within the room `reader`, `records`, and `assembling` where the files are read.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from diag.basics import KnowledgeError, Problem, fingerprint, keep, recall
from diag.knowledge_base.reader import MOST_BYTES
from diag.knowledge_base.records import Knowledge

__all__ = ["files_at", "load_knowledge", "shipped_folder"]

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
    from diag.knowledge_base.assembling import assembled

    knowledge = assembled(base, others)
    if key:
        keep("knowledge", key, knowledge)
    return knowledge


def _key(base: Path, overlays: Sequence[Path]) -> str:
    """What the knowledge depends on: which files, and every byte of them; empty where something is no plain file."""
    parts: list[str | bytes] = []
    try:
        for path in (base, *overlays):
            files = files_at(path)
            parts.append(f"{path}: {len(files)}")
            for file in files:
                if not file.is_file() or file.stat().st_size > MOST_BYTES:
                    return ""
                parts += [str(file), file.read_bytes()]
    except (OSError, ValueError):
        return ""
    return fingerprint(parts, Path(__file__).parent)


def files_at(path: Path) -> list[Path]:
    """The file at `path`, or every knowledge file of that folder and its `engines`, by name."""
    if not os.path.isdir(path):  # noqa: PTH112  a name that no file can have is no folder either
        return [path]
    inside = [*path.iterdir(), *((path / "engines").iterdir() if (path / "engines").is_dir() else ())]
    return sorted(file for file in inside if file.suffix in _SUFFIXES and not file.name.startswith("."))
